"""Habits of other systems, tried here: names, letters, line ends, how processes start, what is not there.

Names of devices and forbidden characters: Microsoft, "Naming Files, Paths, and Namespaces"; the rest are our own rules.
"""

from __future__ import annotations

import ast
import io
import json
import os
import re
import subprocess
import sys
import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from planner import chunks, cli, disk, publish, terminal
from planner.commands.draft import command as draft_command
from planner.errors import OutputError, PlanError
from planner.outputs import folder as output_folder
from planner.outputs.folder import RESERVED, held
from planner.pipeline import slug
from planner.plan import read_plan
from planner.plan.file_names import path_of

ROOT = Path(__file__).parents[1]
SOURCES = sorted((ROOT / "planner").rglob("*.py"))
INVENTORY = "site_id,latitude,longitude,depth_m\nW1,-9.9,30.1,60\n"
BARE = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}  # a server without a language


def plan_of(folder: Path, name: str, on_disk: str | None = None) -> Path:
    """A plan that names an inventory, which lies there under that or another name."""
    folder.mkdir(exist_ok=True)
    (folder / (on_disk or name)).write_text(INVENTORY, encoding="utf-8", newline="")
    plan = folder / "plan.toml"
    plan.write_text(f"[inventory]\nfile = {json.dumps(name)}\n", encoding="utf-8", newline="")
    return plan


def refused(plan: Path) -> str:
    with pytest.raises(PlanError) as caught:
        read_plan(plan)
    assert len(caught.value.faults) == 1
    return str(caught.value)


