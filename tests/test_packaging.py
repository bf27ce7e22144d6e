"""The wheel and the source archive: everything that is needed, nothing else, the same bytes each time."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
import zipfile
from email import message_from_bytes
from pathlib import Path, PurePosixPath

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

from planner import __version__
from planner.commands.selfcheck import shipped
from tests.make_manifest import manifest
from tests.requirements import ROOT

INFO = f"planner-{__version__}.dist-info"
NOTICES = {  # what is not ours and lies in the package → the notice that must go with it
    "planner/outputs/map/vendor/leaflet/leaflet.js": "planner/outputs/map/vendor/leaflet/LICENSE",
    "planner/outputs/sheets/fonts/SourceSansPro-Regular.otf": "planner/outputs/sheets/fonts/LICENSE",
    "planner/data/world/world.npz": "planner/data/world/NOTICE",
}


def build(kind: type[WheelBuilder] | type[SdistBuilder], source: Path, target: Path) -> Path:
    """Build with the backend that pip would call, without a network or another process."""
    (made,) = kind(str(source)).build(directory=str(target), versions=["standard"])
    return Path(made)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(WheelBuilder, ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(SdistBuilder, ROOT, tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def unpacked(sdist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    with tarfile.open(sdist) as archive:
        archive.extractall(folder, filter="data")
    (only,) = folder.iterdir()
    return only


def names_in(wheel: Path) -> list[str]:
    with zipfile.ZipFile(wheel) as archive:
        return archive.namelist()


def known_to_git(*folders: str) -> set[str]:
    """Files that git keeps, or would keep, below the folders."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z", *folders]
    try:
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True, timeout=60).stdout.decode()
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no checkout of git")
    return {name for name in listed.split("\0") if name and (ROOT / name).is_file()}


def test_the_wheel_has_every_file_of_the_package_and_no_other(wheel: Path) -> None:
    expected = {name for name in known_to_git("planner") if PurePosixPath(name).name != ".gitattributes"}
    found = names_in(wheel)
    assert len(set(found)) == len(found)
    assert {name for name in found if not name.startswith(INFO)} == expected
    lower = [name.lower() for name in found]
    assert len(set(lower)) == len(lower), "names that are one name on Windows and macOS"


def test_notices_go_with_what_is_not_ours(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        for file, notice in NOTICES.items():
            assert file in names
            assert archive.read(f"{INFO}/licenses/{notice}") == (ROOT / notice).read_bytes()
        assert archive.read(f"{INFO}/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
        told = message_from_bytes(archive.read(f"{INFO}/METADATA"))
    assert set(told.get_all("License-File") or []) == {"LICENSE", *NOTICES.values()}
    assert told["License-Expression"] == "BSD-3-Clause"
    # whatever comes from others brings a LICENSE or NOTICE, so a new one cannot be forgotten
    stated = {name for name in known_to_git("planner") if PurePosixPath(name).name in {"LICENSE", "NOTICE", "COPYING"}}
    assert stated == set(NOTICES.values())


def test_the_source_archive_has_what_a_packager_needs_and_no_junk(unpacked: Path) -> None:
    found = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    top = {".gitattributes", ".gitignore", "DEVELOPERS.md", "LICENSE", "PKG-INFO", "README.md", "pyproject.toml"}
    assert {name for name in found if "/" not in name} == top
    assert {name for name in found if "/" in name} == known_to_git("planner", "tests", "data_demo")


def test_a_wheel_from_the_source_archive_is_the_wheel_from_the_tree(
    wheel: Path, unpacked: Path, tmp_path: Path
) -> None:
    again = build(WheelBuilder, unpacked, tmp_path)
    assert again.name == wheel.name
    assert names_in(again) == names_in(wheel)
    assert again.read_bytes() == wheel.read_bytes()


@pytest.mark.parametrize("kind", [WheelBuilder, SdistBuilder])
def test_two_builds_have_the_same_bytes(
    kind: type[WheelBuilder] | type[SdistBuilder], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a copy with other times and rights, on another day, with the date that is set for reproducible builds."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1767225600")
    first = build(kind, ROOT, tmp_path / "first")
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in known_to_git(
        "planner", "tests", "data_demo", "*.md", "*.toml", "LICENSE", ".gitignore", ".gitattributes"
    ):
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / name, copy / name)
        os.utime(copy / name, (1.6e9, 1.6e9))
        (copy / name).chmod(0o600)
    assert build(kind, copy, tmp_path / "second").read_bytes() == first.read_bytes()


def test_what_comes_out_of_the_wheel_passes_the_check_of_files(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path)
    assert shipped.check_files(tmp_path / "planner").grade == "ok"


def test_the_manifest_is_of_today() -> None:
    expected = {row["file"]: row["sha256"] for row in manifest()}
    assert shipped.recorded() == expected, "data files changed, write it again: python -m tests.make_manifest"
    names = {f"planner/{name}" for name in expected} | {f"planner/{shipped.MANIFEST}"}
    kept = {name for name in known_to_git("planner") if not name.endswith(".py")}
    assert names == {name for name in kept if PurePosixPath(name).name != ".gitattributes"}
