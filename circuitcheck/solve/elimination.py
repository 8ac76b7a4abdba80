"""Nodal equations of conductances, factored without a single subtraction.

A node is taken out of a network by joining its neighbours to one another, w_ij += w_ik w_kj / d, and
to the reference, s_i += w_ik s_k / d, with d = s_k + sum of w_k (the star-mesh transformation; as a
factorisation W. K. Grassmann, M. I. Taksar, D. P. Heyman, Oper. Res. 33, 1985; from memory). Every
number is a sum of positive ones, so that the factors keep all their digits however far milliohms and
megohms lie apart; a matrix whose diagonal holds the sum has lost what goes to the reference.

Nodes go in the order of fewest neighbours. A loom is nearly a tree, and next to nothing fills in.

With Y the current that passes each node for an ampere pushed in at every other, and d as above, the
inverse is ``Y D^-1 Y^T``. Y is the inverse of a triangular matrix with ones on its diagonal and nothing
positive beside it: it too comes without a subtraction, and without a pivot.
"""

from __future__ import annotations

import heapq
from functools import cached_property
from typing import Any

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

Step = tuple[int, list[int], list[float], float]
"""A node, those it was joined to when it went, the share of its current to each, and all of it [S]."""

_MANY = 8
"""Pairs with one node in common from which on a solution for that node costs less."""
_LEFT_OVER = 1e-4
_GONE = -1
"""Stands for the number of neighbours of a node that has been taken out."""
_SMALL = 32
"""A triangular matrix of up to this is inverted in one piece."""


