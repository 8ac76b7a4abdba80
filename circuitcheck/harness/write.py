"""A :class:`Harness` back to a description, in the units and the flavour that people write.

What a field is measured in is read off its own declaration, so a new kind of part needs nothing here.
Comments, and the order of keys inside an entry, are not kept; everything else is.
"""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel, BeforeValidator

from circuitcheck.harness.model import Engine, Harness, Test
from circuitcheck.parts.quantity import CELSIUS, Unit, parse_section

_PLAIN = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9_.+/°%()-]| (?![ #]))*(?<! )")
"""Text that no YAML reader takes for anything but text, inside a flow mapping too."""
_HIDDEN = re.compile("[\\x00-\\x1f\\x7f-\\xa0\u2028\u2029\ufeff\ufffe\uffff]")
_Entry = tuple[str, Any]


def to_yaml(harness: Harness) -> str:
    """The description of a harness; reading it again gives an equal harness.

    Fields that stand at their defaults are left out, unless the file gave them.

    >>> from circuitcheck.harness.load import load_harness, parse_harness
    >>> first = load_harness("first-fan")
    >>> parse_harness(to_yaml(first), name=first.name) == first
    True
    """
    lines = [f"harness: {_text(harness.title)}"]
    if harness.about:
        lines.append(f"about: {_text(harness.about)}")
    lines.append(f"volts: {harness.volts}")
    lines.append(f"supply: {flow(harness.supply)}")
    lines.append(f"ambient: {quantity_text(CELSIUS, harness.ambient)}")
    lines += _section("parts", harness.parts)
    lines += _section("wires", harness.wires)
    if harness.tests:
        lines.append("tests:")
        for name, test in harness.tests.items():
            lines += _test(name, test)
    if harness.access:
        lines += _section("access", harness.access)
    if harness.frequencies:
        lines.append("frequencies:")
        lines += [f"  {_text(key)}: {_number(one)}" for key, one in harness.frequencies.items()]
    return "\n".join(lines) + "\n"


def quantity_text(unit: Unit, value: float) -> str:
    """A value in base units as a person writes it, in the spelling that is shortest and exact.

    >>> from circuitcheck.parts.quantity import OHM, PERCENT
    >>> quantity_text(OHM, 0.012), quantity_text(OHM, 0.4), quantity_text(PERCENT, 0.05)
    ('12 mohm', '0.4 ohm', '5 %')
    """
    found = []
    for name, size in unit.spellings.items():
        number = f"{value / size:.15g}"
        if name.isascii() and float(number) * size == value:
            found.append(f"{number} {name}".strip())
    base = min((name for name, size in unit.spellings.items() if size == 1.0), key=len)
    named = [one for one in found if not one[-1].isdigit()] or found
    return min(named, key=len, default=f"{_number(value)} {base}".strip())


def _number(value: float) -> str:
    """The shortest text that reads back as exactly this number."""
    short = f"{value:.15g}"
    return short if float(short) == value else repr(value)


def _section(title: str, entries: Mapping[str, BaseModel]) -> list[str]:
    return [f"{title}:", *(f"  {_text(name)}: {flow(one)}" for name, one in entries.items())]


def _test(name: str, test: Test) -> list[str]:
    """A test takes a line a key, and a line an observation."""
    lines = [f"  {_text(name)}:"]
    for key, value in _entries(test):
        if key == "observe":
            lines.append("    observe:" if test.observe else "    observe: {}")
            lines += [f"      {_text(label)}: {flow(one)}" for label, one in test.observe.items()]
        else:
            lines.append(f"    {key}: {flow(value)}")
    return lines


def _entries(model: BaseModel) -> Iterable[_Entry]:
    """Key and value of every field worth writing; quantities are text already."""
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if value is None or (value == field.default and name not in model.model_fields_set):
            continue
        if isinstance(value, float):
            value = _Written(_quantity(name, field.annotation, field.metadata, value))
        yield field.alias or name, value


class _Written(str):
    """Text that is YAML already."""

    __slots__ = ()


def _quantity(name: str, annotation: Any, metadata: Iterable[Any], value: float) -> str:
    """A number with the unit that its field is declared in."""
    for reads in _readers(annotation, metadata):
        if isinstance(reads, Unit):
            return quantity_text(reads, value)
        if isinstance(reads, BeforeValidator) and reads.func is parse_section:
            return f"{_number(value)} mm2"
    raise TypeError(f"the field '{name}' has no unit")


def _readers(annotation: Any, metadata: Iterable[Any]) -> Iterable[Any]:
    """What a field is read by, through ``X | None`` as well."""
    yield from metadata
    for inner in typing.get_args(annotation):
        yield from _readers(inner, getattr(inner, "__metadata__", ()))


def flow(value: Any) -> str:
    """A value on one line, as it stands in a description: a set-up, an observation, a list."""
    if isinstance(value, _Written):
        return str(value)
    if isinstance(value, Engine):
        direction = "warming" if value.warming else "cooling"
        return f"{quantity_text(CELSIUS, value.celsius)} {direction}"
    if isinstance(value, BaseModel):
        return _braces(_entries(value))
    if isinstance(value, Mapping):
        return _braces(value.items())
    if isinstance(value, list | tuple):
        return f"[{', '.join(flow(one) for one in value)}]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _text(str(value))


def _braces(entries: Iterable[_Entry]) -> str:
    return "{" + ", ".join(f"{_text(key)}: {flow(one)}" for key, one in entries) + "}"


def _text(text: str) -> str:
    """As it is, where YAML reads that as text; else in double quotes."""
    if _PLAIN.fullmatch(text):
        return text
    quoted = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + _HIDDEN.sub(lambda sign: f"\\u{ord(sign[0]):04x}", quoted) + '"'


__all__ = ["quantity_text", "to_yaml"]
