"""The libraries that the package asks for: are they there, and of a version that it was tried with?"""

from __future__ import annotations

import textwrap
from importlib.metadata import PackageNotFoundError, requires, version

from packaging.requirements import Requirement

from planner.commands.selfcheck.outcome import Check

__all__ = ["check_libraries", "unmet"]

MATTER = ("numba", "numpy", "pandas", "scipy", "pvlib", "geopandas", "pyproj", "rasterio", "pyarrow", "typst")
WIDTH = 110


def unmet(requirements: list[str]) -> list[str]:
    """What is missing or of another version among requirements as packages state them; those of extras are skipped."""
    faults = []
    for text in requirements:
        wanted = Requirement(text)
        if wanted.marker is not None and not wanted.marker.evaluate({"extra": ""}):
            continue
        try:
            found = version(wanted.name)
        except PackageNotFoundError:
            faults.append(f"{wanted.name} is missing; {wanted} is needed")
            continue
        if not wanted.specifier.contains(found, prereleases=True):
            faults.append(f"{wanted.name} {found} is installed; {wanted} is needed")
    return faults


def check_libraries() -> Check:
    """Versions within the bounds of the package's own requirements."""
    name = "libraries"
    found = [f"{one} {version(one)}" for one in MATTER if not unmet([one])]
    told = textwrap.wrap(", ".join(found), WIDTH)
    try:
        wanted = requires("planner")
    except PackageNotFoundError:
        return Check(name, "note", "planner runs from a folder and is not installed; versions were not compared", told)
    faults = unmet(wanted or [])
    if faults:
        advice = "mend with: python -m pip install --upgrade planner, in an environment of its own"
        return Check(name, "FAIL", f"{len(faults)} missing or of another version", [*faults, advice])
    count = sum("extra ==" not in one for one in wanted or [])
    return Check(name, "ok", f"{count} of the versions that are asked for", told)
