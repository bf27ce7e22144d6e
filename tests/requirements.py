"""What pyproject.toml asks for, as the tests of dependencies and the file of minimum versions read it.

python -m tests.requirements    writes tests/minimum_versions.txt
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
MINIMUM = ROOT / "tests" / "minimum_versions.txt"
LINTERS = {"mypy", "pandas-stubs", "ruff"}  # no test imports them, and what they find is a matter of their version
HEAD = """\
# The lower bounds of pyproject.toml, for pip's -c; written by `python -m tests.requirements`. How to run the unit tests
# with them stands in DEVELOPERS.md. Linters are left out.
"""


def project() -> dict[str, list[Requirement]]:
    """Requirements by where they stand: `dependencies` and each extra."""
    table = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups = {"dependencies": table["dependencies"], **table["optional-dependencies"]}
    return {name: [Requirement(one) for one in texts] for name, texts in groups.items()}


def name_of(requirement: Requirement) -> str:
    """The name as registries compare it."""
    return canonicalize_name(requirement.name)


def lower_bound(requirement: Requirement) -> str:
    """The version behind >=; there must be one."""
    (bound,) = [one.version for one in requirement.specifier if one.operator == ">="]
    return bound


def minimum_versions() -> str:
    """The file of minimum versions as it should be."""
    groups = project()
    wanted = [one for one in [*groups["dependencies"], *groups["test"]] if name_of(one) not in LINTERS]
    return HEAD + "".join(f"{name_of(one)}=={lower_bound(one)}\n" for one in wanted)


if __name__ == "__main__":
    MINIMUM.write_text(minimum_versions(), encoding="utf-8", newline="\n")
