"""For notebooks and scripts: run a plan, look at its results, show them on a map that takes more layers."""

from planner.notebook.preview import preview
from planner.notebook.run import Run, open_run, run

__all__ = ["Run", "open_run", "preview", "run"]
