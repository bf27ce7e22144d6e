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
from planner.commands.break_even import _check_target
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
        """Refuse call `at` (1 is the first) that changes something in a folder, or the folder itself."""
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
    step = 1 if error == errno.ENOSPC else 4
    while True:  # until a number is beyond the last call
        shutil.rmtree(folder)
        shutil.copytree(before, folder)
        at += step
        try:
            with refusing.one(folder, at, error):
                publish(folder)
        except OutputError as caught:
            told.append(str(caught))
            assert len(caught.faults) == 1
            assert disk.FOUND[errno.errorcode[error]] in told[-1] or "close " in told[-1]
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
    assert len(told) >= 25 // step and all("repeat the command" in one for one in told)


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
def small_disk(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    """Mounts a disk in memory with options, `size=4m` for one; only root may."""
    mounted = []

    def mount(options: str, place: Path = tmp_path / "disk") -> Path:
        place.mkdir(exist_ok=True)
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
    small_disk: Callable[..., Path], programme: tuple[Path, Publish, Publish]
) -> None:
    folder = small_disk("size=6m") / "out"
    _, publish, _ = programme
    publish(folder)
    old = set_of(folder)
    fill(folder.parent, 300_000)
    with pytest.raises(OutputError) as caught, held(folder):
        pytest.fail("nothing is computed on a full disk")
    fault = caught.value.faults[0]
    assert fault.found.startswith("no space left on the disk (") and "kB free" in fault.found
    assert "--out DIR on another disk" in fault.expected
    assert set_of(folder) == old
    (folder.parent / "photos.bin").unlink()
    publish(folder)
    assert set_of(folder) == old


def test_a_disk_that_fills_up_while_results_are_written(
    small_disk: Callable[..., Path], programme: tuple[Path, Publish, Publish], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every writer meets the end of the disk: how much is left differs. Libraries tell it in words of their own."""
    folder = small_disk("size=24m") / "out"

    def run_of() -> None:
        programme[1](folder, tuple(one for one in get_args(OutputFile) if one not in {"sheets", "brief"}))

    monkeypatch.setattr("planner.outputs.folder.PROBE_BYTES", 1)
    run_of()
    old, size = set_of(folder), sum(path.stat().st_size for path in folder.iterdir() if path.is_file())
    for part in (0.01, 0.1, 0.35, 0.8):
        fill(folder.parent, int(part * size))
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


def test_a_disk_that_can_only_be_read(
    small_disk: Callable[..., Path], programme: tuple[Path, Publish, Publish]
) -> None:
    folder = small_disk("size=6m") / "out"
    programme[1](folder)
    old = set_of(folder)
    small_disk("remount,ro")
    with pytest.raises(OutputError, match=r"a disk that can only be read.*--out DIR elsewhere"), held(folder):
        pytest.fail("nothing is computed for a folder that cannot be written to")
    with pytest.raises(OutputError, match="a disk that can only be read"), held(folder.parent / "other"):
        pytest.fail("nor for one that cannot be made")
    assert set_of(folder) == old


def test_a_disk_mounted_inside_the_folder(small_disk: Callable[..., Path], tmp_path: Path) -> None:
    folder = tmp_path / "out"
    put(folder, {"map.html": "old"})
    small_disk("size=6m", folder / HIDDEN)
    with pytest.raises(OutputError, match="lies on another disk than the one around it"), held(folder):
        pytest.fail("its files could not be moved in")
    assert (folder / "map.html").read_text(encoding="utf-8") == "old"


# Limits and rights --------------------------------------------------------------------------------------------


def make(folder: Path) -> Path:
    folder.mkdir()
    return folder


def put(folder: Path, files: dict[str, str]) -> None:
    with held(folder):
        new = new_folder(folder)
        for name, text in files.items():
            (new / name).write_text(text, encoding="utf-8", newline="")
        commit(folder, {"run_id": "0123456789ab"})


@POSIX
def test_a_limit_for_the_size_of_files(tmp_path: Path) -> None:
    import resource

    put(tmp_path / "out", {"map.html": "old"})
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, before[1]))
    try:
        with pytest.raises(OutputError, match=r"grow beyond what this system allows; expected .*ulimit -f"):
            put(tmp_path / "out", {"map.html": "new"})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert (tmp_path / "out" / "map.html").read_text(encoding="utf-8") == "old"


@contextmanager
def nobody() -> Iterator[None]:
    """As a user whom rights bind, which root is not."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A folder that any user may reach and write to."""
    place = Path(tempfile.mkdtemp())
    if os.geteuid() == 0:
        os.chown(place, 65534, 65534)
    yield place
    for one in (place, *place.rglob("*")):
        if one.is_dir():
            one.chmod(0o755)
    shutil.rmtree(place)


@POSIX
@pytest.mark.parametrize("where", ["out", "", f"out/{HIDDEN}"])
def test_no_permission(open_place: Path, where: str) -> None:
    """DIR, the folder around a new one, or what lies inside: told before anything is computed."""
    with nobody():
        if where:
            put(open_place / "out", {"map.html": "old"})
        closed = open_place / where
        closed.chmod(0o555)
        (open_place / "out" / HIDDEN / "lock").unlink(missing_ok=True) if where == "out" else None
        with pytest.raises(OutputError, match="permission: found no permission; expected leave to read and write"):
            put(open_place / "out", {"map.html": "new"})
        closed.chmod(0o755)
        if where:
            assert (open_place / "out" / "map.html").read_text(encoding="utf-8") == "old"
        put(open_place / "out", {"map.html": "new"})


@POSIX
def test_no_temporary_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "_candidate_tempdir_list", list)
    monkeypatch.setattr(tempfile, "tempdir", None)
    told = "temporary folder: TMPDIR: found none that can be written to"
    with pytest.raises(OutputError, match=told), held(tmp_path / "out"), tempfile.TemporaryFile():
        pass
    assert not (tmp_path / "out").exists()