def calls(path: Path) -> Iterator[tuple[ast.Call, str]]:
    """Every call of a source, with the last part of its name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
        if isinstance(node, ast.Call):
            function = node.func
            yield node, function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


# Names of files -----------------------------------------------------------------------------------------------

NFC, NFD = (unicodedata.normalize(form, "Bévé.csv") for form in ("NFC", "NFD"))


@pytest.mark.parametrize(("written", "there"), [(NFC, NFD), (NFD, NFC), (NFC, NFC), (NFD, NFD)])
def test_letters_with_accents_in_one_character_or_two(tmp_path: Path, written: str, there: str) -> None:
    plan = plan_of(tmp_path / unicodedata.normalize("NFD", "données"), written, there)
    found = read_plan(plan).resolve(written)
    assert found.is_file() and unicodedata.normalize("NFC", found.name) == NFC
    whole = path_of(tmp_path, f"{unicodedata.normalize('NFC', 'données')}/{written}")
    assert whole.is_file(), "folders too"
    plan = plan_of(tmp_path / "plain", "../" + unicodedata.normalize("NFC", "données") + f"/{written}", "x.csv")
    assert read_plan(plan).plan.inventory.file.endswith(written), "the name stays as it is written"


def test_what_is_there_as_written_is_taken(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, NFD)
    try:
        (tmp_path / NFC).write_text("another", encoding="utf-8")
    except OSError:
        pytest.skip("this disk spells names its own way")
    if len(list(tmp_path.glob("*.csv"))) == 2:
        assert read_plan(plan).resolve(NFD).read_text(encoding="utf-8") == INVENTORY


def test_upper_and_lower_case_are_told_and_not_guessed(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "boreholes.csv", "Boreholes.CSV")
    if (tmp_path / "boreholes.csv").exists():
        pytest.skip("this disk takes one for the other")
    assert "there is 'Boreholes.CSV': upper and lower case matter" in refused(plan)
    (tmp_path / "boreholes.csv").write_text(INVENTORY, encoding="utf-8")
    assert read_plan(plan).resolve("boreholes.csv").name == "boreholes.csv"


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("C:\\\\Users\\\\ann\\\\boreholes.csv", "a path of Windows"),
        ("d:/data/boreholes.csv", "a path of Windows"),
        ("data\\\\boreholes.csv", "write paths with /"),
        ("\\\\\\\\server\\\\share\\\\boreholes.csv", "write paths with /"),
        ("x" * 300 + ".csv", "relative to the plan file"),
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="these are paths there")
def test_paths_of_windows_in_a_plan(tmp_path: Path, name: str, told: str) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(f'[inventory]\nfile = "{name}"\n', encoding="utf-8")
    assert told in refused(plan)


@pytest.mark.parametrize("name", ["CON", "Nul", "aux", "COM1", "lpt9", "prn"])
def test_a_programme_named_as_a_device(name: str, tmp_path: Path) -> None:
    assert slug(name) == f"{name.lower()}-programme"
    for spelled in (name, f"{name}.results", f"{name} .x"):
        assert RESERVED.fullmatch(spelled)
        with pytest.raises(OutputError, match="a name that Windows takes as it is"):
            output_folder._check_name(tmp_path / spelled / "out", windows=True)


def test_names_that_windows_shortens(tmp_path: Path) -> None:
    for name in ("results.", "results ", "..."):
        with pytest.raises(OutputError, match="a name that Windows takes as it is"):
            output_folder._check_name(tmp_path / name, windows=True)
        output_folder._check_name(tmp_path / name, windows=False)
    for fine in ("..", ".", "Console", "results.2026", "conduit", "com10"):
        output_folder._check_name(Path(fine), windows=True)


@pytest.mark.parametrize("name", ["...", "  ", "./..", "", "../../etc/passwd", "C:\\x", "é" * 90, "x" * 59 + "-y"])
def test_a_slug_is_a_name_on_every_system(name: str) -> None:
    assert re.fullmatch("[a-z0-9]([a-z0-9-]{0,68}[a-z0-9])?", slug(name))


@pytest.mark.parametrize("name", ["x" * 300, "/".join(["y" * 100] * 60)], ids=["one name", "a whole path"])
def test_a_path_too_long(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match="a path that is too long for this system"), held(tmp_path / name):
        pytest.fail("nothing is computed for it")


def test_the_probe_is_as_long_as_the_longest_name_inside() -> None:
    """So a folder too deep for Windows (260 characters in all) is told before anything is computed."""
    longest = f"chunks/{'f' * 8}/{'0' * 64}.1234567.part"  # a folder of chunks, sha256, number of a process
    assert len(output_folder.PROBE) >= len(longest)


def shipped() -> list[str]:
    """Files of the package, tests and demo, without what Python compiles."""
    found = [path for base in ("planner", "data_demo", "tests") for path in (ROOT / base).rglob("*") if path.is_file()]
    return [path.relative_to(ROOT).as_posix() for path in found if not {"__pycache__", ".planner"} & {*path.parts}]


def written() -> set[str]:
    """Names of files that stand in the sources of what a run writes."""
    pattern = re.compile(r'"([\w-]+\.(?:csv|html|xlsx|gpkg|pdf|gpx|kml|json|svg|parquet))"')
    texts = [path.read_text(encoding="utf-8") for path in (*(ROOT / "planner/outputs").rglob("*.py"),)]
    texts.append((ROOT / "planner/publish.py").read_text(encoding="utf-8"))
    return {name for text in texts for name in pattern.findall(text)}


def test_names_are_distinct_and_legal_everywhere() -> None:
    assert {"map.html", "sites.csv", "run.json", "plan.gpkg", "programme.xlsx"} <= written()
    for names in (shipped(), sorted(written())):
        assert len({name.casefold() for name in names}) == len(names)
        for name in names:
            for part in name.split("/"):
                assert not RESERVED.fullmatch(part) and not re.search(r'[<>:"\\|?*\x00-\x1f]|[. ]$', part), name
                assert part.isascii(), name
            assert len(name) < 140, name


# Letters and line ends ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii", "utf-8"])
def test_every_text_can_be_printed(encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """On code pages of Windows and on none; what has letters of its own in ASCII becomes no question mark."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    terminal.can_print()
    for source in sorted((ROOT / "planner/texts").glob("*.csv")):
        text = source.read_text(encoding="utf-8")
        stream.write(text)
        rest = text.replace("¿", "?")  # Spanish asks so
        assert terminal.plain(rest).count("?") == rest.count("?"), source.name
    stream.flush()


