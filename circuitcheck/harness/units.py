"""How a loom in use can fail, and what is replaced or repaired as one for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import FaultMode


def faults_in_use(harness: Harness) -> Iterator[FaultMode]:
    """Every fault mode that use can bring, with the unit to replace and its frequency here."""
    crimped = {end: name for name, wire in harness.wires.items() for end in (wire.start, wire.end)}
    for name, part in harness.parts.items():
        for fault in part.all_faults(name):
            unit = part.belongs_to or (name if fault.where == name else None)
            if unit is None and part.joins_wires:
                # A joint inside the loom is out of reach of a probe, and is made anew with its wire.
                unit = crimped.get(fault.where)
            yield placed(harness, fault, unit)
    positive = f"{harness.supply.battery}.+"
    for name, wire in harness.wires.items():
        yield from (placed(harness, one, wire.belongs_to) for one in wire.faults(name, positive))


def placed(harness: Harness, fault: FaultMode, unit: str | None) -> FaultMode:
    """A fault with its unit, and its frequency in this harness: by its name, or by kind and mode."""
    given, often = harness.frequencies, fault.often
    weight = given.get(fault.spec, given.get(often.name))
    if weight is not None:
        often = replace(often, weight=weight, source="the harness file")
    return replace(fault, often=often, replace=unit or fault.where)


def beside(harness: Harness, motor: str) -> list[str]:
    """A motor and the parts that its unit's wires lead to: who reaches those reaches the fan."""
    unit = harness.parts[motor].belongs_to
    found = [motor]
    for wire in harness.wires.values():
        ends = [end.partition(".")[0] for end in (wire.start, wire.end)]
        if motor in ends or (unit is not None and wire.belongs_to == unit):
            found += ends
    return list(dict.fromkeys(found))


def units(harness: Harness) -> list[str]:
    """The names of what can be put right: parts, pins, wires, assemblies, as a verdict names them."""
    return list(dict.fromkeys(one.replace for one in faults_in_use(harness)))
