"""One equation, written once: usable on a number, an array, and inside a compiled kernel.

Compiled code is kept on disk. numba itself does not notice an edit in a function that another file calls, so
the folder carries a digest of every source that is compiled: an edit leads to a new folder, never to an old
result.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

PACKAGE = Path(__file__).resolve().parent.parent
COMPILED = ("physics", "engine", "catalogue")


def source_digest(*others: str) -> str:
    """Digest of the sources of everything that is compiled, and of other folders of the package."""
    digest = hashlib.sha256()
    for folder in (*COMPILED, *others):
        for file in sorted((PACKAGE / folder).glob("*.py")):
            digest.update(file.name.encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()


def cache_folder() -> Path:
    """Where compiled code is kept: the user's cache folder, or, where that is not writable, a folder of this
    process alone, since cached code is trusted when it is read."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    name = source_digest()[:16]
    folder = base / "planner" / name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        private = tempfile.mkdtemp(prefix="planner-")
        atexit.register(shutil.rmtree, private, ignore_errors=True)
        return Path(private)


if "numba" not in sys.modules and "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder())

import numba  # noqa: E402  (its cache folder is read when it is imported)

Compiled = TypeVar("Compiled", bound=Callable[..., Any])

__all__ = ["cache_folder", "equation", "kernel", "source_digest"]


def equation(function: Callable[..., float]) -> Any:
    """Turn a plain scalar function into a compiled one that also broadcasts over arrays and Series.

    The result keeps name, docstring and signature, so doctests and `help` work.
    """
    return numba.vectorize(cache=True)(function)  # type: ignore[no-untyped-call]


def kernel(function: Compiled) -> Compiled:
    """Compile a loop over numbers and arrays; it runs outside the interpreter's lock: threads share the work.

    Division by zero gives infinity as in numpy.
    """
    return cast(Compiled, numba.njit(nogil=True, cache=True, error_model="numpy")(function))
