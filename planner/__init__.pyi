from planner.notebook import Run as Run
from planner.notebook import open_run as open_run
from planner.notebook import preview as preview
from planner.notebook import run as run

__version__: str
