"""Compiled kernels: where they are kept, and whether the next start finds them again."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import planner.physics.equation  # noqa: F401  (names the cache folder, which numba reads when it is imported)

# isort: split
import numba

from planner.commands.selfcheck.outcome import Check

__all__ = ["check_cache", "compiled_files"]

# A new process calls one kernel: does numba find it on disk?
PROBE = """\
import numpy as np
from planner.physics.sky import spread_bins
spread_bins(0.0, 0.0, 1.0, np.zeros((3, 3, 5)), np.zeros(5))
print(sum(spread_bins.stats.cache_hits.values()))
"""
PATIENCE_S = 120.0


def cache_folder() -> Path:
    """Where numba keeps compiled code in this process."""
    return Path(numba.config.CACHE_DIR)  # type: ignore[attr-defined]  # numba fills it from the environment


def compiled_files() -> set[Path]:
    """Files with machine code in that folder."""
    return set(cache_folder().rglob("*.nbc"))


def check_cache(before: int) -> Check:
    """Whether what the tiny run has compiled, or found, is found again by a new process.

    before  compiled files that lay there when the program was started
    """
    name, folder = "compiled kernels", cache_folder()
    files = compiled_files()
    size_mb = sum(file.stat().st_size for file in files) / 1e6
    advice = (
        "every start compiles for about two minutes; give leave to write in your cache folder, or set "
        "NUMBA_CACHE_DIR to a folder that only you can write to"
    )
    if folder.name.startswith("planner-") and folder.parent == Path(tempfile.gettempdir()):
        return Check(
            name, "note", f"the user's cache folder cannot be written; kept in {folder} until the end", [advice]
        )
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        return Check(name, "note", f"{folder} cannot be written: {error.strerror}", [advice])
    hits = _found_again()
    if not hits:
        return Check(name, "note", f"a new process does not find what was compiled in {folder}", [advice])
    new = len(files) - before
    if new > 0:
        found = f"{new} compiled now and found again by a new process; kept in {folder}, {size_mb:.0f} MB in all"
    else:
        found = f"{len(files)} found again in {folder}, {size_mb:.0f} MB"
    return Check(name, "ok", found, ["that folder may be deleted at any time; the next start then compiles again"])


def _found_again() -> bool:
    """Whether a new process takes a kernel from disk, once an earlier one has put it there."""
    command = [sys.executable, "-c", PROBE]
    for _ in range(2):  # the tiny run need not have called this kernel with arrays of just this kind
        try:
            ended = subprocess.run(
                command, capture_output=True, text=True, timeout=PATIENCE_S, encoding="utf-8", check=True
            )
        except (OSError, subprocess.SubprocessError):
            return False
        if int(ended.stdout.split()[-1]) > 0:
            return True
    return False