class Elimination:
    """The factors of a network; node 0 is the reference.

    :param tail: node that each branch leaves, and ``head`` the one it goes to (branches,)
    :param siemens: its conductance [S]
    :param tied: nodes tied to the reference, by ``tie`` [S]
    """

    def __init__(
        self, size: int, tail: Index, head: Index, siemens: Array, tied: Index, tie: float
    ) -> None:
        self.size = size
        self._given = tail, head, siemens, tied, tie
        self._hubs: dict[int, list[float]] = {}

    @cached_property
    def _eliminated(self) -> tuple[list[Step], list[float]]:
        """The steps, and for each the share of its node's current that goes to the reference."""
        tail, head, siemens, tied, tie = self._given
        around: list[dict[int, float]] = [{} for _ in range(self.size)]
        ground = [0.0] * self.size
        for one, other, value in zip(tail.tolist(), head.tolist(), siemens.tolist(), strict=True):
            if value == 0.0 or one == other:
                continue
            if one and other:
                of_one = around[one]
                of_one[other] = around[other][one] = of_one.get(other, 0.0) + value
            else:
                ground[one or other] += value
        for node in tied.tolist():
            ground[node] += tie
        return _eliminate(around, ground)

    @property
    def _steps(self) -> list[Step]:
        return self._eliminated[0]

    @cached_property
    def _at(self) -> list[int]:
        """For each node the step at which it goes, -1 for the reference."""
        found = [-1] * self.size
        for number, (node, *_) in enumerate(self._steps):
            found[node] = number
        return found

    @cached_property
    def _apart(self) -> list[dict[int, float]]:
        """For each node the resistance to those it was joined to when it went, and to the reference.

        Backwards through the elimination: a node that comes back between others leaves the resistances
        between them alone. Its own to one of them is ``1/d + sum(w_i r_ij) - sum(w_i w_k r_ik) / 2``, w
        the shares of its current; what is taken off is of the order of 1/d, and costs no digits.
        """
        found: list[dict[int, float]] = [{} for _ in range(self.size)]
        at = self._at

        def between(one: int, other: int) -> float:
            return found[one][other] if at[one] < at[other] or not other else found[other][one]

        ground = reversed(self._eliminated[1])
        for (node, ends, shares, total), share in zip(reversed(self._steps), ground, strict=True):
            around = [0, *ends]
            parts = [share, *shares]
            alone, to = 1.0 / total, [0.0] * len(around)
            for i, one in enumerate(around):
                for k in range(i):
                    r = found[one][0] if not k else between(one, around[k])
                    to[i] += parts[k] * r
                    to[k] += parts[i] * r
            less = 0.5 * sum(part * one for part, one in zip(parts, to, strict=True))
            found[node] = {one: alone + r - less for one, r in zip(around, to, strict=True)}
        return found

    def apart(self, tail: Index, head: Index) -> Array:
        """Resistance between the two nodes of each of many pairs (pairs,) [ohm]."""
        apart, found = self._apart, np.zeros(len(tail))
        others: dict[int, list[tuple[int, int]]] = {}
        for number, (one, other) in enumerate(zip(tail.tolist(), head.tolist(), strict=True)):
            r = apart[one].get(other) or apart[other].get(one)
            if r is not None:
                found[number] = r
            elif one != other:
                hub, node = sorted((one, other), key=lambda end: apart[end].get(0, 0.0))
                others.setdefault(hub, []).append((number, node))
        for hub, pairs in others.items():
            if len(pairs) < _MANY:
                for number, node in pairs:
                    found[number] = self.own(node, hub)
            else:
                volts = self._volts_from(hub)
                for number, node in pairs:
                    far = apart[node][0]
                    r = far + volts[hub] - 2 * volts[node]
                    # A difference of much is worth little.
                    found[number] = r if r > _LEFT_OVER * far else self.own(node, hub)
        return found

    def _volts_from(self, hub: int) -> list[float]:
        """Node volts for an ampere pushed into one node (n,) [V]."""
        if hub not in self._hubs:
            pushed = np.zeros(self.size)
            pushed[hub] = 1.0
            self._hubs[hub] = self.solve(pushed).tolist()
        return self._hubs[hub]

    def own(self, tail: int, head: int) -> float:
        """Resistance between two nodes [ohm]: only what lies on their ways to the end is looked at."""
        at, steps = self._at, self._steps
        pushed: dict[int, float] = {}
        for node, amps in ((tail, 1.0), (head, -1.0)):
            if node:
                pushed[at[node]] = pushed.get(at[node], 0.0) + amps
        waiting = list(pushed)
        heapq.heapify(waiting)
        way: list[int] = []
        while waiting:
            step = heapq.heappop(waiting)
            way.append(step)
            _, ends, shares, _ = steps[step]
            for one, share in zip(ends, shares, strict=True):
                if at[one] not in pushed:
                    pushed[at[one]] = 0.0
                    heapq.heappush(waiting, at[one])
                pushed[at[one]] += share * pushed[step]
        volts = {-1: 0.0}
        for step in reversed(way):
            _, ends, shares, total = steps[step]
            volts[step] = pushed[step] / total + sum(
                share * volts[at[one]] for one, share in zip(ends, shares, strict=True)
            )
        return volts[at[tail]] - volts[at[head]]

    def volts_between(self, tail: Index, head: Index, found: Array) -> Array:
        """Node volts for an ampere pushed in at each tail and drawn at its head [V].

        Solved for the two ends at once: a difference of two columns would lose what is between them.

        :param found: where they are put (n, pairs)
        """
        pushed, column = np.zeros((self.size, len(tail))), np.arange(len(tail))
        pushed[tail, column] += 1.0
        pushed[head, column] -= 1.0
        found[:] = self.solve(pushed)
        return found

    @cached_property
    def _passed(self) -> Array:
        """For an ampere pushed into each node what passes every other in its turn (n, steps) [A]."""
        size, at, steps = self.size, self._at, self._steps
        ahead = np.zeros((size - 1, size - 1))
        place = [n * (size - 1) + at[one] for n, (_, ends, *_) in enumerate(steps) for one in ends]
        ahead.reshape(-1)[place] = [share for _, _, shares, _ in steps for share in shares]
        found = np.zeros((size, size - 1))
        found[[node for node, *_ in steps]] = _sum_of_ways(ahead)
        return found

    @cached_property
    def _totals(self) -> Array:
        """For each step the conductance around its node (steps,) [S]."""
        return np.array([total for *_, total in self._steps])

    def passed(self, tail: Index, head: Index) -> Array:
        """What passes each node in its turn for an ampere between pairs of nodes (pairs, steps) [A].

        For small networks: the room grows with the square of the nodes.
        """
        found: Array = self._passed[tail] - self._passed[head]
        return found

    def between(self, one: Array, other: Array) -> Array:
        """Resistance from pairs to pairs, by what each of them passes [ohm]."""
        # Divided whole and on one side: what opens a branch leaves next to nothing of 1 - g r, and each
        # rounding of r counts.
        found: Array = (one / self._totals) @ other.T
        return found

    def rises(self, amps: Array) -> Array:
        """What ``passed`` is multiplied by for the volts at pairs (steps,) [V].

        :param amps: pushed into the nodes (n,)
        """
        found: Array = (amps @ self._passed) / self._totals
        return found

    def _forth(self, y: list[Any]) -> list[Any]:
        """What passes each node in its turn, in place of what is pushed into it (n,)."""
        y[0] = 0.0 * y[0]
        for node, ends, shares, _ in self._steps:
            mine = y[node]
            for one, share in zip(ends, shares, strict=True):
                y[one] = y[one] + (mine if share == 1.0 else share * mine)
        return y

    def solve(self, amps: Array) -> Array:
        """Node volts for currents pushed into the nodes (n,) or (n, k)."""
        # Numbers one by one are quicker as such.
        y = self._forth(list(amps) if amps.ndim > 1 else amps.tolist())
        for node, ends, shares, total in reversed(self._steps):
            at = y[node] / total
            for one, share in zip(ends, shares, strict=True):
                at = at + (y[one] if share == 1.0 else share * y[one])
            y[node] = at
        return np.array(y)


