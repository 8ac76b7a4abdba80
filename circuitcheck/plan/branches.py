"""Which readings decide where a test leads: the fewest that part one way on from the others.

What leads to one place is told by as few readings as will do, as lines of which the first that fits
counts: ``left fan slow``, or ``about 0 V at S1.2 and about 12 V at F1.out``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import numpy.typing as npt

from circuitcheck.physics.branch import Array
from circuitcheck.plan.bundle import ELSE, Cell
from circuitcheck.plan.outcomes import Outcomes

Line = Mapping[int, tuple[int, ...]]
"""The outcomes of some readings that must all be so, by the number of the reading."""
Mask = npt.NDArray[np.bool_]
"""Some of the joint outcomes, an axis a reading."""
_MEANT = 0.05
"""Share that a line may take of what was not meant, so that it needs a reading less."""


@dataclass(frozen=True)
class Way:
    """One way on from a test.

    :param lines: that lead there; any of them will do, and none if it is all that is left
    :param weights: chance of each row together with coming this way (rows,)
    """

    lines: tuple[Line, ...]
    weights: Array


@dataclass
class Ways:
    """Parts the joint outcomes of a test among the ways on, one way after the other.

    :param weights: chance of each row before the test (rows,)
    """

    outcomes: Sequence[Outcomes]
    weights: Array
    chances: Array = field(init=False)
    free: Mask = field(init=False)

    def __post_init__(self) -> None:
        joint = np.ones((len(self.weights), 1))
        for one in self.outcomes:
            joint = (joint[:, :, None] * one.chances[:, None, :]).reshape(len(joint), -1)
        self.chances = joint.reshape(len(joint), *(one.chances.shape[1] for one in self.outcomes))
        self.free = np.ones(self.chances.shape[1:], dtype=bool)

    def part(self, cells: Sequence[Sequence[Cell]]) -> list[Way]:
        """The way of each group of cells, in their order; what is left over goes the last way."""
        *told, _ = cells
        found = []
        for number, mine in enumerate(told):
            taken = np.zeros_like(self.free)
            for others in (*cells[:number], *cells[number + 1 :]):
                for cell in others:
                    if cell and ELSE not in cell:
                        taken[cell] = True
            lines = tuple(self._lines([one for one in mine if ELSE not in one], taken))
            lines += tuple(
                {place: (one,) for place, one in enumerate(cell) if one != ELSE}
                for cell in mine
                if ELSE in cell
            )
            found.append(Way(lines, self._claimed(lines)))
        return [*found, Way((), self._weights(self.free))]

    def _claimed(self, lines: Sequence[Line]) -> Array:
        mask: Mask = np.zeros_like(self.free)
        for line in lines:
            mask |= self._mask(line)
        mask &= self.free
        self.free &= ~mask
        return self._weights(mask)

    def _weights(self, mask: Mask) -> Array:
        each = self.chances.reshape(len(self.weights), -1)[:, mask.ravel()]
        found: Array = self.weights * each.sum(axis=1)
        return found

    def _mask(self, line: Line) -> Mask:
        mask: Mask = np.ones(self.free.shape, dtype=bool)
        for place, chosen in line.items():
            allowed = np.zeros(self.free.shape[place], dtype=bool)
            allowed[list(chosen)] = True
            shape = [1] * self.free.ndim
            shape[place] = -1
            mask &= allowed.reshape(shape)
        return mask

    def _lines(self, cells: Sequence[Cell], taken: Mask) -> list[Line]:
        """The shortest lines that hold these cells and none of the others."""
        if not cells:
            return []
        meant = np.zeros_like(self.free)
        for cell in cells:
            meant[cell] = True
        least = self._weights(meant).sum() * _MEANT
        places = range(len(cells[0]))
        for size in range(1, len(cells[0]) + 1):
            for some in combinations(places, size):
                line = {place: tuple(sorted({one[place] for one in cells})) for place in some}
                mask = self._mask(line)
                more = mask & self.free & ~meant
                if not (mask & taken & self.free).any() and self._weights(more).sum() <= least:
                    return [self._rounded(line, meant, taken, least)]
        if len(cells) == 1:
            line = dict(enumerate((one,) for one in cells[0]))
            return [self._rounded(line, meant, taken, least)]
        return [line for some in _split(cells) for line in self._lines(some, taken)]

    def _rounded(self, line: Line, meant: Mask, taken: Mask, least: float) -> Line:
        """With what lies between its outcomes, if that hardly ever comes: one range in place of two."""
        found = dict(line)
        for place, chosen in line.items():
            more = {**found, place: tuple(range(chosen[0], chosen[-1] + 1))}
            mask = self._mask(more) & self.free
            if not (mask & taken).any() and self._weights(mask & ~meant).sum() <= least:
                found = more
        return found


def _split(cells: Sequence[Cell]) -> list[list[Cell]]:
    """By the outcome of the reading in which they differ least."""
    places = [place for place in range(len(cells[0])) if len({one[place] for one in cells}) > 1]
    place = min(places, key=lambda one: len({cell[one] for cell in cells}))
    groups: dict[int, list[Cell]] = {}
    for cell in cells:
        groups.setdefault(cell[place], []).append(cell)
    return list(groups.values())
