"""The shape of the house, read from its sources: who may import whom, sizes, encodings, docstrings, quick start."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.main import get_command

import planner
from planner import cli

PACKAGE = Path(planner.__file__).parent
ROOT = PACKAGE.parent
SOURCES = sorted(PACKAGE.rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))

# Layers, lowest first; a module imports from layers below its own, and from its own folder where `WITHIN` says so.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("errors", "offline", "physics.equation", "__init__"),
    ("physics", "crops", "disk", "terminal"),
    ("texts.locales",),
    ("texts",),
    ("texts.many",),
    ("glossary", "plan"),
    ("catalogue",),
    ("engine",),
    ("tables.step", "tables.weather_sun", "tables.cells.units", "tables.cells.yields"),
    ("tables.files.raster_door", "tables.files.vector_door"),
    ("tables.cells.read", "tables.raster_files", "tables.weather_file", "tables.world_climate"),
    ("tables.files.raw_table", "tables.files.text_rows", "tables.files.number_marks", "tables.files.workbook_parts"),
    ("tables.files.header_lines", "tables.files.text_encoding"),
    ("tables.files.text_table", "tables.files.workbook", "tables.files.layers"),
    ("tables.files.table_file", "tables.polygon_file"),
    ("tables.boundary",),
    ("tables.positions.degrees", "tables.positions.datum", "tables.positions.utm"),
    (
        "tables.duplicates",
        "tables.inventory_file",
        "tables.raster_limits",
        "tables.cells.numbers",
        "tables.cells.dates",
    ),
    ("tables.grade", "tables.levels", "tables.visits"),
    ("tables.positions.cells", "tables.positions.readings"),
    ("tables.positions.stand",),
    ("tables.positions.read",),
    ("tables.irrigation", "tables.private", "choice.portfolio"),
    ("tables", "choice", "outputs"),
    ("doubt", "outputs.charts.funnel"),
    ("chunks", "columns_on_disk"),
    ("run_table",),
    ("alternatives", "stages"),
    ("publish",),
    ("pipeline",),
    ("commands", "notebook"),
    ("cli",),
    ("__main__",),
)
# Folders whose modules may import one another. Steps of tables/ may not: they share only the helpers named above.
WITHIN = {
    "chunks",
    "physics",
    "plan",
    "catalogue",
    "engine",
    "doubt",
    "choice",
    "outputs",
    "commands",
    "alternatives",
    "stages",
    "notebook",
}
HELPERS = (
    {"step", "files", "cells", "positions", "inventory_file", "private"}
    | {"boundary", "polygon_file", "duplicates", "grade", "levels", "visits", "raster_files", "raster_limits"}
    | {"irrigation", "weather_file", "weather_sun", "world_climate"}
)
FILLS = {"said", "counted", "say", "say_count"}  # keywords are the placeholders of a text, which looks for each
HEAVY = (
    "babel",
    "folium",
    "numba",
    "pandas",
    "numpy",
    "pvlib",
    "geopandas",
    "rasterio",
    "scipy",
    "pyarrow",
    "pyproj",
    "shapely",
)
MAX_LINES = 500


def name_of(path: Path) -> str:
    """Dotted name inside the package: `tables.wells`; a folder is its `__init__`."""
    parts = list(path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 1 else parts)


MODULES = {name_of(path): path for path in SOURCES}


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def imported(path: Path) -> Iterator[str]:
    """Modules of ours that a file imports, at any depth of it; names as in MODULES."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports by full name"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            if name.split(".")[0] == "planner":
                yield module_of(name.removeprefix("planner").removeprefix("."))


def module_of(name: str) -> str:
    """`plan.read_plan` and `plan` are both of module `plan`; what the package itself defines is of `__init__`."""
    while name and name not in MODULES:
        name = name.rpartition(".")[0]
    return name or "__init__"


def folder(name: str) -> str:
    return name.partition(".")[0]


def layer(name: str) -> int:
    """The layer that names a module, or else the nearest folder that it lies in."""
    while name:
        for number, members in enumerate(LAYERS):
            if name in members:
                return number
        name = name.rpartition(".")[0]
    raise AssertionError("a module without a layer")


@pytest.mark.parametrize("name", MODULES)
def test_imports_go_down(name: str) -> None:
    for other in imported(MODULES[name]):
        family = folder(name) == folder(other) and folder(name) in WITHIN
        assert family or layer(other) < layer(name), f"{name} imports {other}"


def test_physics_knows_only_itself_and_errors() -> None:
    for name, path in MODULES.items():
        if name.startswith("physics"):
            assert all(folder(other) in {"physics", "errors"} for other in imported(path)), name


