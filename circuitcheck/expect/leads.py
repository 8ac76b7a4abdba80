"""The jumper leads of a set-up: how large they must be, and which fuse is in them."""

from __future__ import annotations

import math

from circuitcheck.circuit.build import LEAD_OHM, build_circuit, lead_keys
from circuitcheck.expect.cautions import Lead, lead_for
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.solve.point import solve_point

_NO_OHM = 1e-6
"""A lead that takes all that could flow beside it [ohm]."""
_BESIDE = 1.1
"""By how much more it then carries, something flows beside it: else it is only its lost volts."""


def lead_of(harness: Harness, setup: Setup) -> Lead | None:
    """The lead to make up for a set-up; None where it takes none.

    It must carry what flows in a sound circuit, and all of it where what it goes round should prove
    to be open.
    """
    amps = _carried(harness, setup, LEAD_OHM)
    if amps is None:
        return None
    alone = _carried(harness, setup, _NO_OHM) or 0.0
    return lead_for(amps, alone if alone > _BESIDE * amps else amps)


def _carried(harness: Harness, setup: Setup, ohm: float) -> float | None:
    """The most that any of its leads carries, nothing in them to open [A]; None without a lead."""
    keys = lead_keys(setup)
    if not keys:
        return None
    point = solve_point(build_circuit(harness, setup, math.inf, ohm))
    return max(abs(point.amps.get(key, 0.0)) for key in keys)
