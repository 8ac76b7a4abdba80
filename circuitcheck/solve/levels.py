"""The elimination of one large network: what does not wait for one another is done at once.

A loom is nearly a tree: one of 3,100 nodes goes in 24 levels (:mod:`.pattern`). It adds the same positive
shares as one step after the other, in another order.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from circuitcheck.physics.branch import Array
from circuitcheck.solve.elimination import Elimination, Step
from circuitcheck.solve.pattern import Pattern
from circuitcheck.solve.wiring import REFERENCE, Index


class LevelElimination(Elimination):
    """The factors of one network of some shape.

    :param siemens: of the edges of the pattern (edges,) [S]
    """

    def __init__(self, pattern: Pattern, siemens: Array) -> None:
        self.size = pattern.size
        self._hubs = {}
        self._pattern = pattern
        factors = pattern.factored(siemens[:, None].copy())
        self._share, self._total = factors.share[:, 0], factors.total

    @cached_property
    def _eliminated(self) -> tuple[list[Step], list[float]]:
        """The steps with what there is of the edges, the shape's others being nought."""
        pattern, share = self._pattern, self._share
        ends, starts = pattern.far_ends, pattern.starts.tolist()
        live = np.flatnonzero((share > 0) & (ends != REFERENCE))
        cuts = np.searchsorted(live, pattern.starts).tolist()
        far, part = ends[live].tolist(), share[live].tolist()
        steps = [
            (node, far[first:last], part[first:last], total)
            for node, first, last, total in zip(
                pattern.order.tolist(), cuts, cuts[1:], self._total[:, 0].tolist(), strict=False
            )
        ]
        # The edge to the reference is the last of each node.
        return steps, [share[end - 1] for end in starts[1:]]

    @cached_property
    def _each_level(self) -> list[tuple[slice, Index, csr_array, csr_array]]:
        """Of each level its nodes, those that get something first, and what of whom (nodes, all nodes)."""
        share, size, found = self._share, self.size, []
        for level in self._pattern.levels:
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
        y = amps.reshape(self.size, -1)[self._pattern.order]
        for _, nodes, forth, _ in self._each_level:
            if len(nodes):
                y[nodes] += forth @ y
        y[:-1] /= self._total
        y[-1] = 0.0
        for nodes, _, _, back in reversed(self._each_level):
            y[nodes] += back @ y
        found: Array = y[self._pattern.place].reshape(amps.shape)
        return found
