"""A network seen from pairs of its nodes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.network import Network
from circuitcheck.solve.wiring import Bool, Index, distinct


class Ports:
    """Resistances between ports and the volts at them.

    What a *wide* port does is known at every other; of the rest only what each does at its own ends
    and at the wide ones. Thousands of places for a fault need no more, as each acts by itself.

    :param tail: node of each port's first end, and ``head`` of its second (ports,)
    :param wide: which are (ports,)
    """

    def __init__(self, network: Network, tail: Index, head: Index, wide: Bool) -> None:
        self.tail = tail
        self.head = head
        chosen = np.flatnonzero(wide)
        columns = network.columns(tail[chosen], head[chosen])
        self._seen = np.ascontiguousarray((columns[tail] - columns[head]).T)
        """From each wide port to every port (wide, ports); it is the same the other way round."""
        self.volts = columns.T @ network.pushed
        self._all_wide = len(chosen) == len(tail)
        if not self._all_wide:
            seen_wide, self.volts = self.volts, network.open_volts[tail] - network.open_volts[head]
            self.volts[chosen] = seen_wide
            self._row = np.full(len(tail), -1, dtype=np.intp)
            self._row[chosen] = np.arange(len(chosen))
            self._own = np.empty(len(tail))
            self._own[chosen] = self._seen[np.arange(len(chosen)), chosen]
            narrow = np.flatnonzero(~wide)
            self._own[narrow] = network.own(tail[narrow], head[narrow])

    def between(self, one: Index, other: Index) -> Array:
        """Resistance from ports to ports [ohm]; of any two at least one is wide, or they are one."""
        if self._all_wide:
            found: Array = self._seen[one, other]
            return found
        one, other = np.broadcast_arrays(one, other)
        row = self._row[one]
        narrow = row < 0
        row = np.where(narrow, self._row[other], row)
        found = self._seen[row, np.where(narrow, one, other)]
        alone = row < 0
        found[alone] = np.where(one == other, self._own[one], 0.0)[alone]
        return found

    def pushed(self, ports: Index, active: Index, amps: Array) -> Array:
        """Volts at some wide ports for the currents of each row's active ports (rows, ports) [V].

        :param active: ports of each row (rows, active)
        :param amps: drawn there (rows, active) [A]
        """
        seen = self._seen[ports if self._all_wide else self._row[ports]]
        found = np.zeros((len(ports), len(active)))
        for column in range(active.shape[1]):
            found += seen.take(active[:, column], axis=1) * amps[:, column]
        return found.T

    def pushed_by(self, ports: Index, amps: Array, at: Index) -> Array:
        """Volts for the currents of the same wide ports in all rows [V].

        :param amps: of ``ports`` in each row (rows, ports) [A]
        :param at: ports to look at, the same for all rows (k,) or each row's own (rows, k)
        """
        seen = self._seen[ports if self._all_wide else self._row[ports]]
        if at.ndim == 1:
            same: Array = amps @ seen[:, at]
            return same
        found = [np.sum(amps * seen[:, at[:, k]].T, axis=1) for k in range(at.shape[1])]
        return np.stack(found, axis=1) if found else np.zeros(at.shape)


def wide_slots(slot: Index, altered: Bool) -> Index:
    """The slots that must be seen from everywhere: all of a row's but the first that it alters."""
    others = slot >= 0
    if not slot.shape[1]:
        return slot.reshape(-1)
    others[np.arange(len(slot)), np.argmax(altered, axis=1)] &= ~altered.any(axis=1)
    return distinct(slot[others])


def joined_up(groups: Sequence[Sequence[int] | Index]) -> tuple[Index, list[Index]]:
    """Groups of nodes one after the other, and the numbers that each group gets."""
    together = np.concatenate([np.asarray(one, dtype=np.intp) for one in groups])
    every, end, numbers = np.arange(len(together)), 0, []
    for one in groups:
        numbers.append(every[end : end + len(one)])
        end += len(one)
    return together, numbers