def test_compiled_code_that_cannot_be_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder that is full is named, which is not DIR."""
    import numba
    from numba.core import caching

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(caching.IndexDataCacheFile, "_save_data", full)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "cache"))
    module = tmp_path / "twice.py"
    module.write_text("import numba\n@numba.njit(cache=True)\ndef twice(x):\n    return 2 * x\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    twice = __import__("twice").twice
    assert numba.config is not None
    with pytest.raises(OutputError, match=r"compiled code: found no space.*NUMBA_CACHE_DIR"), held(tmp_path / "out"):
        twice(2)


@pytest.mark.parametrize(
    ("error", "name"),
    [
        (sqlite3.OperationalError("database or disk is full"), "no space left"),
        (sqlite3.OperationalError("attempt to write a readonly database"), "only be read"),
        (OSError("192 requested and 0 written"), None),
        (ValueError("no space left"), None),
        (FileNotFoundError(errno.ENOENT, "No such file", "ghi.tif"), None),
    ],
)
def test_words_of_libraries(error: Exception, name: str | None, tmp_path: Path) -> None:
    fault = disk.fault_of(error, tmp_path)
    assert (fault is None) if name is None else name in str(fault)


# One run at a time, links, a folder that goes -----------------------------------------------------------------


def test_two_runs_in_one_folder(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    with held(folder):
        with pytest.raises(OutputError, match="another run at work in it; expected one run at a time"):
            put(folder, {"map.html": "second"})
        assert (folder / HIDDEN / "lock").exists()
    put(folder, {"map.html": "third"})


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_the_lock_of_a_dead_process_locks_nobody_out(tmp_path: Path) -> None:
    script = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom planner.outputs.folder import held\n"
        "with held(Path(sys.argv[1])):\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "out")]
    root = str(Path(disk.__file__).parents[1])
    ended = subprocess.run(command, env={**os.environ, "PYTHONPATH": root}, timeout=60, check=False)
    assert ended.returncode == -signal.SIGKILL and (tmp_path / "out" / HIDDEN / "lock").exists()
    put(tmp_path / "out", {"map.html": "next"})


@POSIX
def test_links_are_never_written_through(tmp_path: Path) -> None:
    """A link to DIR is the user's own; inside of it none leads a write elsewhere."""
    real, folder = make(tmp_path / "real"), tmp_path / "out"
    folder.symlink_to(real)
    outside = tmp_path / "outside.txt"
    outside.write_text("mine", encoding="utf-8")
    elsewhere = make(tmp_path / "elsewhere")
    (elsewhere / RECORD).write_text('{"run_id": "x", "files": {}}', encoding="utf-8")
    put(folder, {"map.html": "old"})
    (real / "map.html").unlink()
    (real / "map.html").symlink_to(outside)
    for name in ("new", "old"):
        (real / HIDDEN / name).symlink_to(elsewhere)
    (real / HIDDEN / "run.json.part").symlink_to(outside)
    put(folder, {"map.html": "new"})
    assert (real / "map.html").read_text(encoding="utf-8") == "new" and not (real / "map.html").is_symlink()
    assert outside.read_text(encoding="utf-8") == "mine"
    assert [one.name for one in elsewhere.iterdir()] == [RECORD]
    for name in ("lock", "chunks"):
        (real / HIDDEN / name).unlink(missing_ok=True)
        (real / HIDDEN / name).symlink_to(outside)
        with pytest.raises(OutputError, match="a link; expected no link inside the folder"):
            put(folder, {"map.html": "newer"})
        (real / HIDDEN / name).unlink()
    assert outside.read_text(encoding="utf-8") == "mine"


