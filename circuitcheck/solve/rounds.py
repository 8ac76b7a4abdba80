"""What the states of many rows come to next, and what a round of a sweep says of them.

The rule is that of :mod:`.states`: relays and inputs move first, all together; only when they are at
rest does a fuse blow, the one that is furthest over its limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.wiring import Bool, Index, Limits


@dataclass
class Group:
    """Rows of a sweep that came to rest in one batch.

    :param rows: their numbers in the sweep
    :param local: their numbers in the batch
    """

    rows: Index
    local: Index
    batch: Batch


@dataclass(frozen=True)
class Rested:
    """Rows that came to rest, and of which nothing else is asked."""

    rows: Index


@dataclass(frozen=True)
class Next:
    """Rows that go on, and the states that they come to (rows, thresholds)."""

    rows: Index
    states: Bool


@dataclass(frozen=True)
class After:
    """The next states of some rows.

    :param states: of every threshold (rows, thresholds)
    :param sure: rows of which they are certain (rows,)
    :param stays: rows of which it is certain that they stay as they are (rows,)
    """

    states: Bool
    sure: Bool
    stays: Bool

    @property
    def goes(self) -> Bool:
        """Rows of which it is certain that they go on, and to what (rows,)."""
        found: Bool = self.sure & ~self.stays
        return found


def next_states(
    limits: Limits, states: Bool, watched: Array, fuses: Array, left: Array | float = 0.0
) -> After:
    """The next states of some rows, by the currents that their thresholds watch.

    :param states: of every threshold (rows, thresholds)
    :param watched: current of each of ``limits.watching`` (rows, watched) [A]
    :param fuses: by how much every fuse opens above its usual limit (rows,) [1]
    :param left: by how much each of them may be off, at the most (watched, rows) or (1, rows) [A]
    """
    fuse, relay = np.flatnonzero(limits.latching), np.flatnonzero(~limits.latching)
    size, off = np.zeros((2, states.shape[1], len(states)))  # rows last: they are many
    size[limits.watching] = np.abs(watched.T)
    off[limits.watching] = left
    after, amps, was = states.copy(), size[relay], states.T[relay]
    limit = np.where(was, limits.off[relay], limits.on[relay])
    after[:, relay] = np.where(was, amps > limit, amps >= limit).T
    clear = np.all(np.abs(amps - limit) >= off[relay], axis=0)
    still = np.all(after[:, relay] == states[:, relay], axis=1)
    sure, stays = clear & ~still, clear & still
    most = limits.on[fuse] * fuses
    amps = np.where(states.T[fuse], 0.0, size[fuse])  # one that has blown does not count
    some = np.flatnonzero(np.any(amps + off[fuse] >= most, axis=0) & still)
    if some.size:
        first, certain = _first(amps[:, some], off[fuse][:, some], most[:, some])
        after[some, fuse[first]] = True
        sure[some], stays[some] = clear[some] & certain, False
    return After(after, sure | stays, stays)


def _first(amps: Array, off: Array, most: Array) -> tuple[Index, Bool]:
    """The fuse of each row that is furthest over its limit, and whether that is certain (rows,).

    :param amps: through each fuse (fuses, rows), ``off`` by how much that may be off, and ``most``
        what it bears [A]
    """
    share, column = amps / most, np.arange(amps.shape[1])
    # Of equals the last: a lead's fuse comes after those of the vehicle.
    first = len(share) - 1 - np.argmax((share >= 0.999 * share.max(axis=0))[::-1], axis=0)
    # While currents may be off, it must be over and the first by more than that.
    least, others = ((amps - off) / most)[first, column], (amps + off) / most
    others[first, column] = 0.0
    alone = (least >= 1) & (others.max(axis=0) < 0.999 * least)
    return first, alone | np.all(off == 0, axis=0)
