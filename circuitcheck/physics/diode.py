"""A diode as a constant drop and a small resistance, with a little leakage the other way.

The usual piecewise-linear model of the textbooks (for instance T. R. Kuphaldt, *Lessons In
Electric Circuits*, volume III, diodes; from memory). Good for relay suppression and isolation
diodes, where a tenth of a volt does not matter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from circuitcheck.physics.branch import Array, Curve

LEAKAGE = 1e-8
"""Conductance backwards [S]: 0.1 microampere at 10 V. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Junction(Curve):
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
    def terms(parameters: Array) -> Array:
        """Drop [V], resistance [ohm], and the conductance above the drop and of the leakage [S]."""
        drop, resistance, on = (parameters[..., i] for i in range(3))
        return np.stack([drop, resistance, on / resistance, on * LEAKAGE])

    @staticmethod
    def drawn(terms: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its slope [S]."""
        drop, _, siemens, leak = terms
        over = volts - drop
        slope = leak + siemens * (over > 0)
        return leak * volts + siemens * np.maximum(over, 0.0), slope

    @staticmethod
    def drawn_behind(terms: Array, ohm: Array) -> Callable[[Array], Array]:
        """Current on a source behind a resistance [A], the leakage left out of account."""
        drop, resistance, siemens, _ = terms
        siemens = siemens / (1 + ohm / resistance)

        def drawn(emf: Array) -> Array:
            found: Array = siemens * np.maximum(emf - drop, 0.0)
            return found

        return drawn
