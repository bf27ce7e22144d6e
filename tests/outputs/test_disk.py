"""What a disk refuses: every single call in turn, and full, read-only and small disks for real. Whatever happens, the
message says what to do, the old set of results is whole or the new one is, and the next command completes.

Faults are our own inventions; that no set may be mixed is our own rule (outputs/folder.py).
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest

from planner import disk, pipeline
from planner.errors import OutputError
from planner.outputs.folder import HIDDEN, RECORD, claim, commit, held, new_folder
from planner.plan.sections import OutputFile

OLD_FILES, NEW_FILES = '["csv", "parquet", "bill"]', '["csv", "parquet"]'
POSIX = pytest.mark.skipif(os.name == "nt", reason="limits and users of POSIX")
Publish = Callable[..., object]


class Refusing:
    """Counts the calls that change something below a folder, and refuses the one of a number.

    Python tells audit hooks of opens, renames and removals before it makes them, whoever asks for them. A hook stays
    for good: this one does nothing unless it is told to.
    """

    def __init__(self) -> None:
        self.below: str | None = None
        self.at, self.count, self.error = 0, 0, errno.ENOSPC
        self.told = ""
        sys.addaudithook(self)

    def __call__(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.below is None or not self._changes(event, arguments):
            return
        self.count += 1
        if self.count == self.at:
            self.told = f"{event} {arguments[0]}"
            raise OSError(self.error, os.strerror(self.error))  # as a write has it: without a name

    def _changes(self, event: str, arguments: tuple[Any, ...]) -> bool:
        if event == "open":
            path, mode, flags = arguments
            changes = bool(set(mode or "") & set("wax+")) or bool(flags & (os.O_WRONLY | os.O_RDWR))
        else:
            path = arguments[0] if arguments else None
            changes = event in {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "sqlite3.connect"}
        return changes and isinstance(path, str | bytes | os.PathLike) and os.fsdecode(path).startswith(str(self.below))

    @contextmanager
    def one(self, below: Path, at: int, error: int) -> Iterator[None]:
        """Refuse call `at` (1 is the first) that changes something below a folder."""
        self.below, self.at, self.count, self.error, self.told = str(below), at, 0, error, ""
        try:
            yield
        finally:
            self.below = None


@pytest.fixture(scope="module")
def refusing() -> Refusing:
    return Refusing()


@pytest.fixture(scope="module")
def programme(
    make_programme: Callable[..., Path], plan_text: str, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Publish, Publish]:
    """A folder with results, and what publishes them again (in any folder), or others made of the same sites."""
    base = tmp_path_factory.mktemp("published")
    found: list[Publish] = []
    publish = pipeline.publish
    with pytest.MonkeyPatch.context() as patch:

        def kept(*arguments: Any) -> Any:
            def again(folder: Path, files: tuple[str, ...] = ()) -> object:
                plan, *others = (folder if isinstance(one, Path) else one for one in arguments)
                if files:
                    output = plan.plan.output.model_copy(update={"files": files})
                    plan = replace(plan, plan=plan.plan.model_copy(update={"output": output}))
                with held(folder):
                    return publish(plan, *others)

            found.append(again)
            return publish(*arguments)

        patch.setattr(pipeline, "publish", kept)
        for files, date in ((NEW_FILES, "2026-02-02"), (OLD_FILES, "2025-01-01")):
            text = plan_text.replace('files = ["map", "csv", "parquet", "gpkg", "bill"]', f"files = {files}")
            plan = make_programme(base, [{}, {"status": "dry"}], text.replace("2026-01-01", date))
            pipeline.run(plan, base / "out")
    return base / "out", found[1], found[0]


def set_of(folder: Path) -> dict[str, bytes]:
    """The files of a folder, the record left out, after a look that they are what the record says."""
    record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    found = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file() and path.name != RECORD}
    assert record["files"] == {name: hashlib.sha256(data).hexdigest() for name, data in found.items()}
    return found


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EACCES], ids=errno.errorcode.get)
def test_every_call_refused_in_turn(
    programme: tuple[Path, Publish, Publish], refusing: Refusing, tmp_path: Path, error: int
) -> None:
    """All opens for writing, renames, removals and folders made, from the lock to the last file, one after another."""
    before, _, publish = programme
    folder = tmp_path / "out"
    shutil.copytree(before, folder)
    old, record = set_of(folder), (folder / RECORD).read_bytes()
    publish(folder)
    new = set_of(folder)
    assert new.keys() < old.keys()
    told, at = [], 0
    while True:
        shutil.rmtree(folder)
        shutil.copytree(before, folder)
        at += 1
        try:
            with refusing.one(folder, at, error):
                publish(folder)
        except OutputError as caught:
            told.append(str(caught))
            assert len(caught.faults) == 1 and disk.FOUND[errno.errorcode[error]] in told[-1] or "close " in told[-1]
        else:
            assert set_of(folder) == new
            if not refusing.told:
                break  # beyond the last call
            continue
        now = set_of(folder)
        assert now in (old, new), refusing.told
        assert now == new or (folder / RECORD).read_bytes() == record
        publish(folder)
        assert set_of(folder) == new, refusing.told
        assert {path.name for path in (folder / HIDDEN).iterdir()} <= {"chunks", "lock"}
        assert not (folder / f"{HIDDEN}-probe").exists()
    assert len(told) >= 25 and all("repeat the command" in one for one in told[5:-5])


@pytest.mark.parametrize("count", range(1, 8))
def test_every_flush_refused_in_turn(
    programme: tuple[Path, Publish, Publish], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    before, _, publish = programme
    folder = tmp_path / "out"
    shutil.copytree(before, folder)
    old, calls = set_of(folder), 0
    true = os.fsync

    def refused(file: int) -> None:
        nonlocal calls
        calls += 1
        if calls == count:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        true(file)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", refused)
        try:
            publish(folder)
        except OutputError as caught:
            assert "an error of the disk" in str(caught)
            assert set_of(folder) == old
        else:
            assert calls < count or count > 6  # a folder that cannot be flushed is no fault
    publish(folder)
    assert set_of(folder).keys() < old.keys()


KILLS = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from planner.outputs.folder import RECORD, claim, commit, held, new_folder

folder = Path(sys.argv[1])
OLD = {"map.html": "old map", "sites.csv": "old sites", "plan.gpkg": "old layers"}
NEW = {"map.html": "new map", "sites.csv": "new sites", "programme.xlsx": "new workbook"}
EVENTS = {"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir"}
state = {"count": 0, "at": -1}

def hook(event, arguments):
    if event in EVENTS and state["at"] > 0:
        state["count"] += 1
        if state["count"] == state["at"]:
            os.kill(os.getpid(), signal.SIGKILL)

def run(files):
    with held(folder):
        new = new_folder(folder)
        for name, text in files.items():
            (new / name).write_text(text, encoding="utf-8", newline="")
        commit(folder, {"run_id": "0123456789ab"})

def standing():
    return {
        one.name: one.read_text(encoding="utf-8")
        for one in folder.iterdir()
        if one.is_file() and one.name != RECORD and not one.name.endswith("-probe")
    }

def child(task):
    made = os.fork()
    if not made:
        task()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(made, 0)[1])

def killed(at):
    state["at"] = at
    run(NEW)

sys.addaudithook(hook)
kills = mixed = at = 0
while True:
    run(OLD)
    at += 1
    ended = child(lambda: killed(at))
    if ended == 0:
        break
    assert ended == -signal.SIGKILL, ended
    kills += 1
    if (folder / RECORD).exists():
        assert standing() in (OLD, NEW), (at, standing())
    else:
        mixed += 1  # no record, so no reader takes it for a set
    with held(folder):
        assert standing() in (OLD, NEW) and (folder / RECORD).exists(), (at, standing())
    run(NEW)
    assert standing() == NEW
print(kills, mixed)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
def test_killed_at_every_call(tmp_path: Path) -> None:
    """SIGKILL before each open, rename, removal: whole sets where there is a record, and the next command completes."""
    script = tmp_path / "kills.py"
    script.write_text(KILLS, encoding="utf-8")
    command = [sys.executable, str(script), str(tmp_path / "out"), str(Path(disk.__file__).parents[1])]
    ended = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=120, check=False)
    assert ended.returncode == 0, ended.stderr
    kills, without_record = map(int, ended.stdout.split())
    assert kills > 40 and 0 < without_record < 12


# A small disk of its own --------------------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """Mounts a disk in memory with options, `size=4m` for one; only root may."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = []

    def mount(options: str) -> Path:
        tool = shutil.which("mount")
        command = [tool or "mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
        again = "remount" in options
        if tool is None or subprocess.run(command, capture_output=True, check=False).returncode:
            pytest.skip("this machine lets no test mount a disk in memory")
        if not again:
            mounted.append(place)
        return place

    yield mount
    for one in mounted:
        subprocess.run(["umount", "-l", str(one)], check=True)


def fill(folder: Path, left: int) -> None:
    """Take all room but so many bytes."""
    room = shutil.disk_usage(folder).free - left
    (folder / "photos.bin").write_bytes(bytes(max(room, 0)))


def test_a_full_disk_is_told_before_anything_is_computed(
    small_disk: Callable[[str], Path], programme: tuple[Path, Publish, Publish]
) -> None:
    folder = small_disk("size=6m") / "out"
    _, publish, _ = programme
    publish(folder)
    old = set_of(folder)
    fill(folder.parent, 300_000)
    with pytest.raises(OutputError) as caught, held(folder):
        pytest.fail("nothing is computed on a full disk")
    fault = caught.value.faults[0]
    assert fault.found.startswith("no space left on the disk (2") or "kB free" in fault.found
    assert "--out DIR on another disk" in fault.expected
    assert set_of(folder) == old
    (folder.parent / "photos.bin").unlink()
    publish(folder)
    assert set_of(folder) == old


def test_a_disk_that_fills_up_while_results_are_written(
    small_disk: Callable[[str], Path], programme: tuple[Path, Publish, Publish]
) -> None:
    """Every writer meets the end of the disk: how much is left differs. Libraries tell it in words of their own."""
    folder = small_disk("size=24m") / "out"

    def run_of() -> None:
        programme[1](folder, get_args(OutputFile))

    run_of()
    old, size = set_of(folder), sum(path.stat().st_size for path in folder.iterdir() if path.is_file())
    for part in (0.12, 0.3, 0.5, 0.7, 0.9):
        fill(folder.parent, max(int(part * size), 1_100_000))
        try:
            run_of()
        except OutputError as caught:
            assert "no space left on the disk" in str(caught), caught
            assert "as the last results" in str(caught)
        assert set_of(folder) == old
        assert not (folder / HIDDEN / "new").exists()
        (folder.parent / "photos.bin").unlink()
    run_of()
    assert set_of(folder) == old
