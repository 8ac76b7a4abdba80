"""Write ``docs/parts.md`` from the part kinds themselves: ``python docs/make_parts.py``."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from circuitcheck.parts import KINDS
from circuitcheck.parts.part import Part

PAGE = Path(__file__).with_name("parts.md")
_SHARED = set(Part.model_fields)

#: The least that each kind needs, to read its pins and fault modes from.
EXAMPLES: dict[str, dict[str, object]] = {
    "battery": {},
    "connector": {},
    "ground": {},
    "splice": {},
    "ignition": {},
    "relay": {"contacts": "change-over"},
    "plug": {},
    "fuse": {"rating": "20 A"},
    "diode": {},
    "lamp": {"watts": 3},
    "resistor": {"ohms": 0.4, "cut_out": {"opens": "180 degC"}},
    "motor": {"rated": {"volts": 13, "amps": 15, "rpm": 2600}, "winding": "0.18 ohm"},
    "thermoswitch": {
        "low": {"closes": "92 degC", "opens": "87 degC"},
        "high": {"closes": "99 degC", "opens": "94 degC"},
    },
    "switch": {"positions": {"off": [], "low": [["B", "1"]]}, "at_rest": "off"},
    "module": {
        "inputs": {"control": {"between": ["15", "31"], "ohms": 400, "on_at": "8 V", "off_at": "5 V"}},
        "outputs": {"slow": {"between": ["30", "87"], "closed_when": ["not control"]}},
    },
}


def page() -> str:
    """The page as text."""
    parts = [section(name, kind) for name, kind in KINDS.items()]
    return HEAD + shared() + "\n".join(parts)


HEAD = """# Kinds of part

Written by `docs/make_parts.py` from the code; do not edit by hand. How often a fault mode occurs
stands in `shared/frequency.csv` with its source, which is common practice for all of them; only the
ratios within one harness count, and a harness may override them (`frequencies`). A fault that comes
and goes is there in one test and gone in the next.

"""


def shared() -> str:
    """The fields that every kind takes."""
    lines = ["## Fields of every kind", "", "| field | what it says |", "| --- | --- |"]
    lines += [f"| `{name}` | {one.description or ''} |" for name, one in Part.model_fields.items()]
    return "\n".join(lines) + "\n\n"


def section(name: str, kind: type[Part]) -> str:
    """One kind: pins, fields, fault modes."""
    example = kind.model_validate({"kind": name, **EXAMPLES[name]})
    letter = "V" if name == "diode" else kind.letters[0]  # R1 is a resistor to everybody
    label = f"{letter}1"
    lines = [f"## {name}", "", f"{kind.summary[0].upper()}{kind.summary[1:]}.", ""]
    lines += [inspect.cleandoc(kind.__doc__ or ""), ""]
    lines += [
        f"Designation letter {' or '.join(kind.letters)}; terminals "
        f"{', '.join(f'`{label}.{pin}`' for pin in example.pins())}; "
        f"{'has a' if example.plugged else 'has no'} plug or socket.",
        "",
    ]
    own = {k: f for k, f in kind.model_fields.items() if k not in _SHARED}
    if own:
        lines += ["| field | needed | default | what it is |", "| --- | --- | --- | --- |"]
        for key, field in own.items():
            default = "" if field.is_required() or field.default is None else f"`{_default(field)}`"
            needed = "yes" if field.is_required() else "no"
            lines.append(f"| `{field.alias or key}` | {needed} | {default} | {_describe(field)} |")
        lines.append("")
    if EXAMPLES[name]:
        written = _flow({"kind": name, **EXAMPLES[name]})
        lines += ["Written, for example:", "", "```yaml", f"{label}: {written}", "```", ""]
    lines += ["| fault mode | weight | unknown value | what has happened |", "| --- | --- | --- | --- |"]
    for fault in example.all_faults(label):
        span = fault.severity
        value = f"{span.low:g} to {span.high:g} {span.unit}" if span else ""
        lines.append(f"| `{fault.spec}` | {fault.weight:g} | {value} | {fault.words} |")
    return "\n".join(lines) + "\n"


def _flow(given: object) -> str:
    """A value in YAML on one line."""
    if isinstance(given, dict):
        return "{" + ", ".join(f"{_flow(key)}: {_flow(one)}" for key, one in given.items()) + "}"
    if isinstance(given, list):
        return f"[{', '.join(map(_flow, given))}]"
    return str(given)


_UNITS = {"a resistance": "ohm", "a voltage": "V", "a current": "A"}
"""The unit in which a default is kept, by what the quantity is called."""


def _default(field: FieldInfo) -> str:
    """A default as it would be written in a file."""
    what = _quantity(field).partition(",")[0]
    if what == "a share":
        return f"{100 * field.default:g} %"
    return f"{field.default:g} {_UNITS[what]}" if what in _UNITS else str(field.default)


def _describe(field: FieldInfo) -> str:
    """What a field is: in words, as a quantity, or by the keys that it holds."""
    inner = next(
        (one for one in (field.annotation, *get_args(field.annotation)) if _is_model(one)), None
    )
    held = f"holds {', '.join(f'`{key}`' for key in inner.model_fields)}" if inner else ""
    return "; ".join(filter(None, (field.description or _quantity(field), held)))


def _is_model(annotation: object) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _quantity(field: FieldInfo) -> str:
    """What the quantity of a field is, with an example; empty for a field that is none."""
    for extra in field.metadata:
        schema = getattr(extra, "json_schema", None)
        if isinstance(schema, dict) and "description" in schema:
            return str(schema["description"])
    return ""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
