"""A network seen from pairs of its nodes."""

from __future__ import annotations

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.network import Network
from circuitcheck.solve.wiring import Bool, Index, distinct

_SPREAD = 3
"""Up to so many times as many columns are looked at as are asked for, if they lie together."""


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
    """The same of a large network, whose columns are solved when they are asked for.

    Between two ports the column of either will do. Thousands of places for a fault are seen from the
    curves and the watched branches; a few faults of a vehicle with thousands of those are seen from
    the faults. What a place does at its own ends needs no column.

    :param wide: those that are seen from everywhere in any case (ports,)
    """

    def __init__(self, network: Network, tail: Index, head: Index, wide: Bool) -> None:
        self.tail = tail
        self.head = head
        self._network = network
        self._column = np.full(len(tail), -1, dtype=np.intp)
        self._own = np.full(len(tail), np.nan)
        self.volts = network.open_volts[tail] - network.open_volts[head]
        self._note(np.arange(len(tail)), network.known(tail, head))
        self._make(np.flatnonzero(wide))

    def _make(self, ports: Index) -> None:
        """Solve the columns of some ports."""
        new = ports[self._column[ports] < 0]
        if new.size:
            self._note(new, self._network.stored(self.tail[new], self.head[new]))

    def _note(self, ports: Index, columns: Index) -> None:
        self._column[ports] = columns
        there = columns >= 0
        self.volts[ports[there]] = self._network.wide_volts(columns[there])

    def _make_either(self, some: Index, others: Index) -> None:
        """Solve the columns of one side, so that each of its ports is seen from the other's.

        Of the smaller side, unless so many have been made that those of the larger cost no more.
        """
        sides = [distinct(one[self._column[one] < 0]) for one in (some, others)]
        few, many = sorted(sides, key=len)
        if few.size:
            self._make(few if self._network.made + len(few) <= len(many) else many)

    def between(self, one: Index, other: Index) -> Array:
        """Resistance from ports to ports [ohm]."""
        one, other = np.broadcast_arrays(one, other)
        column, at = self._column[one], other
        if np.any(column < 0):
            missing = (column < 0) & (self._column[other] < 0) & (one != other)
            if missing.any():
                self._make_either(one[missing], other[missing])
                column = self._column[one]
            narrow = column < 0
            column, at = np.where(narrow, self._column[other], column), np.where(narrow, one, other)
        store, alone = self._network.store, column < 0
        places, flat, column = store.shape[1], store.reshape(-1), np.maximum(column, 0)
        found: Array = flat.take(self.tail[at] * places + column)
        found -= flat.take(self.head[at] * places + column)
        if alone.any():
            found[alone] = self.own(one[alone])
        return found

    def own(self, ports: Index) -> Array:
        """Resistance between the two ends of each port [ohm]."""
        new = distinct(ports[np.isnan(self._own[ports])])
        if new.size:
            wide = self._column[new] >= 0
            narrow = new[~wide]
            self._own[narrow] = self._network.own(self.tail[narrow], self.head[narrow])
            new = new[wide]
            self._own[new] = self.between(new, new)
        return self._own[ports]

    def pushed(self, ports: Index, active: Index, amps: Array) -> Array:
        """Volts at some ports for the currents of each row's active ports (rows, ports) [V]."""
        _, seen, place = self.seen_by(ports, active)
        found = np.zeros((len(active), len(ports)))
        for column in range(active.shape[1]):
            found += seen[place[:, column]] * amps[:, column, None]
        return found

    def seen_by(self, ports: Index, active: Index) -> tuple[Index, Array, Index]:
        """Ports seen from the active ports of some rows, each of these but once.

        :param active: ports of each row (rows, active)
        :returns: which these are (used,), resistances (used, ports) [ohm], and the place of each active
            port among them (rows, active)
        """
        used = distinct(active.reshape(-1))
        place = np.zeros(len(self.tail), dtype=np.intp)
        place[used] = np.arange(len(used))
        self._make_either(used, ports)
        return used, self._seen_from(used, ports), place[active]

    def pushed_by(self, ports: Index, amps: Array, at: Index) -> Array:
        """The same as in its base; only those of the ports count that draw anything in some row."""
        draws = np.flatnonzero(amps.any(axis=0))
        self._make_either(ports[draws], at.reshape(-1))
        return super().pushed_by(ports[draws], amps[:, draws], at)

    def _seen_from(self, at: Index, ports: Index) -> Array:
        columns, store = self._column[ports], self._network.store
        if np.any(columns < 0):  # then each of the others has a column
            mine = distinct(self._column[at])
            seen = store[self.tail[ports][:, None], mine] - store[self.head[ports][:, None], mine]
            each: Array = seen.T[np.searchsorted(mine, self._column[at])]
            return each
        first, last = int(np.min(columns, initial=0)), int(np.max(columns, initial=-1)) + 1
        if last - first > _SPREAD * len(columns):
            at = at[:, None]
            found: Array = store[self.tail[at], columns] - store[self.head[at], columns]
            return found
        store = store[:, first:last]  # mostly made one after the other: rows of it lie together
        found = store[self.tail[at]]
        found -= store[self.head[at]]
        return found if np.array_equal(columns, np.arange(first, last)) else found[:, columns - first]


def wide_slots(slot: Index, altered: Bool, none: int) -> Index:
    """The slots that must be seen from everywhere: all of a row's but one that it alters.

    That one is what the fewest rows alter: an instrument or a relay is many rows' own, a fault few.

    :param none: what stands where a row has fewer than others
    """
    others = slot != none
    if not slot.shape[1]:
        return slot.reshape(-1)
    often = np.bincount(slot[others], minlength=none + 1)
    seldom = np.argmin(np.where(altered & others, often[slot], len(slot) + 1), axis=1)
    others[np.arange(len(slot)), seldom] &= ~(altered & others).any(axis=1)
    return distinct(slot[others])
