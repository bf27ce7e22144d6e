"""Every rule that planner/ can find has its sentences: what was found, what was done, what the owner is to do.

The names are read from the sources: where a Finding or Note is made, and from there back through loops, parameters and
tables to the words themselves. A name that is put together (`raster_{kind}`) counts as a pattern.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import planner
from planner.texts import finding_advice, finding_words, texts

PACKAGE = Path(planner.__file__).parent
# Where the rule stands in the calls that make a finding; by keyword it is always `rule`.
PLACES = {"Finding": 3, "findings_for": 3, "Note": 1, "_remark_file": 1}
NAME = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)+|range|approximate|duplicate")


def literals(node: ast.AST) -> Iterator[str]:
    """Texts inside an expression that can be a rule."""
    for part in ast.walk(node):
        if isinstance(part, ast.Constant) and isinstance(part.value, str) and NAME.fullmatch(part.value):
            yield part.value


class Module:
    """The rules of one source file."""

    def __init__(self, path: Path) -> None:
        self.tree = ast.parse(path.read_text(encoding="utf-8"))
        self.functions = [node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef)]
        self.rules: set[str] = set()
        self.seen: set[tuple[str, int]] = set()
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Assign | ast.AnnAssign) and self._is_severity(node):
                assert isinstance(node.value, ast.Dict)
                self.rules |= {key.value for key in node.value.keys if isinstance(key, ast.Constant)}
        for name, place in PLACES.items():
            self._calls(name, place)

    @staticmethod
    def _is_severity(node: ast.Assign | ast.AnnAssign) -> bool:
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        return any(isinstance(one, ast.Name) and one.id.endswith("SEVERITY") for one in targets)

    def _calls(self, name: str, place: int) -> None:
        """The rules that calls of a function give at a place."""
        if (name, place) in self.seen:
            return
        self.seen.add((name, place))
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Call) and name in {getattr(node.func, "id", ""), getattr(node.func, "attr", "")}:
                keywords = [one.value for one in node.keywords if one.arg == "rule"]
                # A method's first parameter is not written in a call, and `place` is counted without it.
                given = keywords or node.args[place : place + 1]
                for one in given:
                    self._rule(one, node)

    def _rule(self, node: ast.expr, call: ast.Call) -> None:
        if isinstance(node, ast.JoinedStr):
            parts = [one.value if isinstance(one, ast.Constant) else "*" for one in node.values]
            self.rules.add("".join(str(one) for one in parts))
        elif isinstance(node, ast.Constant):
            self.rules.add(str(node.value))
        elif isinstance(node, ast.Name):
            self._variable(node.id, call)
        elif isinstance(node, ast.Subscript | ast.Attribute):
            pass  # of a table (SEVERITY) or of what was noted before: found where it was made
        else:
            self.rules |= set(literals(node))

    def _variable(self, name: str, call: ast.Call) -> None:
        """Where a variable comes from: a parameter of the function, a loop, or an assignment."""
        holders = [one for one in self.functions if call in set(ast.walk(one))]
        for function in holders:
            arguments = [one.arg for one in (*function.args.args, *function.args.kwonlyargs)]
            if name in arguments and function.name not in PLACES:
                place = arguments.index(name) - (arguments[0] == "self")
                self._calls(function.name, place)
        for scope in holders or [self.tree]:
            for node in ast.walk(scope):
                if isinstance(node, ast.For | ast.comprehension) and self._targets(node.target, name):
                    self._from_loop(node, name)
                elif isinstance(node, ast.Assign) and any(self._targets(one, name) for one in node.targets):
                    self._from_value(node, name)

    @staticmethod
    def _targets(target: ast.expr, name: str) -> bool:
        return any(isinstance(one, ast.Name) and one.id == name for one in ast.walk(target))

    def _from_loop(self, loop: ast.For | ast.comprehension, name: str) -> None:
        source = loop.iter
        if isinstance(source, ast.Name):
            source = self._value_of(source.id) or source
        if isinstance(loop.target, ast.Tuple) and isinstance(source, ast.Tuple | ast.List):
            place = next(at for at, one in enumerate(loop.target.elts) if self._targets(one, name))
            source = ast.List([one.elts[place] for one in source.elts if isinstance(one, ast.Tuple)], ast.Load())
        self.rules |= set(literals(source))

    def _value_of(self, name: str) -> ast.expr | None:
        """What is written for a variable that a loop goes through."""
        for node in ast.walk(self.tree):
            targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
            named = isinstance(targets[0], ast.Name) and targets[0].id == name
            if named and isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.List | ast.Tuple):
                return node.value
        return None

    def _from_value(self, node: ast.Assign, name: str) -> None:
        [target] = node.targets
        value = node.value
        if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
            value = value.elts[next(at for at, one in enumerate(target.elts) if self._targets(one, name))]
        if isinstance(value, ast.JoinedStr):
            self.rules.add("".join(str(one.value) if isinstance(one, ast.Constant) else "*" for one in value.values))
        else:
            self.rules |= set(literals(value))


def used_rules() -> dict[str, list[str]]:
    """Rule or pattern → files that use it."""
    used: dict[str, list[str]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        for rule in Module(path).rules:
            used.setdefault(rule, []).append(str(path.relative_to(PACKAGE)))
    return used


def told_rules() -> set[str]:
    return {key.removeprefix("finding_") for key, (kind, _) in texts().items() if kind == "finding"}


def test_the_reading_of_the_sources_finds_what_is_known_to_be_there() -> None:
    # Each stands for a way in which a rule gets into a finding.
    known = {"zero_as_missing", "outer_spaces", "near_neighbour", "static_below_depth", "no_rain", "column_not_read"}
    known |= {
        "weather_far",
        "yield_is_lower_bound",
        "boundary_repaired",
        "raster_*",
        "*_row",
        "private_column",
        "reprojected",
    }
    assert known <= set(used_rules())


def test_every_rule_of_a_finding_has_its_three_sentences() -> None:
    known = texts()
    missing = []
    for rule, files in used_rules().items():
        if "*" in rule:
            pattern = re.compile(rule.replace("*", "[a-z_]+"))
            if not any(pattern.fullmatch(one) for one in told_rules()):
                missing.append(f"finding_{rule} ({', '.join(files)})")
            continue
        missing += [
            f"{kind}_{rule} ({', '.join(files)})"
            for kind in ("finding", "done", "todo")
            if f"{kind}_{rule}" not in known
        ]
    assert not missing, "planner/texts/findings.csv lacks:\n" + "\n".join(sorted(missing))


def test_every_sentence_of_a_finding_has_its_fellows() -> None:
    known = texts()
    lacking = [f"{kind}_{rule}" for rule in told_rules() for kind in ("done", "todo") if f"{kind}_{rule}" not in known]
    assert not lacking, "planner/texts/findings.csv lacks:\n" + "\n".join(sorted(lacking))
    general = {"done_when_repaired", "done_when_flagged", "done_when_stopped", "todo_any"}
    alone = [
        key
        for key, (kind, _) in known.items()
        if kind in {"done", "todo"} and key not in general and key.split("_", 1)[1] not in told_rules()
    ]
    assert not alone, f"no finding goes with {alone}"


def test_a_rule_without_a_sentence_is_spelled_out() -> None:
    assert finding_words("odd_new_rule") == "odd new rule"
    done, todo = finding_advice("odd_new_rule", "stopped")
    assert done == texts()["done_when_stopped"][1] and todo == texts()["todo_any"][1]
