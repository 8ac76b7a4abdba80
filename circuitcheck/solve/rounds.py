"""What the states of many rows come to next, and what a round of a sweep says of them.

The rule is that of :mod:`.states`: relays and inputs move first, all together; only when they are at
rest does a fuse blow, the one that is furthest over its limit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.edits import alike_rows
from circuitcheck.solve.network import Network, Networks
from circuitcheck.solve.wiring import Bool, Index, Limits

FAR_APART = 16
"""States above which a network of one's own costs less than to make so many edits of another."""


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
    limits: Limits, states: Bool, watched: Array, fuses: Array, left: Array | None = None
) -> After:
    """The next states of some rows, by the currents that their thresholds watch.

    :param states: of every threshold (rows, thresholds)
    :param watched: current of each of ``limits.watching`` (rows, watched) [A]
    :param fuses: by how much every fuse opens above its usual limit (rows,) [1]
    :param left: by how much each may be off at the most, by nothing unless told (watched, rows) [A]
    """
    relay, fuse = limits.relays, limits.fuses
    size = np.zeros((states.shape[1], len(states)))  # rows last: they are many
    size[limits.watching] = np.abs(watched.T)
    after, still, sure = states.copy(), *np.ones((2, len(states)), dtype=bool)
    off = None
    if left is not None:
        off = np.zeros(size.shape)
        off[limits.watching] = left
    if relay.size:
        amps, was = size[relay], states.T[relay]
        limit = np.where(was, limits.off[relay], limits.on[relay])
        after[:, relay] = np.where(was, amps > limit, amps >= limit).T
        still = np.all(after[:, relay] == states[:, relay], axis=1)
        if off is not None:
            sure = np.all(np.abs(amps - limit) >= off[relay], axis=0)
    stays = sure & still
    most = limits.on[fuse] * fuses
    near = (size[fuse] if off is None else size[fuse] + off[fuse]) >= most
    near &= ~states.T[fuse]
    some = np.flatnonzero(near.any(axis=0) & still)
    if some.size:
        amps = np.where(states[some][:, fuse].T, 0.0, size[fuse][:, some])
        most = most[:, some]
        share = amps / most
        # Of equals the last: a lead's fuse comes after those of the vehicle.
        last = len(share) - 1 - np.argmax((share >= 0.999 * share.max(axis=0))[::-1], axis=0)
        after[some, fuse[last]] = True
        stays[some] = False
        if off is not None:
            sure[some] &= _is_first(amps, off[fuse][:, some], most, last)
    return After(after, sure, stays)


def _is_first(amps: Array, off: Array, most: Array, last: Index) -> Bool:
    """Whether a fuse is over, and the first, by more than currents may be off (rows,).

    :param amps: of each fuse, and by how much they may be off (fuses, rows) [A]
    :param most: what each of them carries (fuses, rows) [A]
    :param last: number of the fuse in question (rows,)
    """
    column = np.arange(len(last))
    least = (amps - off)[last, column] / most[last, column]
    others = (amps + off) / most
    others[last, column] = 0.0
    first = (least >= 1) & (others.max(axis=0) < 0.999 * least)
    found: Bool = first | np.all(off == 0, axis=0)
    return found


def shared_out(networks: Networks, states: Bool, many: int) -> Iterator[tuple[Network, Index]]:
    """The rows by the network that they are solved from, each time in their order.

    The others differ by a few contacts from one that is there.

    :param many: rows that share a combination of states from which it has a network of its own: making
        one costs about as much as a row for each node, on a whole loom less
    """
    strays: dict[tuple[int, int], tuple[Network, list[Index]]] = {}
    for group in alike_rows(states):
        now = states[group[0]]
        if len(group) >= many:
            yield networks.of(now), group
            continue
        network = networks.near(now)
        # Rows that differ by many states would widen the arrays of those that differ by few.
        apart = int(np.sum(network.state_row != now))
        if apart > FAR_APART:
            yield networks.of(now), group
            continue
        key = id(network), apart.bit_length()
        strays.setdefault(key, (network, []))[1].append(group)
    for network, groups in strays.values():
        yield network, groups[0] if len(groups) == 1 else np.sort(np.concatenate(groups))
