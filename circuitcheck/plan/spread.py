"""How far a number differs from one vehicle to the next: a rough measure for planning.

The weighing itself takes every tolerance on its own. What is lost across a joint or a wire follows that
joint's own resistance, which nobody knows well; full battery volts follow the battery alone. Over the
made and listed readings of the shipped harnesses, under 20 drawn faults each, all stated tolerances
together (JCGM 100) give 18 % of a loss below 0.1 V, 10 % at 1 V, 4 % at 6 V and 1 % at 12 V. A third
of a small one is taken here: readings in one circuit share its joints and its battery, and those that
were taken before have told the rest. With half or all of it fewer faults are found in drawn vehicles.
"""

from __future__ import annotations

import numpy as np

from circuitcheck.physics.branch import Array

_OF_SUPPLY = (0.01, 0.03, 0.1)
"""Volts as a share of the system's."""
_OF_VOLTS = (0.06, 0.045, 0.03)
"""Standard uncertainty at each of them, as a share of the reading."""
_OTHERWISE = 0.03
"""The same for amps, ohms and what is seen."""


def vehicle_spread(kind: str, values: Array, volts: float) -> Array:
    """Standard uncertainty of some readings from one vehicle to the next, in their own unit.

    :param kind: of the observation
    :param volts: of the system, such as 12
    """
    size: Array = np.abs(values)
    if kind in ("volts", "drop"):
        share: Array = np.interp(size / volts, _OF_SUPPLY, _OF_VOLTS)
        return share * size
    return _OTHERWISE * size
