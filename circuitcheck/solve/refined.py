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

_WANTED = 1e-9
"""What volts may be off, as a share of them."""
_ROUNDED = 8 * float(np.finfo(float).eps)
"""What a branch is known to, as a share of it: of single faults three roundings have been seen."""
_LIVE = 1e-4
"""Less than this no voltmeter shows, and it is not asked how well it is known [V]."""
_LIVE_AMPS = 1e-6
"""The same across a milliohm that a milliampere passes [V]: two faults leave so much of many amperes."""
_JOINT = 1e6
"""More than this no joint conducts [S]: it is a test lamp that is put on."""


def refined(batch: Batch, ports: Index, volts: Array) -> Array:
    """Volts at some ports in all rows of a batch, mended where less than nine digits may be known.

    :param volts: as they come out of the batch (rows, ports) [V]
    """
    size, highest = np.abs(volts), np.abs(batch.ports.volts).max(initial=0.0)
    scale = _ROUNDED / _WANTED
    two = (batch.altered & (batch.siemens < _JOINT)).sum(axis=1) > 1
    # The most that a row may lose is what its edits lose of the highest volts in the circuit.
    most = np.where(batch.hanging, np.inf, scale * highest / batch.least)
    doubtful = (size > np.where(two, _LIVE_AMPS, _LIVE)[:, None]) & (size < most[:, None])
    rows = np.flatnonzero(doubtful.any(axis=1))
    if rows.size:
        off_by = _off_by(batch, ports, rows)
        some = np.flatnonzero(two[rows])
        off_by[some] += _of_two(batch, ports, rows[some], highest)
        lost = doubtful[rows] & (size[rows] < scale * off_by)
        rows = rows[lost.any(axis=1) | batch.hanging[rows]]
    if not rows.size:
        return volts
    found = volts.copy()
    found[rows] = _newly(batch, ports, rows)
    return found


def _off_by(batch: Batch, ports: Index, rows: Index) -> Array:
    """What a whole rounding of each edit moves some ports by (rows, ports) [V].

    What a row takes off a branch is known to the last digit of what the branch was: there is so much
    more or less of it left, and the current of that passes the row's network.
    """
    between, active, edits = batch.ports.between, batch.active[rows].T, batch.edit_port[rows].T
    answer = batch.answers(between(active[:, None], edits[None]), rows)
    seen = between(ports[:, None, None], edits)
    seen = seen - np.einsum("pas,aes->pes", between(ports[:, None, None], active), answer)
    found: Array = np.einsum("pes,se->sp", np.abs(seen), np.abs(batch.flow[rows, : len(edits)]))
    return found


def _of_two(batch: Batch, ports: Index, rows: Index, highest: float) -> Array:
    """What comes on top of that where two faults act at once (rows, ports) [V].

    What passes a branch that is added is known to the last digit of the highest volts, and passes the
    network alone: a bound, as a rule a hundred times too high. One fault loses nothing there.
    """
    found = np.full((len(rows), len(ports)), highest)
    for column in range(batch.edit_port.shape[1]):
        extra = np.maximum(batch.extra_siemens[rows, column], 0.0)
        if extra.any():
            seen = batch.ports.between(ports[None, :], batch.edit_port[rows, column, None])
            found += highest * extra[:, None] * np.abs(seen)
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
