"""`planner selfcheck`: each check sees the fault that it is for, and says what to do."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numba
import pytest

from planner import cli
from planner.commands.selfcheck import cases, command, kernels, libraries, machine, shipped, trial
from planner.commands.selfcheck.outcome import Check


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the data files of the package and of their table."""
    folder = tmp_path_factory.mktemp("package")
    for name in [*shipped.recorded(), shipped.MANIFEST]:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(shipped.PACKAGE / name, folder / name)
    return folder


def test_whole_files_pass_with_the_line_ends_of_any_system(package: Path) -> None:
    assert shipped.check_files(package).grade == "ok"
    file = package / "glossary.csv"
    whole = file.read_bytes()
    try:
        file.write_bytes(whole.replace(b"\n", b"\r\n"))
        assert shipped.check_files(package).grade == "ok"
        file.write_bytes(whole.replace(b",", b";", 1))
        changed = shipped.check_files(package)
        file.unlink()
        gone = shipped.check_files(package)
    finally:
        file.write_bytes(whole)
    assert changed.grade == gone.grade == "FAIL"
    assert changed.details[0] == f"changed: {file}" and gone.details[0] == f"missing: {file}"
    assert "install the package again" in changed.details[-1]


def test_a_table_that_the_program_would_read_is_seen(package: Path) -> None:
    (package / "texts" / "mine.csv").write_text("key\n", encoding="utf-8")
    (package / "texts" / "notes.docx").write_text("no kind of file that is read", encoding="utf-8")
    try:
        found = shipped.check_files(package)
    finally:
        (package / "texts" / "mine.csv").unlink()
        (package / "texts" / "notes.docx").unlink()
    assert found.details[:-1] == [f"not of the package: {package / 'texts' / 'mine.csv'}"]
    assert shipped.check_files(package / "nowhere").grade == "FAIL"


def test_binary_files_keep_their_line_ends() -> None:
    assert shipped.content_digest(b"a\r\nb") == shipped.content_digest(b"a\nb")
    assert shipped.content_digest(b"a\0\r\nb") != shipped.content_digest(b"a\0\nb")


def test_a_library_out_of_its_bounds_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(libraries, "requires", lambda _: ["numpy<2", "pandas>=3.0", 'ruff>=1000; extra == "test"'])
    found = libraries.check_libraries()
    assert found.grade == "FAIL" and len(found.details) == 2
    assert found.details[0].startswith("numpy ") and found.details[0].endswith("numpy<2 is needed")


def test_little_room_is_told_and_fails_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert "cores" in machine.check_machine(tmp_path).found and machine.usable_cores() >= 1
    monkeypatch.setattr(machine, "LEAST_DISK_GB", 1e9)
    found = machine.check_machine(tmp_path)
    assert found.grade == "note" and "--out" in found.details[-1]


def test_differences_of_a_run_are_named_by_well() -> None:
    row = dict.fromkeys((*trial.SAME, *trial.CLOSE), "")
    wanted = row | {"site_id": "DEEP", "decision": "equip", "cost_per_m3": "0.8"}
    near, far = wanted | {"cost_per_m3": "0.8079"}, wanted | {"cost_per_m3": "0.8082", "decision": "hold"}
    assert list(trial.differences([near], [wanted])) == []
    assert list(trial.differences([far], [wanted])) == [
        "DEEP: decision is hold, expected equip",
        "DEEP: cost_per_m3 is 0.8082, expected 0.8",
    ]
    assert list(trial.differences([wanted | {"cost_per_m3": ""}], [wanted])) == [
        "DEEP: cost_per_m3 is empty, expected 0.8"
    ]
    assert len(list(trial.differences([], [wanted]))) == 1


def test_the_tiny_run_gives_what_ships_with_it() -> None:
    """Snapshot of our own; decisions as the rules have them: sand, fluoride, a dry well, a well nowhere."""
    found = trial.check_trial()
    assert (found.grade, found.details) == ("ok", []), found
    assert found.found.startswith("7 wells")


def test_a_run_that_stops_is_a_failure_with_its_reason(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(trial, "PLAN", tmp_path / "nowhere.toml")
    found = trial.check_trial()
    assert found.grade == "FAIL" and found.found == "stopped: PlanError" and "nowhere.toml" in found.details[0]


def test_kernels_are_found_again_by_a_new_process() -> None:
    found = kernels.check_cache(before=0)
    assert found.grade == "ok" and numba.config.CACHE_DIR in found.found


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is elsewhere")
def test_the_check_looks_where_every_run_keeps_its_kernels(tmp_path: Path) -> None:
    code = "from planner.commands.selfcheck import kernels\nprint(kernels.cache_folder())"
    where = {"PATH": os.environ["PATH"], "PYTHONPATH": str(shipped.PACKAGE.parent), "XDG_CACHE_HOME": str(tmp_path)}
    told = subprocess.run(
        [sys.executable, "-c", code],
        env=where,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
        timeout=120,
    ).stdout
    assert Path(told.strip()).parent == tmp_path / "planner"


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="rights do not bind everybody")
def test_a_cache_that_cannot_be_written_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    found = kernels.check_cache(before=0)
    assert found.grade == "note" and "NUMBA_CACHE_DIR" in found.details[0]


def test_a_cache_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "gone"))
    found = kernels.check_cache(before=0)
    assert found.grade == "note" and "NUMBA_CACHE_DIR" in found.details[0]


def test_a_line_a_check_and_exit_status_3_when_one_fails(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def checks(failing: bool) -> Iterator[Check]:
        yield Check("machine", "ok", "2 cores")
        yield Check("tiny run", "FAIL" if failing else "note", "2 differences", ["DEEP: \x1b[31m"])

    monkeypatch.setattr(sys, "argv", ["planner", "selfcheck"])
    monkeypatch.setattr(command, "selfcheck", lambda _: checks(True))
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == cli.INTERNAL_FAULT
    assert capsys.readouterr().out.splitlines() == [
        "ok    machine: 2 cores",
        "FAIL  tiny run: 2 differences",
        "      DEEP: \\x1b[31m",
        "1 of 2 checks failed: tiny run",
    ]
    monkeypatch.setattr(command, "selfcheck", lambda _: checks(False))
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert not stopped.value.code and capsys.readouterr().out.endswith("all 2 checks hold\n")


def test_cases_are_printed_in_full(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "argv", ["planner", "selfcheck", "--cases"])
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert not stopped.value.code
    told = capsys.readouterr().out.splitlines()
    assert len(told) == 2 * len(cases.known_cases()) + 1 and told[0].startswith("ok   C01  ")
    monkeypatch.setitem(cases.QUANTITIES, "productivity_rank", lambda yield_l_s: 5)
    assert command.check_cases().grade == "FAIL" and command.check_cases().details[0].startswith("FAIL C53")
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == cli.INTERNAL_FAULT


def test_a_long_silence_is_broken(monkeypatch: pytest.MonkeyPatch) -> None:
    heard: list[str] = []
    monkeypatch.setattr(command, "EVERY_S", 0.01)
    with command._signs_of_life(heard.append):
        while not heard:
            pass
    assert heard[0].startswith("still at work after")
