"""What there is of cores, memory and disk: plain lines, nothing is judged but a disk that is all but full."""

from __future__ import annotations

import os
import platform
import shutil
from pathlib import Path

import psutil

from planner.commands.selfcheck.outcome import Check

__all__ = ["check_machine", "usable_cores"]

GB = 1e9
LEAST_MEMORY_GB = 1.0  # a run of some hundred sites; figures in DEVELOPERS.md
LEAST_DISK_GB = 1.0


def usable_cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def check_machine(here: Path) -> Check:
    """Cores, free memory, and free disk where results would go."""
    memory, disk = psutil.virtual_memory(), shutil.disk_usage(here)
    free_memory, free_disk = memory.available / GB, disk.free / GB
    found = (
        f"{usable_cores()} cores, {free_memory:.1f} GB of {memory.total / GB:.1f} GB memory free, "
        f"{free_disk:.1f} GB disk free here"
    )
    details = [f"Python {platform.python_version()}, {platform.system()} {platform.release()}, {platform.machine()}"]
    if free_memory < LEAST_MEMORY_GB:
        details.append("less than 1 GB of memory is free: close other programs before a run")
    if free_disk < LEAST_DISK_GB:
        details.append("less than 1 GB is free on this disk: give results another place with --out")
    return Check("machine", "note" if len(details) > 1 else "ok", found, details)
