"""The best order of tests, exactly: dynamic programming over what is still possible.

For outcomes that are certain once the suspect is known. States are sets of suspects and of opened
places; the number of sets doubles with each suspect, so this is for about a dozen of them
(K. R. Pattipati, M. G. Alexandridis, IEEE Trans. SMC 20, 1990, use AND/OR search for more).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

MOST = 12
"""Suspects up to which the exact order is looked for."""


@dataclass(frozen=True)
class Certain:
    """A problem with certain outcomes.

    :param weights: chance of each suspect
    :param unit: what each asks to put right
    :param outcome: of each test under each suspect, ``outcome[test][suspect]``
    :param minutes: of each test
    :param access: places that each test needs open, as bits
    :param opening: minutes to open each place
    :param price: minutes lost by putting right what was not at fault; infinite if it must not be
    :param spared: minutes that the set-up of each test spares the others while it stands,
        ``spared[before][test]``; last what the set-up spares that stands at first
    """

    weights: Sequence[float]
    unit: Sequence[int]
    outcome: Sequence[Sequence[int]]
    minutes: Sequence[float]
    access: Sequence[int] = ()
    opening: Sequence[float] = ()
    price: float = math.inf
    spared: Sequence[Sequence[float]] | None = None


class Exact:
    """The least expected minutes from every state, worked out when asked for."""

    def __init__(self, problem: Certain) -> None:
        self.problem = problem
        self.everyone = (1 << len(problem.weights)) - 1
        self._known: dict[tuple[int, int, int], tuple[float, int]] = {}
        self._parts = [_split(row) for row in problem.outcome]
        self._kinds, self._kind_of = _kinds_of_set_ups(problem)

    def minutes(self) -> float:
        """Expected minutes from the beginning, those lost by stopping too early included."""
        return self._best(self.everyone, 0, self._kind_of[-1])[0] / sum(self.problem.weights)

    def test(self) -> int | None:
        """The best first test; None if it is best to stop."""
        number = self._best(self.everyone, 0, self._kind_of[-1])[1]
        return None if number < 0 else number

    def _weight(self, alive: int) -> float:
        return sum(w for n, w in enumerate(self.problem.weights) if alive >> n & 1)

    def _loss(self, alive: int) -> float:
        """Weighted minutes lost by stopping here."""
        units: dict[int, float] = {}
        for number, unit in enumerate(self.problem.unit):
            if alive >> number & 1:
                units[unit] = units.get(unit, 0.0) + self.problem.weights[number]
        order = sorted(units.values(), reverse=True)
        wrong = sum(place * weight for place, weight in enumerate(order))
        return self.problem.price * wrong if wrong else 0.0

    def _best(self, alive: int, opened: int, stands: int) -> tuple[float, int]:
        """Weighted minutes and test from a state.

        :param stands: the kind of set-up that stands
        """
        key = (alive, opened, stands)
        if key in self._known:
            return self._known[key]
        best = (self._loss(alive), -1)
        self._known[key] = best  # while its own tests are looked at: none leads back to it
        weight = self._weight(alive)
        for test, parts in enumerate(self._parts):
            left = [alive & part for part in parts if alive & part]
            if len(left) < 2:
                continue
            needs = self.problem.access[test] if self.problem.access else 0
            minutes = self.problem.minutes[test] - self._kinds[stands][test]
            total = weight * (minutes + self._opening(needs & ~opened))
            for one in left:
                if total >= best[0]:
                    break
                total += self._best(one, opened | needs, self._kind_of[test])[0]
            if total < best[0]:
                best = (total, test)
        self._known[key] = best
        return best

    def _opening(self, needed: int) -> float:
        return sum(m for n, m in enumerate(self.problem.opening) if needed >> n & 1)


def _kinds_of_set_ups(problem: Certain) -> tuple[list[tuple[float, ...]], list[int]]:
    """Set-ups that spare the same are one kind: what each kind spares, and the kind after each test.

    What a test would spare itself counts for nothing: done again it tells nothing.
    """
    tests = range(len(problem.outcome))
    rows = problem.spared or [[0.0] * len(tests)] * (len(tests) + 1)
    kinds: dict[tuple[float, ...], int] = {}
    kind_of = [
        kinds.setdefault(tuple(0.0 if n == test else row[test] for test in tests), len(kinds))
        for n, row in enumerate(rows)
    ]
    return list(kinds), kind_of


def _split(outcomes: Sequence[int]) -> list[int]:
    """The suspects of each outcome, as bits."""
    found: dict[int, int] = {}
    for number, outcome in enumerate(outcomes):
        found[outcome] = found.get(outcome, 0) | 1 << number
    return list(found.values())
