"""A network seen from pairs of its nodes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.network import Network
from circuitcheck.solve.wiring import Bool, Index, distinct


class Ports:
    """Resistances between ports and the volts at them; what one does is known at every other.

    :param tail: node of each port's first end, and ``head`` of its second (ports,)
    """

    def __init__(self, network: Network, tail: Index, head: Index) -> None:
        self.tail = tail
        self.head = head
        self._seen, self.volts = network.seen(tail, head)
        """From each port to every other (ports, ports); it is the same the other way round."""

    def between(self, one: Index, other: Index) -> Array:
        """Resistance from ports to ports [ohm]."""
        found: Array = self._seen[one, other]
        return found

    def own(self, ports: Index) -> Array:
        """Resistance between the two ends of each port [ohm]."""
        return self.between(ports, ports)

    def pushed(self, ports: Index, active: Index, amps: Array) -> Array:
        """Volts at some ports for the currents of each row's active ports (rows, ports) [V].

        :param active: ports of each row (rows, active)
        :param amps: drawn there (rows, active) [A]
        """
        seen = self._seen[ports]
        found = np.zeros((len(ports), len(active)))
        for column in range(active.shape[1]):
            found += seen.take(active[:, column], axis=1) * amps[:, column]
        return found.T

    def pushed_by(self, ports: Index, amps: Array, at: Index) -> Array:
        """Volts for the currents of the same ports in all rows [V].

        :param amps: of ``ports`` in each row (rows, ports) [A]
        :param at: ports to look at, the same for all rows (k,) or each row's own (rows, k)
        """
        if at.ndim == 1:
            same: Array = amps @ self._seen_from(at, ports).T
            return same
        found = [np.sum(amps * self._seen_from(at[:, k], ports), axis=1) for k in range(at.shape[1])]
        return np.stack(found, axis=1) if found else np.zeros(at.shape)

    def _seen_from(self, at: Index, ports: Index) -> Array:
        """Between ports and others (at, ports) [ohm]."""
        return self._seen[at][:, ports]


class LoomPorts(Ports):
    """The same of a large network, whose columns it looks up where they lie.

    What a *wide* port does is known at every other; of the rest only what each does at its own ends
    and at the wide ones. Thousands of places for a fault need no more, as each acts by itself.

    :param wide: which ports are (ports,)
    """

    def __init__(self, network: Network, tail: Index, head: Index, wide: Bool) -> None:
        self.tail = tail
        self.head = head
        chosen, narrow = np.flatnonzero(wide), np.flatnonzero(~wide)
        self._column = np.full(len(tail), -1, dtype=np.intp)
        self._column[chosen] = network.stored(tail[chosen], head[chosen])
        self._network = network
        self._own = np.empty(len(tail))
        self._own[chosen] = self.between(chosen, np.broadcast_to(chosen, chosen.shape))
        self._own[narrow] = network.own(tail[narrow], head[narrow])
        self.volts = network.open_volts[tail] - network.open_volts[head]
        self.volts[chosen] = network.wide_volts(self._column[chosen])

    def between(self, one: Index, other: Index) -> Array:
        """Resistance from ports to ports [ohm]; of any two at least one is wide, or they are one."""
        one, other = np.broadcast_arrays(one, other)
        column, at = self._column[one], other
        narrow = column < 0
        alone = None
        if narrow.any():
            column, at = np.where(narrow, self._column[other], column), np.where(narrow, one, other)
            alone = column < 0
        store = self._network.store
        places, flat = store.shape[1], store.reshape(-1)
        found: Array = flat.take(self.tail[at] * places + column)
        found -= flat.take(self.head[at] * places + column)
        if alone is not None and alone.any():
            found[alone] = np.where(one == other, self._own[one], 0.0)[alone]
        return found

    def own(self, ports: Index) -> Array:
        """Resistance between the two ends of each port [ohm]."""
        return self._own[ports]

    def pushed(self, ports: Index, active: Index, amps: Array) -> Array:
        """Volts at some wide ports for the currents of each row's active ports (rows, ports) [V]."""
        found = np.zeros((len(active), len(ports)))
        for column in range(active.shape[1]):
            found += self._seen_from(active[:, column], ports) * amps[:, column, None]
        return found

    def _seen_from(self, at: Index, ports: Index) -> Array:
        columns, store = self._column[ports], self._network.store
        if len(columns) and np.array_equal(columns, np.arange(columns[0], columns[0] + len(columns))):
            store = store[:, columns[0] : columns[0] + len(columns)]
            return store[self.tail[at]] - store[self.head[at]]
        at = at[:, None]
        found: Array = store[self.tail[at], columns] - store[self.head[at], columns]
        return found


def wide_slots(slot: Index, altered: Bool) -> Index:
    """The slots that must be seen from everywhere: all of a row's but one that it alters.

    That one is what the fewest rows alter: an instrument or a relay is many rows' own, a fault few.
    """
    others = slot >= 0
    if not slot.shape[1]:
        return slot.reshape(-1)
    often = np.bincount(slot[others], minlength=int(slot.max()) + 2)
    often[-1] = len(slot) + 1  # where a row has none
    seldom = np.argmin(np.where(altered & others, often[slot], len(slot) + 1), axis=1)
    others[np.arange(len(slot)), seldom] &= ~(altered & others).any(axis=1)
    return distinct(slot[others])


def joined_up(groups: Sequence[Sequence[int] | Index]) -> tuple[Index, list[Index]]:
    """Groups of nodes one after the other, and the numbers that each group gets."""
    together = np.concatenate([np.asarray(one, dtype=np.intp) for one in groups])
    every, end, numbers = np.arange(len(together)), 0, []
    for one in groups:
        numbers.append(every[end : end + len(one)])
        end += len(one)
    return together, numbers
