"""Reading a plan file: models, the defaults that were used, the files it names; every fault at once."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from planner.errors import Fault, PlanError, raise_if
from planner.plan.section import Section
from planner.plan.sections import Plan, Rasters
from planner.plan.text import keys_without_effect, path_faults, place_of, take_without_effect, text_of


@dataclass(frozen=True)
class LoadedPlan:
    """A plan with what a reader of the results must know about it.

    defaults_used   dotted key → value, for every key that the file does not set
    without_effect  dotted key → what happens instead, for keys that this version does not act on
    """

    plan: Plan
    path: Path
    defaults_used: dict[str, Any]
    without_effect: dict[str, str]

    def resolve(self, name: str) -> Path:
        """Path of an input file, relative to the plan file."""
        return (self.path.parent / name).resolve()


def read_plan(path: Path) -> LoadedPlan:
    """Read and validate a plan file; raises PlanError that names every fault."""
    text = text_of(path)
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        hint = "; write paths with / or between single quotes" if "\\" in text else ""
        raise PlanError([Fault(str(path), "TOML", str(error), f"valid TOML{hint}")]) from error
    without_effect = take_without_effect(raw)
    faults = path_faults(_files(raw), path, text)
    try:
        plan = Plan.model_validate(raw)
    except ValidationError as error:
        raise PlanError([*_faults(error, path, text), *faults]) from error
    raise_if(faults, PlanError)
    of_money = plan.portfolio.model_fields_set - {"max_pump_types", "pump_type_tolerance"}
    if plan.programme.budget is None and not plan.phase and of_money:
        without_effect["portfolio"] = "sites are ranked, not funded: [programme] budget is not written"
    return LoadedPlan(plan, path.resolve(), dict(_defaults(plan)), without_effect)


def input_files(plan: Plan) -> dict[str, str]:
    """Every input the plan names: dotted key → file as written."""
    return _files(plan.model_dump())


def _files(plan: dict[str, Any]) -> dict[str, str]:
    """The same of a plan that need not be valid: whatever is text where the name of a file belongs."""
    keys = ["inventory.file", "area.boundary"]
    keys += [f"rasters.{name}.{key}" for name in Rasters.model_fields for key in ("file", "files")]
    keys += ["weather.file", "equipment.pumps", "equipment.pump_points", "equipment.prices"]
    found = {}
    for key in keys:
        value: Any = plan
        for part in key.split("."):
            value = value.get(part) if isinstance(value, dict) else None
        if isinstance(value, str):
            found[key] = value
        elif isinstance(value, list | tuple):
            names = enumerate(value, start=1)
            found |= {f"{key}.{number:02d}": name for number, name in names if isinstance(name, str)}
    return found


def _defaults(model: Section, prefix: str = "") -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, Section):
            found += _defaults(value, f"{prefix}{name}.")
        elif not prefix and value == ():  # a list of tables, such as [[phase]]: none is no assumption
            continue
        elif name not in model.model_fields_set and value is not None:
            found.append((f"{prefix}{name}", list(value) if isinstance(value, tuple) else value))
    return found


def _faults(error: ValidationError, path: Path, text: str) -> list[Fault]:
    faults = []
    for item in error.errors():
        place = [str(part) for part in item["loc"]]
        found = repr(item["input"]) if item["type"] != "missing" else "nothing"
        if len(found) > 80:
            found = found[:77] + "…"
        expected = item["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
        if item["type"] == "extra_forbidden":
            found = "an unknown key"
            expected = _nearest(place)
        elif item["type"] == "missing":
            expected = "this key, it has no default"
        faults.append(Fault(str(path), place_of(place, text), found, expected))
    return faults


def _nearest(place: list[str]) -> str:
    model: Any = Plan
    for part in place[:-1]:
        annotation = model.model_fields[part].annotation if part in model.model_fields else None
        candidates = [annotation, *getattr(annotation, "__args__", ())]
        model = next((one for one in candidates if isinstance(one, type) and issubclass(one, Section)), None)
        if model is None:
            return "no such key"
    known = [*model.model_fields, *keys_without_effect(place[:-1])]
    near = difflib.get_close_matches(place[-1], known, n=1, cutoff=0.5)
    return f"{near[0]!r}, the nearest known key" if near else "one of: " + ", ".join(sorted(known))
