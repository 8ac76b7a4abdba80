"""Choosing the next test: information for minutes, with one exact step on top.

Greedy gain alone is known to cost up to half as much again as the best order; trying each promising
test and following the greedy rule from there (rollout) takes most of that away (F. Tu, K. R. Pattipati,
IEEE Trans. SMC-A 33, 2003; from memory). While about a dozen suspects remain the best order is found
exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.plan.exact import MOST, Certain, Exact
from circuitcheck.plan.problem import Index, Problem

_PROMISING = 6
"""Tests that are tried out one step ahead."""
_LOOKED_AT = 40
"""Tests that the greedy rule chooses from on the way."""
_DEPTHS = ((30, 5), (120, 3), (10_000, 2))
"""Tests that the greedy rule is followed for, by the number of rows still possible."""
_NOTHING = 1e-3
"""Gain below which a test tells nothing [bit]."""
_SLIGHT = 3e-3
"""Share of the likeliest row below which a row is left out of account on the way."""
_CERTAIN = 0.97
"""Chance from which an outcome is taken as certain."""
_HARDLY = 1e-6
"""The same of all rows below which one is left out altogether."""
_WORTH_A_LOOK = 0.05
"""Gain from which a look that costs next to nothing comes before everything else [bit]."""
_RARE = 0.02
"""Chance below which an outcome is not followed any further."""


@dataclass(frozen=True)
class Choice:
    """A test with what it is worth.

    :param gain: what it tells of the unit [bit]
    :param minutes: what it takes, opening included
    :param ahead: expected minutes from here on if it is done, lost ones included
    """

    test: int
    gain: float
    minutes: float
    ahead: float


@dataclass(frozen=True)
class Advice:
    """What to do now.

    :param choices: tests in the order of what they are worth; empty if none tells anything
    :param loss: expected minutes lost if one stops here
    """

    choices: tuple[Choice, ...]
    loss: float

    @property
    def stop(self) -> bool:
        """Whether more testing costs more than it saves."""
        return not self.choices or min(one.ahead for one in self.choices) >= self.loss


def advise(
    problem: Problem,
    weights: Array,
    opened: frozenset[int] = frozenset(),
    free: Sequence[int] = (),
    done: frozenset[int] = frozenset(),
    *,
    exactly: bool = True,
) -> Advice:
    """The tests worth doing from here.

    :param weights: chance of each row
    :param free: tests that cost next to nothing: they come first while they tell anything
    :param done: tests that are left out
    :param exactly: whether the best order is looked for where few suspects are left
    """
    problem, weights = problem.merged(weights)
    rows = np.flatnonzero(weights > _HARDLY * weights.max())
    problem, weights = _restricted(problem, rows), weights[rows] / weights[rows].sum()
    loss = problem.loss(weights)
    costs, gains = problem.cost(opened), problem.gains(weights)
    order = [
        int(n)
        for n in np.argsort(-gains / costs, kind="stable")
        if gains[n] > _NOTHING and n not in done
    ]
    looks = [n for n in order if n in free and gains[n] > _WORTH_A_LOOK]
    if looks:
        order = [*looks, *(n for n in order if n not in looks)]
    exact = _exact(problem, weights, opened, order) if exactly and not looks else None
    greedy = _Greedy(problem, np.array(order[:_LOOKED_AT], dtype=np.intp))
    possible = int(np.sum(weights > _SLIGHT * weights.max()))
    depth = next(steps for most, steps in _DEPTHS if possible <= most)
    tried = []
    for test in order[:_PROMISING]:
        then = problem.opened_by(test, opened)
        ahead = float(costs[test]) + sum(
            chance * greedy.minutes(left, then, depth) for chance, left in problem.after(weights, test)
        )
        tried.append(Choice(test, float(gains[test]), float(costs[test]), ahead))
    tried.sort(key=lambda one: (one.test not in looks, one.ahead))
    if exact is not None:
        first = next((one for one in tried if one.test == exact.test), None)
        tried = [exact, *(one for one in tried if one is not first)]
    return Advice(tuple(tried), loss)


class _Greedy:
    """The base rule: the most information for the minutes, for as long as it pays."""

    def __init__(self, problem: Problem, tests: Index) -> None:
        self.problem = problem
        self.tests = tests
        self._known: dict[tuple[bytes, frozenset[int], int], float] = {}

    def minutes(self, weights: Array, opened: frozenset[int], depth: int) -> float:
        """Expected minutes from here, those lost by stopping included."""
        loss = self.problem.loss(weights)
        costs = self.problem.cost(opened)[self.tests]
        if depth == 0 or not len(costs) or loss <= costs.min():
            return loss
        key = (np.round(weights, 4).tobytes(), opened, depth)
        if key not in self._known:
            self._known[key] = min(loss, self._go_on(weights, opened, depth, costs))
        return self._known[key]

    def _go_on(self, weights: Array, opened: frozenset[int], depth: int, costs: Array) -> float:
        rows = np.flatnonzero(weights > _SLIGHT * weights.max())
        gains = _restricted(self.problem, rows).gains(weights[rows], self.tests)
        best = int(np.argmax(gains / costs))
        if gains[best] <= _NOTHING:
            return self.problem.loss(weights)
        test = int(self.tests[best])
        then = self.problem.opened_by(test, opened)
        total = float(costs[best])
        for chance, left in self.problem.after(weights, test):
            deeper = depth - 1 if chance > _RARE else 0
            total += chance * self.minutes(left, then, deeper)
        return total


def _restricted(problem: Problem, rows: Index) -> Problem:
    return Problem(
        problem.unit[rows],
        problem.chances[:, rows],
        problem.minutes,
        problem.access,
        problem.opening,
        problem.price,
    )


def _exact(problem: Problem, weights: Array, opened: frozenset[int], order: list[int]) -> Choice | None:
    """The exactly best test, where few suspects are left and outcomes are certain."""
    tests = order[:_LOOKED_AT]
    rows = np.flatnonzero(weights > 0.002 * weights.sum())
    sure = [t for t in tests if np.all(problem.chances[t, rows].max(axis=1) >= _CERTAIN)]
    if not sure or sure[0] != order[0]:
        return None
    outcome = problem.chances[sure][:, rows].argmax(axis=2)
    patterns = np.concatenate([problem.unit[rows][None], outcome])
    _, first, which = np.unique(patterns, axis=1, return_index=True, return_inverse=True)
    if not 2 <= len(first) <= MOST:
        return None
    share = np.bincount(which.reshape(-1), weights[rows])
    costs = problem.minutes[sure]
    closed = [n for n in range(len(problem.opening)) if n not in opened]
    certain = Certain(
        (share / share.sum()).tolist(),
        problem.unit[rows][first].tolist(),
        outcome[:, first].tolist(),
        costs.tolist(),
        [sum(1 << place for place, n in enumerate(closed) if problem.access[t, n]) for t in sure],
        [float(problem.opening[n]) for n in closed],
        problem.price,
    )
    exact = Exact(certain)
    best = exact.test()
    if best is None:
        return None
    test = sure[best]
    gain = float(problem.gains(weights, np.array([test]))[0])
    return Choice(test, gain, float(problem.cost(opened)[test]), exact.minutes())
