"""Volts of a few rows once more, from what their whole circuits leave unaccounted for.

What is left of a battery's volts behind an open branch comes out of a batch as a small difference of
large numbers. Kirchhoff's currents of the row's own circuit, added up branch by branch at the volts
of all its nodes, tell how far these are off, and one step of Newton's method mends them (iterative
refinement: J. H. Wilkinson, *Rounding Errors in Algebraic Processes*, 1963; from memory). That the step
itself is good to a few digits only harms nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import REFERENCE, Index, distinct

if TYPE_CHECKING:
    from circuitcheck.solve.batch import Batch

_ROUNDED = float(np.finfo(float).eps) / 1e-9
"""A rounding of what volts are left of is this much of nine digits of themselves."""
_LIVE = 1e-4
"""Less than this no meter shows, and it is not asked how well it is known [V]."""


def refined(batch: Batch, ports: Index, volts: Array) -> Array:
    """Volts at some ports in all rows of a batch, those mended that are known to less than nine digits.

    :param volts: as they come out of the batch (rows, ports) [V]
    """
    highest = float(np.abs(batch.ports.volts).max(initial=0.0))
    known = np.abs(volts) * batch.kept[:, None]
    doubtful = (known < _ROUNDED * highest) & (np.abs(volts) > _LIVE)
    rows = np.flatnonzero(doubtful.any(axis=1))
    if rows.size:
        less = known[rows] < _ROUNDED * _left_of(batch, ports, rows, highest)
        rows = rows[np.any(doubtful[rows] & less, axis=1)]
    if rows.size:
        volts[rows] = _newly(batch, ports, rows)
    return volts


def _left_of(batch: Batch, ports: Index, rows: Index, highest: float) -> Array:
    """What volts at some ports are the difference of, at the most, in some rows (rows, ports) [V].

    :param highest: volts that may stand across an edit [V]
    """
    edits, extra = batch.edit_port[rows].T, np.abs(batch.extra_siemens[rows].T)
    share = batch.ports.between(ports[:, None, None], edits)
    share = np.abs(share) * (extra / (1 + extra * batch.ports.own(edits)))
    found: Array = np.abs(batch.ports.volts[ports]) + highest * share.sum(axis=1).T
    return found


def _newly(batch: Batch, ports: Index, rows: Index) -> Array:
    """Volts at some ports of some rows (rows, ports) [V]."""
    tail, head = batch.ports.tail, batch.ports.head
    active = batch.active[rows].T
    used = distinct(np.concatenate([ports, active.reshape(-1)]))
    place = np.zeros(len(tail), dtype=np.intp)
    place[used] = np.arange(len(used))
    rest, seen = batch.network.from_nodes(tail[used], head[used])
    # What an ampere at each active port does to all nodes (nodes, active, rows) [ohm].
    pushed = seen[:, place[active]]
    volts = rest[:, None] - np.einsum("nas,as->ns", pushed, batch.flow[rows].T)
    missing = _missing(batch, rows, volts)
    answer = batch.answers(np.einsum("nas,ns->as", pushed, missing)[:, None], rows)[:, 0]
    step = seen[:, place[ports]].T @ missing
    step -= np.einsum("pas,as->ps", batch.ports.between(ports[:, None, None], active), answer)
    found: Array = (volts[tail[ports]] - volts[head[ports]] - step).T
    return found


def _missing(batch: Batch, rows: Index, volts: Array) -> Array:
    """What leaves each node of some rows and does not come in (nodes, rows) [A].

    A branch that holds a part by itself is left in when it is taken out: it carries nothing.

    :param volts: of all nodes (nodes, rows) [V]
    """
    network, changes, wiring = batch.network, batch.changes, batch.network.wiring
    count = len(wiring.keys)
    across = volts[wiring.every_tail] - volts[wiring.every_head]
    flow = np.empty(across.shape)
    flow[:count] = network.siemens[:, None] * across[:count]
    flow[:count] -= (network.siemens * wiring.emf)[:, None]
    flow[count:], _ = batch.curves.drawn(across[count:], rows)
    slot = np.where(batch.bridging[rows], changes.none, batch.slot[rows])
    row, column = np.nonzero(slot != changes.none)
    place, which = slot[row, column], rows[row]
    tail, head = changes.tail[place], changes.head[place]
    altered = batch.siemens[which, column] * (volts[tail, row] - volts[head, row])
    altered -= batch.extra_amps[which, column]
    own = place < count
    at = place[own], row[own]
    flow[at] = altered[own] - (network.siemens * wiring.emf)[place[own]]
    found: Array = wiring.leaving @ flow
    if not own.all():
        added = ~own
        np.add.at(found, (tail[added], row[added]), altered[added])
        np.subtract.at(found, (head[added], row[added]), altered[added])
    found[REFERENCE] = 0.0
    return found
