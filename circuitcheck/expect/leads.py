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
from circuitcheck.parts.fault import Change, altered
from circuitcheck.parts.fuse import OPENS_AT
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.sweep import settle

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
    bare = {key: altered(unfused.branches[key], ohm=_NO_OHM) for key in keys}
    amps, alone = _most(unfused, keys, [{}, bare])
    lead = lead_for(amps, alone if alone > _BESIDE * amps else amps)
    return _fused(circuit, keys, lead.fuse_a), lead


def _most(circuit: Circuit, keys: Sequence[str], changes: Sequence[Change]) -> list[float]:
    """The most that any of the leads carries under each change [A]."""
    networks = Networks(circuit)
    ends = [(circuit.branches[key].tail, circuit.branches[key].head) for key in keys]
    settled = settle(networks, Changes.of(networks.wiring, changes), ends)
    found = [0.0] * len(changes)
    for group in settled.groups:
        siemens = np.stack([group.batch.siemens_of(key) for key in keys], axis=1)
        most = np.abs(siemens * group.batch.probe_volts).max(axis=1)
        for row, amps in zip(group.rows.tolist(), most[group.local].tolist(), strict=True):
            found[row] = amps
    for row in [*settled.buzzing.tolist(), *settled.unsure.tolist()]:
        point = solve_point(circuit.changed(changes[row]))
        found[row] = max(abs(point.amps.get(key, 0.0)) for key in keys)
    return found


def _fused(circuit: Circuit, keys: Sequence[str], rating: float) -> Circuit:
    """The circuit with fuses of some rating [A] in its leads."""
    limit = OPENS_AT * rating
    fuses = {
        name: replace(one, on_amps=limit, off_amps=limit)
        for name, one in circuit.thresholds.items()
        if one.watch in keys
    }
    return replace(circuit, thresholds={**circuit.thresholds, **fuses})
