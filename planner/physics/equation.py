"""One equation, written once: usable on a number, an array, and inside a compiled kernel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

__all__ = ["equation"]


def equation(function: Callable[..., float]) -> Any:
    """Turn a plain scalar function into a compiled one that also broadcasts over arrays and Series.

    The result keeps name, docstring and signature, so doctests and `help` work. Compiled code is cached on disk.
    """
    return numba.vectorize(cache=True)(function)
