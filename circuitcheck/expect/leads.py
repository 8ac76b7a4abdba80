"""The jumper leads of a set-up: how large they must be, and the fuse of that size in them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.circuit.build import lead_keys
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.cautions import Lead, lead_for
from circuitcheck.harness.model import Setup
from circuitcheck.parts.fault import altered
from circuitcheck.parts.fuse import OPENS_AT
from circuitcheck.physics.branch import Array
from circuitcheck.solve.point import OperatingPoint, solve_point

_NO_OHM = 1e-6
"""A lead that takes all that could flow beside it [ohm]."""
_BESIDE = 1.1
"""By how much more it then carries, something flows beside it: else it is only its lost volts."""


def with_its_leads(circuit: Circuit, setup: Setup) -> tuple[Circuit, Lead | None]:
    """A sound circuit with the fuses in its leads that are named for them, and what to make up.

    A lead must carry what flows in a sound circuit, and all of it where what it goes round should
    prove to be open.
    """
    keys = lead_keys(setup)
    if not keys:
        return circuit, None
    unfused = _fused(circuit, keys, math.inf)
    point = solve_point(unfused)
    amps = _most(point, keys)
    bare = {key: altered(unfused.branches[key], ohm=_NO_OHM) for key in keys}
    near: Array = np.array(list(point.volts.values()))
    alone = _most(solve_point(unfused.changed(bare), near), keys)
    lead = lead_for(amps, alone if alone > _BESIDE * amps else amps)
    return _fused(circuit, keys, lead.fuse_a), lead


def _most(point: OperatingPoint, keys: Sequence[str]) -> float:
    """The most that any of the leads carries [A]."""
    return max(abs(point.amps.get(key, 0.0)) for key in keys)


def _fused(circuit: Circuit, keys: Sequence[str], rating: float) -> Circuit:
    """The circuit with fuses of some rating [A] in its leads."""
    limit = OPENS_AT * rating
    fuses = {
        name: replace(one, on_amps=limit, off_amps=limit)
        for name, one in circuit.thresholds.items()
        if one.watch in keys
    }
    return replace(circuit, thresholds={**circuit.thresholds, **fuses})
