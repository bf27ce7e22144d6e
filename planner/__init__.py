"""Which boreholes of a district to equip with solar pumping, with what, in which order and at what cost."""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"
__all__ = ["Run", "__version__", "open_run", "preview", "run"]

# Types stand in __init__.pyi. Fetched when asked for: the command line imports this file too, and must start at once.
_NOTEBOOK = ("Run", "open_run", "preview", "run")


def __getattr__(name: str) -> Any:
    if name in _NOTEBOOK:
        return getattr(import_module("planner.notebook"), name)
    raise AttributeError(f"module 'planner' has no attribute {name!r}")