def test_the_engine_reads_no_table_and_no_file() -> None:
    for name, path in MODULES.items():
        if name.startswith("engine"):
            text = path.read_text(encoding="utf-8")
            assert not re.search(r"\bimport pandas\b|\bopen\(|read_text|read_csv", text), name


def test_steps_do_not_import_one_another() -> None:
    steps = {name for name in MODULES if name.startswith("tables.") and name.split(".")[1] not in HELPERS}
    assert len(steps) >= 7
    for name in steps:
        others = {other for other in imported(MODULES[name]) if other in steps}
        assert not others, f"{name} imports {others}"


def test_no_import_circles() -> None:
    arrows = {name: {other for other in imported(path) if other != name} for name, path in MODULES.items()}
    while free := {name for name, others in arrows.items() if not others & set(arrows)}:
        for name in free:
            del arrows[name]
    assert not arrows, f"these import one another: {sorted(arrows)}"


# Files ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [*SOURCES, *TESTS], ids=lambda path: str(path.relative_to(ROOT)))
def test_files_are_of_a_size_to_be_read(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= (MAX_LINES if path in SOURCES else 700)


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_text_files_name_their_encoding(path: Path) -> None:
    for node in ast.walk(tree_of(path)):
        if not isinstance(node, ast.Call):
            continue
        function = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if function not in {"open", "read_text", "write_text", "fdopen", "TextIOWrapper"}:
            continue
        owner = node.func.value if isinstance(node.func, ast.Attribute) else None
        if isinstance(owner, ast.Name) and owner.id in {"rasterio", "os", "archive"}:
            continue
        texts = [part.value for part in [*node.args, *(key.value for key in node.keywords)] if _is_text(part)]
        binary = any(re.fullmatch("[rwxa]b[+]?", text) for text in texts)
        named = any(key.arg == "encoding" for key in node.keywords)
        assert named or binary, f"{path}:{node.lineno}: {function}() without encoding"


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


# Functions --------------------------------------------------------------------------------------------------


def public_functions(path: Path) -> Iterator[ast.FunctionDef]:
    """Functions of the module and methods of its classes, whose names do not begin with an underscore."""
    for node in tree_of(path).body:
        if getattr(node, "name", "_").startswith("_"):
            continue
        for inner in node.body if isinstance(node, ast.ClassDef) else [node]:
            if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                yield inner


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_public_names_have_docstrings(path: Path) -> None:
    tree = tree_of(path)
    assert ast.get_docstring(tree) or not tree.body, f"{path} says nothing of itself"
    for function in public_functions(path):
        assert ast.get_docstring(function), f"{path}:{function.lineno}: {function.name}"


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_no_function_swallows_keywords(path: Path) -> None:
    for function in public_functions(path):
        filling = path.parent.name in {"texts", "workbook"} and function.name in FILLS
        filling |= (name_of(path), function.name) == ("notebook.preview", "render")  # as folium calls it
        assert filling or function.args.kwarg is None, f"{path}:{function.lineno}: {function.name}(**…)"
        defaults = [*function.args.defaults, *(one for one in function.args.kw_defaults if one)]
        shared = [one for one in defaults if isinstance(one, ast.List | ast.Dict | ast.Set)]
        assert not shared, f"{path}:{function.lineno}: {function.name}: a default that calls share"


# Start ------------------------------------------------------------------------------------------------------


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from planner.cli import main\n"
        "sys.argv = ['planner', '--help']\n"
        "try:\n    main()\nexcept SystemExit as stopped:\n    assert not stopped.code\n"
        f"print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", timeout=60, check=True
    )
    assert ended.stderr.strip() == "[]"
    assert "Usage: planner" in ended.stdout


def test_a_faulty_plan_file_imports_no_engine() -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom planner.plan import read_plan\n"
        "try:\n    read_plan(Path('nowhere.toml'))\nexcept ValueError:\n    pass\n"
        f"print([name for name in {HEAVY} if name in sys.modules])\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", timeout=60, check=True
    )
    assert ended.stdout.strip() == "[]"


@pytest.mark.parametrize("command", ["", *get_command(cli.app).list_commands(None)])
def test_every_command_has_help(
    command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", [word for word in ("planner", command, "--help") if word])
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert not stopped.value.code
    told = capsys.readouterr().out
    assert re.match(rf"Usage: .*{command}", told)
    assert len(told.splitlines()) > 5


def test_one_version() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == planner.__version__
    assert re.fullmatch(r"\d+\.\d+\.\d+", planner.__version__)


def test_the_version_is_told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "argv", ["planner", "--version"])
    with pytest.raises(SystemExit):
        cli.main()
    assert capsys.readouterr().out.strip() == planner.__version__
