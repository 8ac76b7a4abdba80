"""The steps of an elimination in levels: what does not wait for one another is done at once.

A loom is nearly a tree: one of 7,500 nodes goes in 51 levels. Each node gathers
from those that went before it, then from those that come back before it; all nodes of a level do so
together. It adds the same positive shares as one step after the other, in another order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

Step = tuple[int, list[int], list[float], float]
"""A node, those it was joined to when it went, the share of its current to each, and all of it [S]."""


@dataclass(frozen=True)
class _Level:
    """Nodes that gather: ``node`` (m,) from ``sender`` (entries,), each from its ``first`` on (m,)."""

    node: Index
    first: Index
    sender: Index
    share: Array

    def gather(self, y: Array) -> None:
        """Add what comes in, in place (n, k)."""
        y[self.node] += np.add.reduceat(self.share * y[self.sender], self.first, axis=0)


class Levels:
    """The steps of an elimination, ready to solve for many columns.

    :param size: number of nodes, the reference 0 included
    """

    def __init__(self, size: int, steps: Sequence[Step]) -> None:
        forth, back = [0] * size, [0] * size
        for node, ends, _, _ in steps:
            level = forth[node] + 1
            for one in ends:
                forth[one] = max(forth[one], level)
        for node, ends, _, _ in reversed(steps):
            back[node] = 1 + max((back[one] for one in ends), default=-1)
        self._totals = np.ones((size, 1))
        self._totals[[one[0] for one in steps], 0] = [one[3] for one in steps]
        gone = np.repeat([one[0] for one in steps], [len(one[1]) for one in steps])
        end = np.array([one for step in steps for one in step[1]], dtype=np.intp)
        share = np.array([one for step in steps for one in step[2]])
        self._forth = _levels(np.array(forth), end, gone, share)
        self._back = _levels(np.array(back), gone, end, share)

    def solve(self, amps: Array) -> Array:
        """Node volts for currents pushed into the nodes (n, k) [V]."""
        y = amps.copy()
        y[0] = 0.0
        for level in self._forth:
            level.gather(y)
        y /= self._totals
        for level in self._back:
            level.gather(y)
        return y


def _levels(height: Index, node: Index, sender: Index, share: Array) -> list[_Level]:
    """Entries by the level of the node that gathers, the lowest first.

    :param height: level of each node (n,)
    """
    node = node.astype(np.intp)
    order = np.lexsort((node, height[node]))
    node, sender, share = node[order], sender[order].astype(np.intp), share[order, None]
    found = []
    cuts = np.flatnonzero(np.diff(height[node])) + 1
    for start, end in zip([0, *cuts.tolist()], [*cuts.tolist(), len(node)], strict=True):
        own = node[start:end]
        first = np.flatnonzero(np.diff(own, prepend=-1))
        if own.size:
            found.append(_Level(own[first], first, sender[start:end], share[start:end]))
    return found
