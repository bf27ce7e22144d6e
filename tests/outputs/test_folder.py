"""The results folder: killed before or after its record, shared with foreign files, held open by another program."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from planner.errors import OutputError
from planner.outputs.folder import HIDDEN, RECORD, chunk_folder, claim, commit, new_folder

OLD = {"map.html": "old map", "sites.csv": "old sites", "plan.gpkg": "old layers"}
NEW = {"map.html": "new map", "sites.csv": "new sites", "programme.xlsx": "new workbook"}


def write(folder: Path, files: dict[str, str]) -> None:
    new = new_folder(folder)
    for name, text in files.items():
        (new / name).write_text(text, encoding="utf-8")


def run(folder: Path, files: dict[str, str]) -> None:
    claim(folder)
    write(folder, files)
    commit(folder, {"run_id": "0123456789ab"})


def standing(folder: Path) -> dict[str, str]:
    """Files of the folder itself, the record left out."""
    return {
        path.name: path.read_text(encoding="utf-8")
        for path in folder.iterdir()
        if path.is_file() and path.name != RECORD
    }


def listed(folder: Path) -> set[str]:
    return set(json.loads((folder / RECORD).read_text(encoding="utf-8"))["files"])


class KilledError(BaseException):  # nothing is taken back after it
    """Stands for the end of the process."""


def kill_at(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """The process ends when it is about to move the file of this name away or in."""
    true = Path.replace

    def killed(self: Path, target: Path) -> Path:
        if Path(target).name == name:
            raise KilledError
        return true(self, target)

    monkeypatch.setattr(Path, "replace", killed)


def test_a_first_run_fills_an_absent_folder(tmp_path: Path) -> None:
    folder = tmp_path / "maps" / "first"
    claim(folder)
    assert not folder.exists()
    run(folder, OLD)
    assert standing(folder) == OLD
    record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    assert record["files"] == {name: hashlib.sha256(text.encode()).hexdigest() for name, text in OLD.items()}
    assert record["run_id"] == "0123456789ab"
    assert list((folder / HIDDEN).iterdir()) == []


def test_a_second_run_replaces_the_whole_set(tmp_path: Path) -> None:
    run(tmp_path, OLD)
    run(tmp_path, NEW)
    assert standing(tmp_path) == NEW
    assert listed(tmp_path) == set(NEW)


def test_foreign_files_stay(tmp_path: Path) -> None:
    run(tmp_path, OLD)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "well.jpg").write_bytes(b"\xff\xd8")
    run(tmp_path, NEW)
    assert standing(tmp_path) == {**NEW, "notes.txt": "mine"}
    assert (tmp_path / "photos" / "well.jpg").read_bytes() == b"\xff\xd8"


@pytest.mark.parametrize("folder", [False, True])
def test_a_foreign_file_with_the_name_of_a_result_is_not_overwritten(tmp_path: Path, folder: bool) -> None:
    run(tmp_path, OLD)
    mine = tmp_path / "programme.xlsx"
    if folder:
        mine.mkdir()
    else:
        mine.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"programme\.xlsx: file: found a file that no run of ours wrote"):
        run(tmp_path, NEW)
    expected = OLD if folder else {**OLD, "programme.xlsx": "mine"}
    assert standing(tmp_path) == expected
    # Moved away, the next command completes what was computed.
    mine.rename(tmp_path / "mine")
    claim(tmp_path)
    assert {name: standing(tmp_path)[name] for name in NEW} == NEW


@pytest.mark.parametrize("content", ["", "{", "[]", '{"files": {}}', '{"run_id": 3}', "null"])
def test_a_folder_with_a_foreign_record_is_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / RECORD).write_text(content, encoding="utf-8")
    with pytest.raises(OutputError, match="files that no run of ours wrote"):
        claim(tmp_path)
    assert (tmp_path / RECORD).read_text(encoding="utf-8") == content


def test_an_empty_folder_is_taken_and_a_foreign_one_refused(tmp_path: Path) -> None:
    claim(tmp_path)
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="an empty folder or a former run"):
        claim(tmp_path)
    with pytest.raises(OutputError, match="found a file; expected a folder"):
        claim(tmp_path / "thesis.txt")
    with pytest.raises(OutputError, match="found a file; expected a folder"):
        claim(tmp_path / "thesis.txt" / "below" / "it")
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


# Killed -----------------------------------------------------------------------------------------------------


def test_killed_before_its_record_the_old_set_stands(tmp_path: Path) -> None:
    run(tmp_path, OLD)
    record = (tmp_path / RECORD).read_bytes()
    write(tmp_path, NEW)  # and no record
    assert standing(tmp_path) == OLD
    claim(tmp_path)
    assert standing(tmp_path) == OLD
    assert (tmp_path / RECORD).read_bytes() == record
    assert not (tmp_path / HIDDEN / "new").exists()


def test_killed_within_its_record_the_old_set_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run(tmp_path, OLD)
    with monkeypatch.context() as patch:
        patch.setattr("planner.outputs.folder.os.fsync", lambda _: (_ for _ in ()).throw(KilledError))
        with pytest.raises(KilledError):
            run(tmp_path, NEW)
    claim(tmp_path)
    assert standing(tmp_path) == OLD
    run(tmp_path, NEW)
    assert standing(tmp_path) == NEW


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("name", [*NEW, RECORD])
def test_killed_after_its_record_the_next_command_completes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, first: bool
) -> None:
    if not first:
        run(tmp_path, OLD)
    claim(tmp_path)
    write(tmp_path, NEW)
    with monkeypatch.context() as patch:
        if name == RECORD:  # its first rename makes it whole in new/, its second puts it in the folder
            moves: list[str] = []
            true = Path.replace

            def second(self: Path, target: Path) -> Path:
                moves.append(Path(target).name)
                if moves.count(RECORD) == 2:
                    raise KilledError
                return true(self, target)

            patch.setattr(Path, "replace", second)
        else:
            kill_at(patch, name)
        with pytest.raises(KilledError):
            commit(tmp_path, {"run_id": "0123456789ab"})
    claim(tmp_path)
    assert standing(tmp_path) == NEW
    assert listed(tmp_path) == set(NEW)
    assert not (tmp_path / HIDDEN / "new").exists()


def test_killed_while_it_removes_the_next_command_removes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run(tmp_path, OLD)
    with monkeypatch.context() as patch:
        kill_at(patch, "plan.gpkg")
        with pytest.raises(KilledError):
            run(tmp_path, NEW)
    assert "plan.gpkg" in standing(tmp_path)
    claim(tmp_path)
    assert standing(tmp_path) == NEW


def test_a_record_that_was_edited_removes_nothing_elsewhere(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    run(folder, OLD)
    (tmp_path / "outside.txt").write_text("mine", encoding="utf-8")
    (folder / "sub").mkdir()
    (folder / "sub" / "inside.txt").write_text("mine", encoding="utf-8")
    record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    names = ("../outside.txt", str(tmp_path / "outside.txt"), "sub/inside.txt", "sub", "..", ".", "")
    record["files"] = {**record["files"], **dict.fromkeys(names, "")}
    (folder / RECORD).write_text(json.dumps(record), encoding="utf-8")
    run(folder, NEW)
    assert (tmp_path / "outside.txt").exists()
    assert (folder / "sub" / "inside.txt").exists()
    assert standing(folder) == NEW


# Held open --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["programme.xlsx", "plan.gpkg", "sites.csv", RECORD])
def test_a_file_held_open_is_named_and_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """As Windows has it: a file that another program holds can neither be moved nor be replaced."""
    run(tmp_path, OLD)
    (tmp_path / "programme.xlsx").write_text("old workbook", encoding="utf-8")
    record = json.loads((tmp_path / RECORD).read_text(encoding="utf-8"))
    record["files"]["programme.xlsx"] = ""
    (tmp_path / RECORD).write_text(json.dumps(record), encoding="utf-8")
    before = standing(tmp_path)
    true = Path.replace

    def held(self: Path, target: Path) -> Path:
        if self.name == name and self.parent == tmp_path:
            raise PermissionError(13, "held open", str(self))
        return true(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", held)
        with pytest.raises(OutputError) as caught:
            run(tmp_path, NEW)
    assert f"close {name}, then repeat the command; nothing is computed again" in str(caught.value)
    assert standing(tmp_path) == before and (tmp_path / RECORD).exists()
    claim(tmp_path)
    assert standing(tmp_path) == NEW


def test_chunks_lie_out_of_sight(tmp_path: Path) -> None:
    assert chunk_folder(tmp_path) == tmp_path / ".planner" / "chunks"
    chunk_folder(tmp_path).mkdir(parents=True)
    (chunk_folder(tmp_path) / "a.json").write_text("{}", encoding="utf-8")
    run(tmp_path, OLD)
    run(tmp_path, NEW)
    assert (chunk_folder(tmp_path) / "a.json").exists()
