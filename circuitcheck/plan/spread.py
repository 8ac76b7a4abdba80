"""How far a number differs from one vehicle to the next: a rough measure for planning.

The weighing itself takes every tolerance on its own. What is lost across a joint or a wire follows that
joint's own resistance, which nobody knows well; full battery volts follow the battery alone. What
matters for a plan is what is left of that once other readings of the same circuit have told of its
joints and its battery. ``tests/benchmarks/spread.py`` works it out from the joint covariance of the
readings of a set-up (JCGM 100), over the shipped harnesses with drawn faults. Medians, beforehand and
after three and six other readings: 15, 11 and 9 % of a loss below 1 % of the supply, 10, 8 and 6 % up to
3 %, 10, 6 and 3 % up to 10 %, 1.0, 0.4 and 0.3 % of what is more than half of it.

What is taken lies between the last two, but for larger volts: there it is three per cent, a choice, so
that an outcome is something a person can tell at a glance.
"""

from __future__ import annotations

import numpy as np

from circuitcheck.physics.branch import Array

_OF_SUPPLY = (0.01, 0.03, 0.1)
"""Volts as a share of the system's."""
_OF_VOLTS = (0.09, 0.07, 0.03)
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
