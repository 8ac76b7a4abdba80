"""Choosing the next test: information for minutes, with one exact step on top.

Greedy gain alone is known to cost up to half as much again as the best order; trying each promising
test and following the greedy rule from there to the end (rollout) takes most of that away (F. Tu,
K. R. Pattipati, IEEE Trans. SMC-A 33, 2003; from memory). While about a dozen suspects remain the best
order is found exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.plan.exact import MOST, Certain, Exact
from circuitcheck.plan.problem import AT_FIRST, Problem, Ready
from circuitcheck.plan.rollout import NOTHING, Rollout

_PROMISING = 12
"""Tests that are tried out one step ahead."""
_LOOKED_AT = 40
"""Tests that the greedy rule chooses from on the way."""
_CERTAIN = 0.97
"""Chance from which an outcome is taken as certain."""
_HARDLY = 1e-6
"""The same of all rows below which one is left out altogether."""
_EQUAL = 0.05
"""Share by which the minutes ahead of two tests may differ and count as equal: no closer does following
the greedy rule come to what is to be expected."""
_WORTH_A_LOOK = 0.05
"""Gain from which a look that costs next to nothing can come before everything else [bit]."""


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
    ready: Ready = AT_FIRST,
    free: Sequence[int] = (),
    done: frozenset[int] = frozenset(),
    *,
    exactly: bool = True,
) -> Advice:
    """The tests worth doing from here.

    :param weights: chance of each row
    :param ready: how the vehicle stands
    :param free: looks that cost next to nothing: they come first while no other test tells more for
        its minutes
    :param done: tests that are left out
    :param exactly: whether the best order is looked for where few suspects are left
    """
    problem, weights = problem.merged(weights)
    rows = np.flatnonzero(weights > _HARDLY * weights.max())
    problem, weights = problem.of_rows(rows), weights[rows] / weights[rows].sum()
    loss = problem.loss(weights)
    costs, gains = problem.cost(ready), problem.gains(weights)
    order = [
        int(n) for n in np.argsort(-gains / costs, kind="stable") if gains[n] > NOTHING and n not in done
    ]
    looks = _looks_first(order, gains / costs, gains, free)
    if looks:
        order = [*looks, *(n for n in order if n not in looks)]
    exact = _exact(problem, weights, ready, order) if exactly and not looks else None
    rollout = Rollout(problem, np.array(order[:_LOOKED_AT], dtype=np.intp), ready)
    tried = [
        Choice(test, float(gains[test]), float(costs[test]), rollout.ahead(weights, number))
        for number, test in enumerate(order[:_PROMISING])
    ]
    least = min((one.ahead for one in tried), default=0.0)
    tried.sort(key=lambda one: (one.test not in looks, *_in_order(one, least)))
    if exact is not None:
        first = next((one for one in tried if one.test == exact.test), None)
        tried = [exact, *(one for one in tried if one is not first)]
    return Advice(tuple(tried), loss)


def _in_order(one: Choice, least: float) -> tuple[float, float]:
    """What leads to the end as quickly as can be told comes first, the quickest to do before others.

    :param least: minutes ahead of the best
    """
    if one.ahead <= (1.0 + _EQUAL) * least:
        return 0.0, one.minutes
    return 1.0, one.ahead


def _looks_first(order: list[int], rates: Array, gains: Array, free: Sequence[int]) -> list[int]:
    """Looks that cost next to nothing and come before anything else: those that tell something, and
    no less for their minutes than the best of the other tests."""
    best = max((rates[n] for n in order if n not in free), default=0.0)
    return [n for n in order if n in free and gains[n] > _WORTH_A_LOOK and rates[n] >= best]


def _exact(problem: Problem, weights: Array, ready: Ready, order: list[int]) -> Choice | None:
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
    closed = [n for n in range(len(problem.opening)) if n not in ready.opened]
    spared = None if problem.spared is None else problem.spared[[*sure, ready.last]][:, sure].tolist()
    certain = Certain(
        (share / share.sum()).tolist(),
        problem.unit[rows][first].tolist(),
        outcome[:, first].tolist(),
        costs.tolist(),
        [sum(1 << place for place, n in enumerate(closed) if problem.access[t, n]) for t in sure],
        [float(problem.opening[n]) for n in closed],
        problem.price,
        spared,
    )
    exact = Exact(certain)
    best = exact.test()
    if best is None:
        return None
    test = sure[best]
    gain = float(problem.gains(weights, np.array([test]))[0])
    return Choice(test, gain, float(problem.cost(ready)[test]), exact.minutes())