def _eliminate(around: list[dict[int, float]], ground: list[float]) -> tuple[list[Step], list[float]]:
    """Take out all nodes, those with the fewest neighbours first."""
    steps: list[Step] = []
    to_ground: list[float] = []
    size, degrees = len(around), [len(one) for one in around]
    # One number for a degree and a node, which compares sooner than a pair.
    waiting = [degree * size + node for node, degree in enumerate(degrees) if node]
    heapq.heapify(waiting)
    while waiting:
        degree, node = divmod(heapq.heappop(waiting), size)
        if degree != degrees[node]:
            continue
        degrees[node] = _GONE
        mine, to = around[node], ground[node]
        ends, total = list(mine), sum(mine.values(), to)
        shares = [one / total for one in mine.values()]
        steps.append((node, ends, shares, total))
        to_ground.append(to / total)
        for place, one in enumerate(ends):
            of_one, share = around[one], shares[place]
            del of_one[node]
            ground[one] += share * to
            for other in ends[:place]:
                of_one[other] = around[other][one] = of_one.get(other, 0.0) + share * mine[other]
        for one in ends:
            degree = len(around[one])
            if degree != degrees[one]:
                degrees[one] = degree
                heapq.heappush(waiting, degree * size + one)
    return steps, to_ground


def _sum_of_ways(ahead: Array) -> Array:
    """The inverse of 1 less a matrix with nothing on or below its diagonal (n, n).

    By halves: the inverse of each, and what leads from one to the other. All terms of it are positive.
    """
    size = len(ahead)
    if size <= _SMALL:
        return np.asarray(np.linalg.inv(np.eye(size) - ahead))
    half, found = size // 2, np.zeros(ahead.shape)
    found[:half, :half] = first = _sum_of_ways(ahead[:half, :half])
    found[half:, half:] = last = _sum_of_ways(ahead[half:, half:])
    found[:half, half:] = first @ ahead[:half, half:] @ last
    return found
