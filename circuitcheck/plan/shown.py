"""Which readings a fault moves out of the band of what they would be without it."""

from __future__ import annotations

import numpy as np

from circuitcheck.expect.expected import accuracy_of
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.physics.branch import Array
from circuitcheck.plan.spread import vehicle_spread
from circuitcheck.solve.wiring import Bool

_OUT = 3.0
"""Standard uncertainties that a fault must move a reading to be seen."""
_BY_EYE = 0.12
"""Share of a speed or a brightness that an eye tells apart, as a standard uncertainty."""


def out_of_band(harness: Harness, observation: Observation, base: float, values: Array) -> Bool:
    """Which of some readings differ from what is expected by more than meter and vehicle do.

    :param base: what is expected; where nothing certain is, nothing is out
    :param values: what each fault gives (faults,)
    """
    if not np.isfinite(base):
        return np.zeros(len(values), dtype=bool)
    meter = float(accuracy_of(harness, observation).uncertainty(np.array(base)))
    if observation.kind in ("speed", "lamp"):
        meter = _BY_EYE * abs(base)
    vehicle = float(vehicle_spread(observation.kind, np.array(base), harness.volts))
    width = _OUT * np.hypot(meter, vehicle)
    found: Bool = ~np.isfinite(values) | (np.abs(values - base) > width)
    return found
