"""The plan file: every input and every assumption of a run, as frozen and validated models.

Only `[inventory] file` is mandatory. `read_plan` returns the models together with the list of defaults that
were used; unknown keys are refused with the nearest known key. Paths are relative to the plan file.
"""

from planner.plan.changes import Change, plan_changes
from planner.plan.read import LoadedPlan, LoadedScenario, input_files, read_plan
from planner.plan.sections import Area, Array, Inventory, Plan, RasterSource, Weather, Well

__all__ = [
    "Area",
    "Array",
    "Change",
    "Inventory",
    "LoadedPlan",
    "LoadedScenario",
    "Plan",
    "RasterSource",
    "Weather",
    "Well",
    "input_files",
    "plan_changes",
    "read_plan",
]
