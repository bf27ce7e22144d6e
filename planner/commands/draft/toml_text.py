"""Text of a plan file: values escaped so that no text of a table can become TOML, and the defaults of every section."""

from __future__ import annotations

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from planner.plan import Plan
from planner.plan.section import Section

WIDTH = 110  # of remarks
SCENARIO = (
    "[[scenario]] with a name, as often as wanted, and under it any key of the sections above: [scenario.well] "
    "level_decline_m = 5 for a drought. Each is computed beside the plan; scenarios.csv tells what moves, and why."
)


def quoted(text: str) -> str:
    r"""A TOML basic string; whatever is not printable is spelled out.

    >>> print(quoted('a "b"\n\\'))
    "a \"b\"\u000a\\"
    """
    parts = []
    for one in text:
        if one in '"\\':
            parts.append("\\" + one)
        elif one.isprintable():
            parts.append(one)
        elif "\ud800" <= one <= "\udfff":
            parts.append("�")
        else:
            code = ord(one)
            parts.append(f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}")
    return '"' + "".join(parts) + '"'


def remark(text: str, indent: str = "# ") -> list[str]:
    """Comment lines; whatever is not printable is spelled out, so that a remark stays one."""
    plain = "".join(one if one.isprintable() else quoted(one)[1:-1] for one in text)
    lines, line = [], ""
    for word in plain.split(" "):
        if line and len(line) + 1 + len(word) > WIDTH:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [(indent + one).rstrip() for one in [*lines, line]]


def value_text(value: object) -> str:
    """A default as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, tuple | list):
        return "[" + ", ".join(value_text(one) for one in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{quoted(str(key))} = {value_text(one)}" for key, one in value.items()) + " }"
    raise TypeError(f"no TOML for {type(value).__name__}")


def default_sections(but: str) -> list[str]:
    """Every section of a plan except `but`, its defaults commented out, from the models themselves.

    A line that begins with `#` and a letter is a setting: without the `#` it stands in the plan.
    """
    lines = []
    for name, field in Plan.model_fields.items():
        if name != but:
            lines += ["", *_section(name, field)]
    return [*lines, "", *remark(SCENARIO)]


def _section(name: str, field: FieldInfo) -> list[str]:
    model = _model(field)
    if model is None:
        return []
    if field.annotation is not model and field.get_default() == ():  # a list of tables, none unless written
        keys = [line for key, one in model.model_fields.items() for line in default_lines(key, one)]
        return [f"# [[{name}]]   (none unless written)", *(f"# {line.lstrip('# ')}" for line in keys)]
    needed = any(one.is_required() for one in model.model_fields.values())
    lines = [f"#[{name}]" if needed else f"[{name}]"]
    for key, setting in model.model_fields.items():
        lines += default_lines(key, setting)
    return lines


def default_lines(key: str, setting: FieldInfo) -> list[str]:
    """Remark and commented-out line of one key."""
    inner = _model(setting)
    default = setting.get_default(call_default_factory=True, validated_data={})
    lines = remark(setting.description or key)
    if inner is not None:
        inside = ", ".join(f"{one} = …" for one in _shown(inner))
        return [*lines, f"# {key} = {{ {inside} }}"]
    if setting.is_required() or default is PydanticUndefined:
        return [*lines, f"# {key} = …"]
    if default is None:
        return [*lines, f"# {key} = …   (empty unless written)"]
    if default == {}:
        return [*lines, f"# {key} = {{ … }}   (empty unless written)"]
    return [*lines, f"#{key} = {value_text(default)}"]


def _shown(model: type[Section]) -> list[str]:
    """The first key and all that are required: enough for a line of a section in a line."""
    names = list(model.model_fields)
    return [name for name in names if name == names[0] or model.model_fields[name].is_required()]


def _model(field: FieldInfo) -> type[Section] | None:
    """The model of a section, or None for a plain value."""
    candidates = [field.annotation, *getattr(field.annotation, "__args__", ())]
    return next((one for one in candidates if isinstance(one, type) and issubclass(one, Section)), None)
