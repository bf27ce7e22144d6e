"""Stored chunks: whole, of this key, or computed again."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.chunks.store import Store, pack, unpack
from planner.errors import OutputError

KEY, OTHER = "0a" * 32, "0b" * 32
TABLES = (
    pa.table({"cost": np.array([0.1, np.nan, np.inf]), "kind": pa.array(["a", "", "a"]).dictionary_encode()}),
    pa.table({"none": pa.array([], pa.int32())}),
    pa.table({"draws": pa.FixedSizeListArray.from_arrays(pa.array([True, False, True, True]), 2)}),
)
PACKED = pack(TABLES)


def test_what_was_packed_is_what_comes_out() -> None:
    found = unpack(PACKED)
    assert [one.schema for one in found] == [one.schema for one in TABLES]
    assert found[0].column("cost").to_numpy().tobytes() == TABLES[0].column("cost").to_numpy().tobytes()
    assert found[1:] == TABLES[1:]
    assert pack(TABLES) == PACKED


def test_a_chunk_is_found_by_task_and_key(tmp_path: Path) -> None:
    store = Store(tmp_path)
    assert store.find("sizing", KEY) is None
    store.keep("sizing", KEY, PACKED)
    assert Store(tmp_path).find("sizing", KEY) == PACKED
    assert store.find("sizing", OTHER) is None
    assert store.find("draws", KEY) is None


@given(st.integers(0, len(PACKED) + 39), st.integers(0, 7))
def test_a_flipped_bit_is_seen(tmp_path_factory: pytest.TempPathFactory, place: int, bit: int) -> None:
    store = Store(tmp_path_factory.mktemp("store"))
    store.keep("sizing", KEY, PACKED)
    path = store.path("sizing", KEY)
    spoilt = bytearray(path.read_bytes())
    spoilt[place] ^= 1 << bit
    path.write_bytes(spoilt)
    assert store.find("sizing", KEY) is None


@pytest.mark.parametrize("spoilt", [b"", b"{}", b"chunk 1\n", PACKED, b"\0" * 5000])
def test_what_is_no_chunk_is_none(tmp_path: Path, spoilt: bytes) -> None:
    store = Store(tmp_path)
    store.keep("sizing", KEY, PACKED)
    whole = store.path("sizing", KEY).read_bytes()
    for content in (spoilt, whole[:-1], whole + b"\0", whole[: len(whole) // 2]):
        store.path("sizing", KEY).write_bytes(content)
        assert store.find("sizing", KEY) is None


def test_a_whole_chunk_under_another_name_is_none(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.keep("sizing", KEY, PACKED)
    shutil.copy(store.path("sizing", KEY), store.path("sizing", OTHER))
    assert store.find("sizing", OTHER) is None


def test_what_may_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(OutputError, match=r"stored chunk: found Permission denied; expected a file that can be read"):
        Store(tmp_path).find("sizing", KEY)


def test_what_may_not_be_written_names_the_file(tmp_path: Path) -> None:
    (tmp_path / "sizing").write_text("a file where a folder belongs", encoding="utf-8")
    with pytest.raises(OSError, match=KEY[:32]) as caught:
        Store(tmp_path).keep("sizing", KEY, PACKED)
    assert caught.value.filename


def test_chunks_of_other_plans_go_and_those_of_other_tasks_stay(tmp_path: Path) -> None:
    old = Store(tmp_path)
    for task, key in (("sizing", KEY), ("sizing", OTHER), ("draws", OTHER)):
        old.keep(task, key, PACKED)
    (tmp_path / "switches").mkdir()
    for name in ("a.json", "b.npz", "switches/c.json"):  # as earlier versions had them
        (tmp_path / name).write_text("{}", encoding="utf-8")
    (tmp_path / "sizing" / "x.1.part").write_bytes(b"half")  # of a process that was killed
    foreign = tmp_path / "notes.txt"
    foreign.write_text("mine", encoding="utf-8")
    store = Store(tmp_path)
    assert store.find("sizing", KEY) == PACKED
    store.drop_others()
    kept = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    names = {
        store.path(task, key).relative_to(tmp_path).as_posix() for task, key in (("sizing", KEY), ("draws", OTHER))
    }
    assert kept == {*names, "notes.txt"}
    store.clear()
    assert store.find("sizing", KEY) is None
