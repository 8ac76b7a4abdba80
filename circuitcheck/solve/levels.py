"""The elimination of one large network: what does not wait for one another is done at once.

A loom is nearly a tree: one of 3,100 nodes goes in 24 levels (:mod:`.pattern`). It adds the same
positive shares as one step after the other, in another order.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from circuitcheck.physics.branch import Array
from circuitcheck.solve.pattern import Pattern
from circuitcheck.solve.wiring import REFERENCE, Index

_MANY = 8
"""Pairs with one node in common from which on a solution for that node costs less."""
_LEFT_OVER = 1e-4
"""Share of two numbers below which their difference is worth little."""
_TOGETHER = 64
"""Columns solved together: they should lie in the processor's caches."""
_CELLS = 2**21
"""Numbers in one array of columns."""


class LevelElimination:
    """The factors of one network of some shape.

    :param siemens: of the edges of the pattern (edges,) [S]
    """

    def __init__(self, pattern: Pattern, siemens: Array) -> None:
        self.pattern = pattern
        factors = pattern.factored(siemens[:, None].copy())
        self._share, self._total = factors.share[:, 0], factors.total
        self._hubs: dict[int, Array] = {}

    @cached_property
    def _each_level(self) -> list[tuple[slice, Index, csr_array, csr_array]]:
        """Of each level its nodes, those that get something going forth, and what forth and back."""
        share, size, found = self._share, self.pattern.size, []
        for level in self.pattern.levels:
            pushed, around = level.pushed, level.around
            forth = csr_array(
                (share[pushed.share], pushed.sender, pushed.sums.indptr),
                shape=(len(pushed.target), size),
            )
            back = csr_array(
                (share[level.edges], level.other, around.indptr), shape=(around.shape[0], size)
            )
            found.append((level.nodes, pushed.target, forth, back))
        return found

    def solve(self, amps: Array) -> Array:
        """Node volts for currents pushed into the nodes (n,) or (n, k) [V]."""
        columns = amps.reshape(self.pattern.size, -1)
        return self._solved(columns[self.pattern.order]).reshape(amps.shape)

    def volts_between(self, tail: Index, head: Index, found: Array) -> Array:
        """Node volts for an ampere pushed in at each tail and drawn at its head [V].

        :param found: where they are put (n, pairs)
        """
        place = self.pattern.place
        for start in range(0, len(tail), _TOGETHER):
            here = slice(start, start + _TOGETHER)
            one, other = place[tail[here]], place[head[here]]
            y, column = np.zeros((self.pattern.size, len(one))), np.arange(len(one))
            y[one, column] += 1.0
            y[other, column] -= 1.0
            found[:, here] = self._solved(y)
        return found

    def _solved(self, y: Array) -> Array:
        """Node volts; what is pushed in is used up.

        :param y: pushed into the nodes in the order in which they go (n, k) [A]
        """
        for _, nodes, forth, _ in self._each_level:
            if len(nodes):
                y[nodes] += forth @ y
        y[:-1] /= self._total
        y[-1] = 0.0
        for nodes, _, _, back in reversed(self._each_level):
            y[nodes] += back @ y
        found: Array = y[self.pattern.place]
        return found

    @cached_property
    def _along(self) -> Array:
        """The resistance between the two ends of each edge of the shape (edges,) [ohm].

        The same as in :class:`.Elimination`, all nodes of a level at once.
        """
        share, found = self._share, np.zeros(self.pattern.edges)
        for level in reversed(self.pattern.levels):
            between, one, other = self.pattern.pairs[level.pairs].T
            start, count = level.edges.start, level.edges.stop - level.edges.start
            r = found[between]
            to = np.bincount(one - start, share[other] * r, count)
            to += np.bincount(other - start, share[one] * r, count)
            less = level.around @ (share[level.edges] * to)
            alone = 1 / self._total[level.nodes, 0] - 0.5 * less
            found[level.edges] = alone[level.owner] + to
        return found

    def apart(self, tail: Index, head: Index) -> Array:
        """Resistance between the two nodes of each of many pairs (pairs,) [ohm]."""
        edge = self.pattern.places(tail, head)
        found = np.where(edge >= 0, self._along[edge], 0.0)
        others = np.flatnonzero((edge < 0) & (tail != head))
        if others.size:
            found[others] = self._not_along(tail[others], head[others])
        return found

    def _not_along(self, one: Index, other: Index) -> Array:
        """The same of pairs that are no edge of the shape."""
        level = self._along[self.pattern.places(np.arange(self.pattern.size), np.array([REFERENCE]))]
        level[REFERENCE] = 0.0
        nearer = level[one] < level[other]
        hub, node = np.where(nearer, one, other), np.where(nearer, other, one)
        found = np.zeros(len(hub))
        alone = np.ones(len(hub), dtype=bool)
        often = np.bincount(hub, minlength=self.pattern.size)
        for here in np.flatnonzero(often >= _MANY).tolist():
            pair = np.flatnonzero(hub == here)
            volts = self._volts_from(here)
            r = level[node[pair]] + volts[here] - 2 * volts[node[pair]]
            found[pair] = r
            alone[pair] = ~(r > _LEFT_OVER * level[node[pair]])
        rest = np.flatnonzero(alone)
        for mine, volts in self._columns(hub, node, rest):
            pair, column = rest[mine[0]], mine[1]
            found[pair] = volts[hub[pair], column] - volts[node[pair], column]
        return found

    def _volts_from(self, hub: int) -> Array:
        """Node volts for an ampere pushed into one node (n,) [V]; the same few are asked for again."""
        if hub not in self._hubs:
            pushed = np.zeros(self.pattern.size)
            pushed[hub] = 1.0
            self._hubs[hub] = self.solve(pushed)
        return self._hubs[hub]

    def _columns(
        self, tail: Index, head: Index, wanted: Index
    ) -> Iterator[tuple[tuple[Index, Index], Array]]:
        """Node volts for an ampere between the nodes of some pairs, as many at once as lie in memory.

        :param wanted: numbers of the pairs that are asked for, perhaps more than once (n,)
        :returns: which of the wanted are there, and in which column each; the volts (nodes, columns) [V]
        """
        pairs, number = np.unique(wanted, return_inverse=True)
        number, size = number.reshape(-1), max(1, _CELLS // self.pattern.size)
        for start in range(0, len(pairs), size):
            some = pairs[start : start + size]
            here = np.flatnonzero((number >= start) & (number < start + size))
            room = np.empty((self.pattern.size, len(some)))
            yield (here, number[here] - start), self.volts_between(tail[some], head[some], room)