@POSIX
@pytest.mark.parametrize("name", ["map.html", "../outside.txt"])
def test_a_new_set_with_a_link_in_it_is_none(tmp_path: Path, name: str) -> None:
    """What lies in .planner/new and does not agree with its record is not moved in, and the old set stands."""
    put(tmp_path / "out", {"map.html": "old"})
    outside = tmp_path / "outside.txt"
    outside.write_text("mine", encoding="utf-8")
    new = make(tmp_path / "out" / HIDDEN / "new")
    (new / "map.html").symlink_to(outside)
    digest = hashlib.sha256(b"mine").hexdigest()
    (new / RECORD).write_text(json.dumps({"run_id": "x", "files": {name: digest}}), encoding="utf-8")
    claim(tmp_path / "out")
    assert set_of(tmp_path / "out") == {"map.html": b"old"} and not new.exists()
    assert outside.read_text(encoding="utf-8") == "mine"


def test_a_file_where_the_hidden_folder_belongs(tmp_path: Path) -> None:
    (tmp_path / HIDDEN).write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="found a file; expected a folder, where runs keep"):
        put(tmp_path, {"map.html": "new"})


@POSIX
def test_a_folder_that_is_removed_meanwhile(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    with pytest.raises(OutputError, match="it was removed or renamed meanwhile"), held(folder):
        shutil.rmtree(folder)
        (folder / HIDDEN / "chunks" / "a.json").write_text("{}", encoding="utf-8", newline="")
    put(folder, {"map.html": "new"})


def test_a_power_cut_finds_each_file_on_the_disk_before_its_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Order of what reaches the disk: files, record, names of both, and only then is anything moved or removed."""
    put(tmp_path, {"map.html": "old"})
    seen: list[str] = []
    flush, flush_folder, replaced = disk.flush, disk.flush_folder, disk.replace
    monkeypatch.setattr(disk, "flush", lambda path: (seen.append(f"flush {path.name}"), flush(path)))
    monkeypatch.setattr(disk, "flush_folder", lambda path: (seen.append(f"names {path.name}"), flush_folder(path)))
    monkeypatch.setattr(
        disk, "replace", lambda path, to: (seen.append(f"{path.parent.name}/{path.name}"), replaced(path, to))
    )
    new = new_folder(tmp_path)
    for name in ("map.html", "sites.csv"):
        (new / name).write_text("new", encoding="utf-8", newline="")
    commit(tmp_path, {"run_id": "0123456789ab"})
    here = tmp_path.name
    assert seen == [
        *("flush map.html", "flush sites.csv", "names new", f"{HIDDEN}/run.json.part", "names new"),
        *(f"{here}/run.json", f"{here}/map.html", "new/map.html", "new/sites.csv", "new/run.json", f"names {here}"),
    ]


# Single files -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("over", [True, False])
def test_a_single_file_in_one_piece(tmp_path: Path, refusing: Refusing, over: bool) -> None:
    target = tmp_path / "moves.csv"
    if over:
        target.write_text("old", encoding="utf-8", newline="")
    before = target.read_bytes() if over else None
    for at in range(1, 20):
        try:
            with refusing.one(tmp_path, at, errno.EROFS), disk.in_one_piece(target, over=over) as part:
                part.write_text("new", encoding="utf-8", newline="")
        except OutputError as caught:
            assert str(target) in str(caught) and "a disk that can only be read" in str(caught)
            assert (target.read_bytes() if target.exists() else None) in (before, b"new" if over else before)
            continue
        break
    assert at > 3 and target.read_bytes() == b"new"
    with pytest.raises(FileExistsError), disk.in_one_piece(target, over=False) as part:
        part.write_text("newer", encoding="utf-8", newline="")
    assert [one.name for one in tmp_path.iterdir()] == ["moves.csv"]


def test_files_that_are_written_together(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_bytes(b"old")
    with pytest.raises(KeyError), disk.kept_as_they_were((one, two)):
        one.write_bytes(b"new")
        two.write_bytes(b"new")
        raise KeyError
    assert one.read_bytes() == b"old" and [path.name for path in tmp_path.iterdir()] == ["one"]
    with disk.kept_as_they_were((one, two)):
        one.write_bytes(b"new")
        two.write_bytes(b"new")
    assert one.read_bytes() == b"new" and sorted(path.name for path in tmp_path.iterdir()) == ["one", "two"]


def test_a_chart_is_refused_before_its_wells_are_sized(tmp_path: Path, refusing: Refusing) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_bytes(b"")
    for out, found in (
        (plan, "an input of the plan"),
        (tmp_path, "a folder"),
        (tmp_path / "no" / "a.svg", "no folder"),
    ):
        with pytest.raises(OutputError, match=f"--out: found {found}"):
            _check_target(out, [plan])
    with refusing.one(tmp_path, 1, errno.EROFS), pytest.raises(OutputError, match="a disk that can only be read"):
        _check_target(tmp_path / "a.svg", [plan])
    _check_target(tmp_path / "a.svg", [plan])
    assert [one.name for one in tmp_path.iterdir()] == ["plan.toml"]


@pytest.mark.parametrize("at", [1, 2, 5])
def test_a_disk_that_fills_up_while_sites_are_sized(
    make_programme: Callable[..., Path], plan_text: str, refusing: Refusing, tmp_path: Path, at: int
) -> None:
    """A chunk that cannot be kept: told like the rest, and the next command goes on with those that are there."""
    text = plan_text.replace('files = ["map", "csv", "parquet", "gpkg", "bill"]', 'files = ["csv"]')
    plan = make_programme(tmp_path, [{"people": str(200 + number)} for number in range(9)], text)
    folder = tmp_path / "out"
    with (
        refusing.one(folder / HIDDEN / "chunks", at, errno.ENOSPC),
        pytest.raises(OutputError, match=r"no space left on the disk.*then repeat the command: nothing is computed"),
    ):
        pipeline.run(plan, folder, chunk_sites=3)
    assert refusing.told
    kept = {one.name: one.read_bytes() for one in (folder / HIDDEN / "chunks").rglob("*") if one.is_file()}
    pipeline.run(plan, folder, chunk_sites=3)
    for name, data in kept.items():
        found = [one for one in (folder / HIDDEN / "chunks").rglob(name)]
        assert name.endswith(".part") or (found and found[0].read_bytes() == data)
