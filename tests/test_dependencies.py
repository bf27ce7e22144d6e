"""No dependency without a use and no use without a dependency; what is installed is whole, allowed and fits.

What no test can know without a network: whether a version was withdrawn or has a known weakness (DEVELOPERS.md)."""

from __future__ import annotations

import ast
import base64
import hashlib
import re
import sys
from collections.abc import Iterator
from functools import cache
from importlib.metadata import Distribution, PackageNotFoundError, distribution, packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name
from packaging.version import Version

from planner.commands.selfcheck.libraries import check_libraries, unmet
from tests.requirements import MINIMUM, ROOT, lower_bound, minimum_versions, name_of, project

GROUPS = project()
RUNTIME = {name_of(one): one for one in GROUPS["dependencies"]}
FOR_TESTS = {name_of(one) for extra in ("test", "bench") for one in GROUPS.get(extra, [])}
EXTRAS = {
    name_of(one) for extra, wanted in GROUPS.items() if extra not in {"dependencies", "test", "bench"} for one in wanted
}
# Used without an import: linters, plug-ins of pytest, and a module that another package imports without saying so.
NEVER_IMPORTED = {"mypy", "pandas-stubs", "pytest-benchmark", "pytest-xdist", "ruff", "six"}
NO_UPPER_BOUND = {"packaging", "pyarrow"}  # pyproject.toml says why

# Terms under which the package and its dependencies may be used and passed on together, as their metadata name them.
# MPL-2.0 is by file: certifi is used as it is. None of the GPL family is needed at run time.
ALLOWED = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT",
    "MIT-CMU", "MPL-2.0", "PSF-2.0", "Unlicense", "Zlib",
}  # fmt: skip
# Names of older metadata, whose beginning is enough.
SPELLED = {
    "Apache": "Apache-2.0",
    "BSD": "BSD-3-Clause",
    "New BSD": "BSD-3-Clause",
    "ISC": "ISC",
    "MIT": "MIT",
    "Mozilla Public License 2.0": "MPL-2.0",
    "MPL-2.0": "MPL-2.0",
    "Python Software Foundation": "PSF-2.0",
}


# Imports ----------------------------------------------------------------------------------------------------


def imported(folder: str) -> dict[str, set[str]]:
    """Names at the top of every import below a folder, at any depth of a file, with the files that have it."""
    found: dict[str, set[str]] = {}
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.importorskip":
                names.append(ast.literal_eval(node.args[0]))
            for name in names:
                found.setdefault(name.partition(".")[0], set()).add(path.relative_to(ROOT).as_posix())
    ours = {"planner", "tests", "conftest", *(path.stem for path in (ROOT / folder).rglob("*.py"))}
    return {name: files for name, files in found.items() if name not in sys.stdlib_module_names and name not in ours}


@cache
def distributions_of(module: str) -> set[str]:
    return {canonicalize_name(one) for one in packages_distributions().get(module, [])}


@cache
def pinned_by(names: frozenset[str]) -> set[str]:
    """What one of `names` asks for in one version alone, such as its own compiled half: it is declared with it."""
    return {
        name_of(wanted)
        for name in names
        for wanted in requirements_of(name)
        if [one.operator for one in wanted.specifier] == ["=="]
    }


def brought_by(name: str) -> set[str]:
    """What comes with a distribution through an extra of it that is asked for, `name[extra]`."""
    found = installed(name)
    asked = {extra for wanted in GROUPS.values() for one in wanted if name_of(one) == name for extra in one.extras}
    offered = [Requirement(one) for one in (found.requires if found else None) or []]
    return {name_of(one) for one in offered for extra in asked if one.marker and one.marker.evaluate({"extra": extra})}


def installed(name: str) -> Distribution | None:
    try:
        return distribution(name)
    except PackageNotFoundError:
        return None


def requirements_of(name: str) -> list[Requirement]:
    """What an installed distribution asks for here, without extras."""
    found = installed(name)
    wanted = [Requirement(one) for one in (found.requires if found else None) or []]
    return [one for one in wanted if one.marker is None or one.marker.evaluate({"extra": ""})]


@pytest.mark.parametrize(
    ("folder", "declared"),
    [("planner", set(RUNTIME) | EXTRAS), ("tests", set(RUNTIME) | EXTRAS | FOR_TESTS), ("data_demo", set(RUNTIME))],
)
def test_what_is_imported_is_declared(folder: str, declared: set[str]) -> None:
    allowed = declared | pinned_by(frozenset(declared)).union(*(brought_by(name) for name in declared & EXTRAS))
    for module, files in imported(folder).items():
        names = distributions_of(module)
        # an extra that is not installed has its module's name
        assert names & allowed or canonicalize_name(module) in allowed, (
            f"{module} ({names}), imported by {sorted(files)}"
        )


def test_what_is_declared_is_imported() -> None:
    ours, tests = imported("planner"), imported("tests")
    used = {name for module in ours for name in distributions_of(module) | {canonicalize_name(module)}}
    used_by_tests = {name for module in tests for name in distributions_of(module) | {canonicalize_name(module)}}
    assert set(RUNTIME) <= used, f"no use: {set(RUNTIME) - used}"
    idle = {name for name in EXTRAS if not ({name} | brought_by(name)) & (used | used_by_tests)}
    assert not idle, f"no use: {idle}"
    unused = FOR_TESTS - used_by_tests
    assert unused == NEVER_IMPORTED, f"no use: {unused - NEVER_IMPORTED}; used after all: {NEVER_IMPORTED - unused}"


