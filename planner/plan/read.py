"""Reading a plan file: models, the defaults that were used, the files it names; every fault at once."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import AliasChoices, ValidationError
from pydantic_core import ErrorDetails

from planner.errors import Fault, PlanError, raise_if
from planner.plan.changes import Change, plan_changes
from planner.plan.file_names import path_of
from planner.plan.scenario import fixed_keys, merged, scenario_place
from planner.plan.section import Section
from planner.plan.sections import Plan, Rasters
from planner.plan.text import SHOWN, keys_without_effect, path_faults, place_of, tables_of, take_without_effect, text_of
from planner.texts import Said, word

MOST_FAULTS = 200  # told one by one; a file of nonsense has one a line
MOST_SCENARIOS = 200  # each is a run


@dataclass(frozen=True)
class LoadedPlan:
    """A plan with what a reader of the results must know about it.

    defaults_used   dotted key → value, for every key that the file does not set
    without_effect  dotted key → what happens instead, for keys that this version does not act on
    scenarios       the variations of [[scenario]], each a whole plan
    """

    plan: Plan
    path: Path
    defaults_used: dict[str, Any]
    without_effect: dict[str, Said]
    scenarios: tuple[LoadedScenario, ...] = ()

    def resolve(self, name: str) -> Path:
        """Path of an input file, relative to the plan file."""
        return path_of(self.path.parent, name).resolve()


@dataclass(frozen=True)
class LoadedScenario:
    """A variation: its whole plan, and what that changes."""

    name: str
    loaded: LoadedPlan
    changes: tuple[Change, ...]


def read_plan(path: Path) -> LoadedPlan:
    """Read and validate a plan file; raises PlanError that names every fault."""
    text = text_of(path)
    raw = tables_of(text, path)
    without_effect = take_without_effect(raw)
    plan, errors = _validated(raw)
    faults = [_fault(one, path, _place(one, text)) for one in errors[:MOST_FAULTS]]
    if len(errors) > MOST_FAULTS:
        faults.append(Fault(str(path), "file", f"{len(errors) - MOST_FAULTS} faults more", "a plan file (TOML)"))
    faults += path_faults(_files(raw), path, text)
    scenarios = _scenarios(raw, plan, errors, path, text, faults, without_effect)
    raise_if(faults, PlanError)
    assert plan is not None
    of_money = plan.portfolio.model_fields_set - {"max_pump_types", "pump_type_tolerance"}
    if plan.programme.budget is None and not plan.phase and of_money:
        without_effect["portfolio"] = word("without_effect_portfolio")
    return LoadedPlan(plan, path.resolve(), dict(_defaults(plan)), without_effect, scenarios)


def input_files(plan: Plan) -> dict[str, str]:
    """Every input the plan and its scenarios name: dotted key → file as written."""
    found = _files(plan.model_dump(exclude={"scenario"}))
    for one in plan.scenario or ():
        found |= {f"scenario.{one.name}.{key}": name for key, name in _files(one.changes).items()}
    return found


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


def _validated(raw: dict[str, Any]) -> tuple[Plan | None, list[ErrorDetails]]:
    try:
        return Plan.model_validate(raw), []
    except ValidationError as error:
        return None, error.errors()


def _scenarios(
    raw: dict[str, Any],
    plan: Plan | None,
    known: list[ErrorDetails],
    path: Path,
    text: str,
    faults: list[Fault],
    without_effect: dict[str, Said],
) -> tuple[LoadedScenario, ...]:
    """Each scenario laid over the plan and read like one; adds to faults and without_effect.

    known  faults of the plan itself, which its scenarios share
    """
    found = []
    shared = {(one["loc"], one["msg"]) for one in known}
    base = _by_name({key: value for key, value in raw.items() if key != "scenario"})
    entries = raw.get("scenario")
    if isinstance(entries, list) and len(entries) > MOST_SCENARIOS:
        expected = f"at most {MOST_SCENARIOS} scenarios"
        faults.append(Fault(str(path), "[[scenario]]", f"{len(entries)} of them", expected))
        return ()
    if len(known) > MOST_FAULTS:
        return ()  # each would have them all again
    for number, entry in enumerate(entries if isinstance(entries, list) else []):
        if not isinstance(entry, dict) or not isinstance(entry.get("name"), str):
            continue  # a fault of the plan itself
        name = entry["name"][:40]
        changes = _by_name({key: dict(value) if isinstance(value, dict) else value for key, value in entry.items()})
        del changes["name"]

        def at(parts: list[str], number: int = number, name: str = name) -> str:
            return scenario_place(number, name, parts, text)

        fixed = list(fixed_keys(changes))
        expected = "the plan's: what differs in this is a plan of its own, and `planner compare` shows what moves"
        faults += [Fault(str(path), at(parts), "a key that no scenario changes", expected) for parts in fixed]
        if fixed:
            continue
        unused = {f"scenario.{name}.{key}": told for key, told in take_without_effect(changes).items()}
        without_effect |= unused
        for key, file in _files(changes).items():
            faults += [replace(one, place=at(key.split("."))) for one in path_faults({key: file}, path, "")]
        varied, errors = _validated(merged(base, changes))
        faults += [
            _fault(one, path, at(_parts(one))) for one in errors[:MOST_FAULTS] if (one["loc"], one["msg"]) not in shared
        ]
        if plan is not None and varied is not None:
            differs = plan_changes(plan.model_dump(mode="json"), varied.model_dump(mode="json"))
            loaded = LoadedPlan(varied, path.resolve(), dict(_defaults(varied)), unused)
            found.append(LoadedScenario(name, loaded, differs))
    return tuple(found)


def _by_name(raw: dict[str, Any]) -> dict[str, Any]:
    """Keys that have a second spelling under their first, so that two plans can be laid over one another."""
    found = dict(raw)
    for section, field in Plan.model_fields.items():
        keys = found.get(section)
        for name, one in getattr(field.annotation, "model_fields", {}).items():
            if isinstance(keys, dict) and isinstance(one.validation_alias, AliasChoices) and name not in keys:
                keys = {name if key in one.validation_alias.choices else key: value for key, value in keys.items()}
                found[section] = keys
    return found


def _place(error: ErrorDetails, text: str) -> str:
    section, *rest = error["loc"]
    if section == "scenario" and rest and isinstance(rest[0], int):
        return scenario_place(rest[0], f"number {rest[0] + 1}", _parts(error)[2:], text)
    return place_of(_parts(error), text)


def _parts(error: ErrorDetails) -> list[str]:
    return [str(part) for part in error["loc"]]


def _fault(item: ErrorDetails, path: Path, at: str) -> Fault:
    found = repr(item["input"]) if item["type"] != "missing" else "nothing"
    if len(found) > 80:
        found = found[:77] + "…"
    expected = item["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    if item["type"] == "extra_forbidden":
        found = "an unknown key"
        expected = _nearest(_parts(item))
    elif item["type"] == "missing":
        expected = "this key, it has no default"
    return Fault(str(path), at, found, expected)


def _nearest(place: list[str]) -> str:
    model: Any = Plan
    for part in place[:-1]:
        annotation = model.model_fields[part].annotation if part in model.model_fields else None
        candidates = [annotation, *getattr(annotation, "__args__", ())]
        model = next((one for one in candidates if isinstance(one, type) and issubclass(one, Section)), None)
        if model is None:
            return "no such key"
    known = [*model.model_fields, *keys_without_effect(place[:-1])]
    near = difflib.get_close_matches(place[-1][:SHOWN], known, n=1, cutoff=0.5)
    return f"{near[0]!r}, the nearest known key" if near else "one of: " + ", ".join(sorted(known))