def test_what_ascii_has_no_letters_for() -> None:
    assert terminal.plain("“Bévé” – 3,5 m³/h, ≤ 12 °C, 井") == '"Beve" - 3,5 m3/h, <= 12 degC, ?'


@pytest.mark.parametrize(("encoding", "shown"), [("ascii", NFC.encode()[:-4]), ("cp437", b"B\x82v\x82")])
def test_a_command_where_the_system_has_no_language(tmp_path: Path, encoding: str, shown: bytes) -> None:
    """`check` reads a file named in letters that neither the system nor the terminal has, and prints its name.

    Click takes ASCII for a mistake of the system's settings, and writes UTF-8 then.
    """
    plan = plan_of(tmp_path, NFC, NFD)
    command = [sys.executable, "-m", "planner", "check", str(plan)]
    env = {**os.environ, **BARE, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(ROOT)}
    ended = subprocess.run(command, env=env, capture_output=True, timeout=120, check=False)
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout.startswith(shown + b".csv: 1 rows"), ended.stdout


@pytest.mark.skipif(os.name == "nt", reason="a shell of POSIX")
@pytest.mark.parametrize(("into", "code", "told"), [(">&-", 0, ""), ("2>&- >&-", 0, ""), ("> /dev/full", 2, "space")])
def test_a_terminal_that_is_closed_or_full(into: str, code: int, told: str) -> None:
    if "/dev/full" in into and not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full on this system")
    command = f'"{sys.executable}" -m planner --help {into}'
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    ended = subprocess.run(command, shell=True, env=env, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == code and told in ended.stderr
    assert "Traceback" not in ended.stderr and "Exception ignored" not in ended.stderr


def test_a_plan_with_line_ends_of_windows(tmp_path: Path) -> None:
    unix = plan_of(tmp_path, "wells.csv")
    text = unix.read_text(encoding="utf-8") + '[programme]\nname = """Two\nlines"""\nbudget = "much"\n'
    windows = tmp_path / "windows.toml"
    unix.write_text(text, encoding="utf-8", newline="\n")
    windows.write_text("\ufeff" + text, encoding="utf-8", newline="\r\n")
    assert refused(windows).replace("windows.toml", "plan.toml") == refused(unix)
    unix.write_text(text.replace('"much"', "5.0"), encoding="utf-8", newline="\n")
    windows.write_text(text.replace('"much"', "5.0"), encoding="utf-8", newline="\r\n")
    assert read_plan(windows).plan == read_plan(unix).plan


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_line_ends_are_ours_and_not_the_systems(path: Path) -> None:
    """Text that is opened for writing names its line ends, but for a JSON of one line. Encodings: test_architecture."""
    for node, function in calls(path):
        if isinstance(node.func, ast.Attribute) and getattr(node.func.value, "id", "") == "rasterio":
            continue
        words = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
        words += [one.value.value for one in node.keywords if one.arg == "mode" and isinstance(one.value, ast.Constant)]
        writes = function == "write_text" or (function == "open" and any(re.fullmatch("[wax]t?[+]?", w) for w in words))
        if function == "write_text" and node.args and isinstance(node.args[0], ast.Call):
            inner = node.args[0]
            if getattr(inner.func, "attr", "") == "dumps" and not any(one.arg == "indent" for one in inner.keywords):
                continue
        named = any(one.arg == "newline" for one in node.keywords)
        assert named or not writes, f"{path}:{node.lineno}: {function}() without newline"


# What is not there --------------------------------------------------------------------------------------------

ELSEWHERE = {
    *("getuid", "geteuid", "getppid", "fork", "uname", "getpgid", "mkfifo", "setsid", "nice", "getloadavg"),
    *("SIGKILL", "SIGHUP", "SIGALRM", "SIGUSR1", "sysconf"),
}
TODAY = {"today", "now", "utcnow", "time", "localtime", "ctime", "getlocale", "getpreferredencoding"}


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_nothing_is_asked_for_that_some_system_lacks(path: Path) -> None:
    """Neither calls of POSIX alone, nor today's date, the time zone or the language of the system."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = {node.module} if isinstance(node, ast.ImportFrom) else {one.name for one in node.names}
            assert not names & {"fcntl", "pwd", "grp", "resource", "termios", "msvcrt", "winreg"}, path
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            wanted = ELSEWHERE if node.value.id in {"os", "signal"} else set()
            wanted = TODAY if node.value.id in {"datetime", "date", "time", "locale"} else wanted
            wanted = wanted - {"time"} if node.value.id == "datetime" else wanted  # a kind, and no call
            assert node.attr not in wanted, f"{path}:{node.lineno}: {node.value.id}.{node.attr}"


def test_cores_where_a_process_cannot_ask_for_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    assert chunks.default_workers() == (os.cpu_count() or 1)
    monkeypatch.setattr(os, "cpu_count", lambda: None)
    assert chunks.default_workers() == 1


def test_no_terminal_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    terminal.can_print()
    with cli.progress_bar() as progress:
        progress(1, 2)
    cli.flush_output()


def test_two_drives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No way leads from one drive of Windows to another: the full path stands in its place, with /."""

    def apart(*_: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr(os.path, "relpath", apart)
    assert publish._relative(tmp_path / "plan.toml", tmp_path / "out") == (tmp_path / "plan.toml").as_posix()
    assert draft_command._name_from(tmp_path / "a.csv", tmp_path / "b.toml") == (tmp_path / "a.csv").as_posix()


@pytest.mark.parametrize("times", [1, 4, 9])
def test_a_scanner_that_holds_a_new_file_for_a_moment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    true, left = Path.replace, times

    def held_for_a_moment(self: Path, target: Path) -> Path:
        nonlocal left
        left -= 1
        if left >= 0:
            raise PermissionError(13, "held", str(self))
        return true(self, target)

    monkeypatch.setattr(disk, "ON_WINDOWS", True)
    monkeypatch.setattr(disk, "PAUSE_S", 0.0)
    monkeypatch.setattr(Path, "replace", held_for_a_moment)
    (tmp_path / "a").write_bytes(b"a")
    if times < disk.TRIES:
        disk.replace(tmp_path / "a", tmp_path / "b")
        assert (tmp_path / "b").read_bytes() == b"a"
    else:
        with pytest.raises(PermissionError):
            disk.replace(tmp_path / "a", tmp_path / "b")


def test_a_run_in_a_process_that_was_spawned(make_programme: Callable[..., Path], tmp_path: Path) -> None:
    """As Windows and macOS start processes: the script is read anew, its main part is not run again."""
    plan = make_programme(tmp_path, [{}])
    script = tmp_path / "start.py"
    lines = (
        "import multiprocessing, sys",
        "from pathlib import Path",
        "from planner.pipeline import run",
        "def job(plan, out):",
        "    print(run(Path(plan), Path(out), workers=2).counts['equip'])",
        'if __name__ == "__main__":',
        "    child = multiprocessing.get_context('spawn').Process(target=job, args=sys.argv[1:3])",
        "    child.start()",
        "    child.join()",
        "    sys.exit(child.exitcode)",
    )
    script.write_text("\n".join(lines), encoding="utf-8")
    command = [sys.executable, str(script), str(plan), str(tmp_path / "out")]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    ended = subprocess.run(command, env=env, capture_output=True, text=True, encoding="utf-8", timeout=200, check=False)
    assert (ended.returncode, ended.stdout.strip()) == (0, "1"), ended.stderr
    assert (tmp_path / "out" / "run.json").is_file()