def test_a_missing_declaration_is_seen() -> None:
    assert "pydantic-core" not in RUNTIME and "pydantic-core" in pinned_by(frozenset(RUNTIME))
    assert distributions_of("fontTools") == {"fonttools"} and distributions_of("jinja2") == {"jinja2"}
    assert "jinja2" not in set(RUNTIME) | FOR_TESTS | pinned_by(frozenset(RUNTIME))


# Bounds -----------------------------------------------------------------------------------------------------


def test_every_requirement_has_its_bounds() -> None:
    for group, wanted in GROUPS.items():
        for one in wanted:
            assert one.url is None and lower_bound(one), one
            operators = sorted(part.operator for part in one.specifier)
            assert operators in ([">="], ["<", ">="]), one
            if group == "dependencies":
                assert (operators == [">="]) == (name_of(one) in NO_UPPER_BOUND), one
    names = [name_of(one) for one in GROUPS["dependencies"]]
    assert names == sorted(names)


def test_minimum_versions_are_the_lower_bounds() -> None:
    text = MINIMUM.read_text(encoding="utf-8")
    assert text == minimum_versions(), "write it again: python -m tests.requirements"
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    assert all(re.fullmatch(r"[a-z0-9-]+==[0-9.]+", line) for line in lines), "names and versions only"


def test_what_is_installed_is_within_the_bounds() -> None:
    assert unmet([str(one) for one in GROUPS["dependencies"]]) == []
    assert unmet(["numpy>=1000", "no-such-package>=1"]) == [
        f"numpy {distribution('numpy').version} is installed; numpy>=1000 is needed",
        "no-such-package is missing; no-such-package>=1 is needed",
    ]
    assert check_libraries().grade != "FAIL"


# What is installed ------------------------------------------------------------------------------------------


def closure() -> Iterator[str]:
    """Every distribution that the package needs at run time, and what those need in turn."""
    known, waiting = set(), sorted(RUNTIME)
    while waiting:
        name = waiting.pop()
        if name not in known:
            known.add(name)
            waiting += [name_of(one) for one in requirements_of(name)]
    yield from sorted(known)


CLOSURE = list(closure())


def terms(found: Distribution) -> set[str]:
    """The licence of a distribution in SPDX names, whichever way its metadata state it."""
    metadata = found.metadata
    if expression := metadata.get("License-Expression"):
        return set(re.split(r" (?:AND|OR) ", expression.replace("(", "").replace(")", "")))
    stated = [
        one.rpartition("::")[2].strip() for one in metadata.get_all("Classifier") or [] if one.startswith("License")
    ]
    stated = stated or [line.strip() for line in metadata.get("License", "").splitlines() if line.strip()][:1]
    return {next((spdx for start, spdx in SPELLED.items() if one.startswith(start)), one) for one in stated}


@pytest.mark.parametrize("name", CLOSURE)
def test_a_dependency_is_known_allowed_and_fits(name: str) -> None:
    found = installed(name)
    assert found is not None, f"{name} is needed and not installed"
    assert found.read_text("direct_url.json") is None, "installed from an address or a folder, not from a registry"
    assert terms(found) and terms(found) <= ALLOWED, f"{name}: licence {terms(found)}"
    python = ".".join(map(str, sys.version_info[:3]))
    assert SpecifierSet(found.metadata.get("Requires-Python", "")).contains(python, prereleases=True)
    assert not Version(found.version).is_prerelease, found.version
    assert unmet([str(one) for one in requirements_of(name)]) == []


def altered(found: Distribution) -> list[str]:
    """Files whose bytes are not those that their wheel recorded, or that are gone."""
    faults = []
    for file in found.files or []:
        if file.hash is None or file.hash.mode != "sha256":
            continue  # what Python compiled here, and the record itself
        path = Path(str(file.locate()))
        if not path.is_file():
            faults.append(f"{file}: gone")
            continue
        digest = base64.urlsafe_b64encode(hashlib.sha256(path.read_bytes()).digest()).rstrip(b"=").decode()
        if digest != file.hash.value:
            faults.append(f"{file}: changed")
    return faults


def test_installed_files_are_as_their_wheels_recorded_them() -> None:
    counted = 0
    for name in CLOSURE:
        found = distribution(name)
        assert found.files, f"{name} has no record of its files"
        counted += len(found.files)
        assert altered(found) == [], name
    assert counted > 5000


def test_an_altered_file_is_seen(tmp_path: Path) -> None:
    info = tmp_path / "invented-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: invented\nVersion: 1.0\n", encoding="utf-8")
    digest = base64.urlsafe_b64encode(hashlib.sha256(b"x = 1\n").digest()).rstrip(b"=").decode()
    (info / "RECORD").write_text(f"invented.py,sha256={digest},6\ngone.py,sha256={digest},6\n", encoding="utf-8")
    (tmp_path / "invented.py").write_bytes(b"x = 1\n")
    found = Distribution.at(info)
    assert altered(found) == ["gone.py: gone"]
    (tmp_path / "invented.py").write_bytes(b"x = 2\n")
    assert altered(found) == ["invented.py: changed", "gone.py: gone"]
