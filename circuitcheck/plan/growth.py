"""How the tree of tests grows: the likeliest place first, until enough tests are thought out."""

from __future__ import annotations

from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import count

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.plan.asked import SURE
from circuitcheck.plan.bundle import REST, Cell
from circuitcheck.plan.planner import Outlook
from circuitcheck.plan.policy import Choice, advise
from circuitcheck.plan.problem import Problem, Ready

TRIED = 16
"""Tests that are thought out for each page; those that settle least are left to ``next``."""
_LITTLE = 0.1
"""Share of its cases that a last test must settle to have a place on the page."""
_SELDOM = 0.015
"""Chance that each test from some place on must settle on average to have one."""
_RARE = 0.015
"""Chance below which a branch is not followed, however much room there is."""


@dataclass
class Bud:
    """A place in the tree while it grows.

    :param ready: how the vehicle stands
    :param chance: of coming here
    :param settled: whether it is a verdict
    :param done: tests on the way here
    :param choice: the test done here, once it is known
    :param outcomes: with their chances and the buds they lead to
    """

    weights: Array
    ready: Ready
    chance: float
    settled: bool
    done: frozenset[int] = frozenset()
    choice: Choice | None = None
    outcomes: list[tuple[Cell, float, Bud]] = field(default_factory=list)


def cut_back(root: Bud, most: int) -> None:
    """Leave out chains of tests that hardly ever settle anything, then the last tests that settle least,
    until so many are left and each settles something."""
    _cut_chains(root)
    while grown := _grown(root):
        last = [bud for bud in grown if all(then.choice is None for _, _, then in bud.outcomes)]
        least = min(last, key=_settles)
        if len(grown) <= most and _settles(least) > _LITTLE * least.chance:
            return
        least.choice, least.outcomes = None, []


def _cut_chains(bud: Bud) -> None:
    """From the ends on, leave out all tests from a place on that settle little for their number."""
    for _, _, then in bud.outcomes:
        _cut_chains(then)
    tests = _grown(bud)
    if tests and sum(map(_settles, tests)) < _SELDOM * len(tests):
        bud.choice, bud.outcomes = None, []


def _settles(bud: Bud) -> float:
    """Chance of coming here and of a verdict from the test done here."""
    return sum(then.chance for _, _, then in bud.outcomes if then.settled)


def _grown(bud: Bud) -> list[Bud]:
    """All places from here on at which a test stands."""
    below = [one for _, _, then in bud.outcomes for one in _grown(then)]
    return [bud, *below] if bud.choice else below


@dataclass
class Growth:
    """Grows the likeliest bud first."""

    outlook: Outlook
    problem: Problem
    heap: list[tuple[float, int, Bud]] = field(default_factory=list)
    order: count[int] = field(default_factory=count)

    def grow(self, root: Bud, most: int | None, depth: int | None) -> None:
        """Until the page is full."""
        self._offer(root)
        made = 0
        while self.heap and (most is None or made < most):
            _, _, bud = heappop(self.heap)
            if (depth is not None and len(bud.done) >= depth) or bud.chance < _RARE:
                continue
            free = [n for n, one in enumerate(self.outlook.planned) if one.free]
            advice = advise(self.problem, bud.weights, bud.ready, free, bud.done)
            if advice.stop:
                bud.settled = True
                continue
            made += 1
            bud.choice = advice.choices[0]
            bud.outcomes = self._outcomes(bud, bud.choice)

    def _outcomes(self, bud: Bud, choice: Choice) -> list[tuple[Cell, float, Bud]]:
        planned = self.outlook.planned[choice.test]
        then = self.problem.ready_after(choice.test, bud.ready)
        possible = np.flatnonzero(bud.weights @ self.problem.chances[choice.test] > 0)
        found = []
        for place, (share, left) in zip(
            possible, self.problem.after(bud.weights, choice.test), strict=True
        ):
            sure = bool(self.problem.by_unit(left).max() >= SURE)
            next_ = Bud(left, then, bud.chance * share, sure, bud.done | {choice.test})
            found.append((planned.cells[place], share, next_))
            if not sure and planned.cells[place] != REST:
                self._offer(next_)  # what is told apart by nothing, 'next' weighs better as it was read
        return found

    def _offer(self, bud: Bud) -> None:
        heappush(self.heap, (-bud.chance, next(self.order), bud))
