"""A diode as a constant drop and a small resistance, with a little leakage the other way.

The usual piecewise-linear model of the textbooks (for instance T. R. Kuphaldt, *Lessons In
Electric Circuits*, volume III, diodes; from memory). Good for relay suppression and isolation
diodes, where a tenth of a volt does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from circuitcheck.physics.branch import Array

LEAKAGE = 1e-8
"""Conductance backwards [S]: 0.1 microampere at 10 V. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Junction:
    """The diode branch, ``tail`` the anode.

    :param drop: forward volts at which it begins to conduct [V]
    :param resistance: above the drop [ohm]
    :param strength: 1 for a diode, 0 for an open one
    """

    tail: str
    head: str
    drop: float
    resistance: float
    strength: float = 1.0
    spreads: tuple[float, ...] = (0.0,) * 3
    PARAMETERS: ClassVar[tuple[str, ...]] = ("drop", "resistance", "strength")

    @property
    def values(self) -> tuple[float, ...]:
        """Parameters in the order of ``PARAMETERS``."""
        return (self.drop, self.resistance, self.strength)

    @staticmethod
    def current_and_slope(parameters: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its slope [S]."""
        drop, resistance, on = (parameters[..., i] for i in range(3))
        over = volts > drop
        current = LEAKAGE * volts + np.where(over, (volts - drop) / resistance, 0.0)
        slope = LEAKAGE + np.where(over, 1 / resistance, 0.0)
        return on * current, on * slope

    @staticmethod
    def behind(parameters: Array, emf: Array, ohm: Array) -> Array:
        """Current on a source behind a resistance [A], the leakage left out of account."""
        drop, resistance, on = (parameters[..., i] for i in range(3))
        found: Array = on * np.maximum(emf - drop, 0.0) / (resistance + ohm)
        return found
