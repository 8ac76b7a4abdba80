"""A planning problem in the abstract: suspects, what each would give in each test, and minutes.

Nothing here knows of circuits. Rows are suspects (at one value each); what counts is the unit that
would be put right, so that two faults with one remedy need no telling apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from circuitcheck.physics.branch import Array

Index = NDArray[np.intp]
BEGIN = -1
"""In place of a test done last: none was, the vehicle is as it stands at first."""


@dataclass(frozen=True)
class Ready:
    """What need not be done again: how the vehicle stands between two tests.

    :param opened: places that are open
    :param last: the test done last, whose set-up still stands
    """

    opened: frozenset[int] = frozenset()
    last: int = BEGIN


AT_FIRST = Ready()
"""Nothing is open, and no test has been done."""


@dataclass(frozen=True)
class Problem:
    """What there is to choose from.

    :param unit: number of what each row asks to put right (rows,)
    :param chances: chance of each outcome of each test under each row (tests, rows, outcomes),
        filled up with zeros where a test has fewer outcomes
    :param minutes: of each test, access left out (tests,)
    :param access: which places each test needs open (tests, places)
    :param opening: minutes to open each place, once (places,)
    :param price: minutes lost by putting right what was not at fault
    :param spared: minutes of each test that the set-up of another spares, if it stands by then; last
        comes what the set-up spares in which the vehicle is at first (tests + 1, tests)
    """

    unit: Index
    chances: Array
    minutes: Array
    access: NDArray[np.bool_]
    opening: Array
    price: float
    spared: Array | None = None

    def cost(self, ready: Ready) -> Array:
        """Minutes of each test from how the vehicle stands (tests,)."""
        closed = np.array([n not in ready.opened for n in range(len(self.opening))], dtype=bool)
        found: Array = self.minutes + self.access @ (self.opening * closed)
        return found if self.spared is None else found - self.spared[ready.last]

    def ready_after(self, test: int, ready: Ready) -> Ready:
        """How the vehicle stands after a test."""
        return Ready(ready.opened | {int(n) for n in np.flatnonzero(self.access[test])}, test)

    def of_rows(self, rows: Index) -> Problem:
        """The same with some rows alone."""
        return replace(self, unit=self.unit[rows], chances=self.chances[:, rows])

    def by_unit(self, weights: Array) -> Array:
        """Chance of each unit (units,)."""
        found = np.asarray(np.bincount(self.unit, weights), dtype=np.float64)
        return found / float(found.sum())

    def loss(self, weights: Array) -> float:
        """Minutes still to be lost if one stops here and puts units right in the order of chance.

        The i-th of them has had i in vain before it (J. B. Kadane and H. A. Simon's order for
        equal costs; from memory).
        """
        chances = np.sort(self.by_unit(weights))[::-1]
        return float(self.price * chances @ np.arange(len(chances)))

    def gains(self, weights: Array, tests: Index | None = None) -> Array:
        """What each test tells of the unit, on average [bit] (tests,)."""
        chances = self.chances if tests is None else self.chances[tests]
        return information(self.unit, weights, chances)

    def after(self, weights: Array, test: int) -> list[tuple[float, Array]]:
        """The outcomes of a test: chance of each, and the weights that it leaves."""
        joint = weights[:, None] * self.chances[test]
        total = joint.sum(axis=0)
        return [(float(total[n]), joint[:, n] / total[n]) for n in np.flatnonzero(total > 0)]

    def merged(self, weights: Array) -> tuple[Problem, Array]:
        """The same with one row for all that are alike, and the weights of those rows."""
        first, kind = self._kinds
        return self.of_rows(first), np.bincount(kind, weights, minlength=len(first)).astype(np.float64)

    @cached_property
    def _kinds(self) -> tuple[Index, Index]:
        """The first row of each kind, and the kind of each row."""
        rows = self.chances.transpose(1, 0, 2).reshape(len(self.unit), -1)
        return kinds_of(np.concatenate([self.unit[:, None], rows], axis=1))


def kinds_of(rows: Array) -> tuple[Index, Index]:
    """Rows that are the same to a millionth: the first of each kind, and the kind of each row."""
    return same_rows(np.round(rows, 6))


def same_rows(rows: Array) -> tuple[Index, Index]:
    """Rows that are the same: the first of each kind, and the kind of each row."""
    found: dict[bytes, int] = {}
    kind = np.array([found.setdefault(row.tobytes(), len(found)) for row in rows], dtype=np.intp)
    first = np.full(len(found), len(rows), dtype=np.intp)
    np.minimum.at(first, kind, np.arange(len(rows)))
    return first, kind


def information(unit: Index, weights: Array, chances: Array) -> Array:
    """What each test tells of the unit, on average [bit] (tests,).

    The mutual information of unit and outcome (C. E. Shannon 1948).

    :param unit: number of the unit of each row (rows,)
    :param chances: of each outcome of each test under each row (tests, rows, outcomes)
    """
    member = np.zeros((int(unit.max()) + 1, len(unit)))
    member[unit, np.arange(len(unit))] = weights / weights.sum()
    member = member[member.any(axis=1)]
    joint = member @ chances
    found: Array = (
        entropy(joint.sum(axis=1)).sum(axis=-1)
        + entropy(member.sum(axis=1)).sum()
        - entropy(joint).sum(axis=(1, 2))
    )
    return np.maximum(found, 0.0)


def entropy(chances: Array) -> Array:
    """The share of each chance in the entropy [bit]."""
    found: Array = -chances * np.log2(np.maximum(chances, 1e-300))
    return found
