"""Faults that have been chosen: by name, with the value they are to have, and several at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from circuitcheck.circuit.build import all_faults
from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import Branches, Change, FaultMode, Value
from circuitcheck.parts.quantity import OHM

Mark = tuple[str, float | bytes]


@dataclass(frozen=True)
class ChosenFault:
    """A fault mode with the value it is to have, or an array of values to be tried at once."""

    mode: FaultMode
    value: Value

    @property
    def spec(self) -> str:
        """Its name, with its value where it has one."""
        if self.mode.severity is None:
            return self.mode.spec
        return f"{self.mode.spec}={self.value:.3g} {self.mode.severity.unit}"

    @cached_property
    def mark(self) -> Mark:
        """What tells it, with its value or values, from other faults."""
        value = self.value
        return self.mode.spec, value.tobytes() if isinstance(value, np.ndarray) else value

    def change(self, branches: Branches) -> Change:
        """What it alters in a circuit."""
        return self.mode.change(branches, self.value)


def combined(faults: Sequence[ChosenFault], branches: Branches, swapped: Sequence[str] = ()) -> Change:
    """The change that several faults make together; a swapped part has none of its own."""
    total: dict[str, Any] = {}
    for fault in faults:
        if fault.mode.where in swapped:
            continue
        if total:
            branches = {k: b for k, b in {**branches, **total}.items() if b is not None}
        total.update(fault.change(branches))
    return total


def find_fault(harness: Harness, spec: str) -> ChosenFault:
    """A fault by its name, perhaps with a value: ``E1 high resistance=0.8 ohm``.

    :raises UnknownName: if there is no such fault
    :raises ValueError: if the value does not fit
    """
    name, _, value = (one.strip() for one in spec.partition("="))
    known = {one.spec: one for one in all_faults(harness)}
    name = " ".join(name.split())
    if name not in known:
        raise UnknownName("fault", name, sorted(known, key=lambda spec: -known[spec].weight))
    mode = known[name]
    if not value:
        return ChosenFault(mode, mode.severity.typical if mode.severity else 0.0)
    if mode.severity is None:
        raise ValueError(f"'{name}' has no value to give; leave out '= {value}'")
    given = OHM.parse(value) if mode.severity.unit == "ohm" else float(value.split()[0])
    return ChosenFault(mode, given)
