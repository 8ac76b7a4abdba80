"""What is to be expected from here on if the greedy rule is followed to the end."""

from __future__ import annotations

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.plan.problem import Index, Problem, Ready, entropy

NOTHING = 1e-3
"""Gain below which a test tells nothing [bit]."""
_SLIGHT = 3e-3
"""Share of the likeliest row below which a row is left out of account when a test is chosen."""
_SELDOM = 0.03
"""Chance of coming to a place below which what follows is estimated and not followed: what is left to
tell there is taken to cost as many minutes a bit as the next test does."""
_NEVER = 1e-5
"""Chance below which an outcome of a test does not come."""


class Rollout:
    """The base rule: the most information for the minutes, for as long as it pays.

    It is followed until stopping costs less. Cutting it off after some number of tests, with the
    minutes lost by stopping there, would favour the longest test in which most is read: what is left
    open is then paid for with wrong repairs, where two short tests more would have told it.
    """

    def __init__(self, problem: Problem, tests: Index, ready: Ready) -> None:
        """
        :param tests: those there are to choose from, numbered in this order from here on
        :param ready: how the vehicle stands before the first of them
        """
        order = np.argsort(problem.unit, kind="stable")
        self.order, self.unit = order, problem.unit[order]
        self.price, self.opening = problem.price, problem.opening
        self.minutes = problem.minutes[tests]
        self.access = problem.access[tests].astype(np.float64)
        self.chances = np.ascontiguousarray(problem.chances[tests][:, order].transpose(1, 0, 2))
        spared = np.zeros((len(tests) + 1, len(tests)))
        if problem.spared is not None:
            spared = problem.spared[np.append(tests, ready.last)][:, tests]
        self.spared = spared
        self.closed = np.array([n not in ready.opened for n in range(len(self.opening))], np.float64)

    def ahead(self, weights: Array, test: int) -> float:
        """Expected minutes to the end if a test is done first, lost ones included.

        :param weights: chance of each row (rows,)
        """
        return self._after(weights[self.order], test, self.closed, len(self.minutes), 1.0)

    def _costs(self, closed: Array, last: int) -> Array:
        found: Array = self.minutes - self.spared[last] + self.access @ (self.opening * closed)
        return found

    def _after(self, weights: Array, test: int, closed: Array, last: int, chance: float) -> float:
        """A test and all that follows it."""
        joint = weights[:, None] * self.chances[:, test]
        shares = joint.sum(axis=0)
        total = float(self._costs(closed, last)[test])
        closed = closed * (1.0 - self.access[test])
        for n in np.flatnonzero(shares > _NEVER):
            share = float(shares[n])
            total += share * self._minutes(joint[:, n] / share, closed, test, chance * share)
        return total

    def _minutes(self, weights: Array, closed: Array, last: int, chance: float) -> float:
        """Expected minutes from a place in the tree, those lost by stopping included.

        :param closed: 1 for each place that is not open (places,)
        :param last: the test done last
        :param chance: of coming here
        """
        loss = self._loss(weights)
        costs = self._costs(closed, last)
        if loss <= costs.min():
            return loss
        rows = np.flatnonzero(weights > _SLIGHT * weights.max())
        left, gains = self._gains(weights[rows] / weights[rows].sum(), rows)
        best = int(np.argmax(gains / costs))
        if gains[best] <= NOTHING:
            return loss
        if chance < _SELDOM:
            return min(loss, left * float(costs[best] / gains[best]))
        return min(loss, self._after(weights, best, closed, last, chance))

    def _loss(self, weights: Array) -> float:
        """As :meth:`Problem.loss` has it."""
        chances = np.sort(np.bincount(self.unit, weights))[::-1]
        return float(self.price * chances @ np.arange(len(chances)))

    def _gains(self, weights: Array, rows: Index) -> tuple[float, Array]:
        """What is not known of the unit [bit], and what each test tells of it (tests,).

        The same as :func:`information`, for rows in the order of their units.
        """
        unit = self.unit[rows]
        starts = np.flatnonzero(np.append(True, unit[1:] != unit[:-1]))
        each = weights[:, None] * self.chances[rows].reshape(len(rows), -1)
        joint = np.add.reduceat(each, starts, axis=0)
        told = entropy(joint.sum(axis=0)) - entropy(joint).sum(axis=0)
        left = float(entropy(np.add.reduceat(weights, starts)).sum())
        gains: Array = told.reshape(len(self.minutes), -1).sum(axis=1) + left
        return left, gains
