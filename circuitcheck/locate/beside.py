"""Which faults could stand beside one that explains every reading but one, before any is fitted.

Such a reading is a misreading, or there is a second fault that shows in it alone. Each fault is put
beside those that lead, their values held where they fit, and what it moves is weighed at once with the
covariance that the leading one has (a quadratic form, its matrix inverted once). What is bounded is how
a pair stands with no number misread: one beside which the odd reading is a misreading still only adds
the small chance of a second fault that nothing speaks for, and is not looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import DOUBTED, Evidence
from circuitcheck.locate.joined import PAIRED, further
from circuitcheck.locate.likelihood import precision, weigh
from circuitcheck.locate.lines import Lines, Predicted
from circuitcheck.locate.pairing import Alone, Pair, between
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool, Index

_BASES = 3
"""Faults that others are put beside, each of another kind."""
_BEHIND = 9.2
"""Log of the standing below the best of all at which nobody is spoken of any more."""
_UNSURE = 15.0
"""Log of the standing by which a pair may be better than what is worked out here: what it moves far has
a spread of its own, where the base has next to none."""


def beside(
    evidence: Evidence, coarse: Coarse, known: Alone, standings: Sequence[Standing]
) -> list[Pair]:
    """The pairs that, with no number misread, could stand near the best single fault.

    :param coarse: the single faults
    :param standings: most likely first; the first explains all readings but one
    """
    singles, lines = coarse.suspects, Lines(evidence, coarse)
    top = standings[0].log_weight
    numbers = {id(one): number for number, one in enumerate(singles)}
    found = []
    for base in _bases(standings, numbers):
        number = numbers[id(base.suspect)]
        (fault,) = base.suspect.faults
        partners = [
            n for n in known.kinds if singles[n].faults and singles[n].faults[0].where != fault.where
        ]
        grid = np.log([base.value]) if base.suspect.unknown else np.zeros(0)
        gain = _Gain(evidence, base, lines.at({number: grid}))
        held = [_held_beside(base, singles[n]) for n in partners]
        left = _bounds(evidence, gain, held, top - _BEHIND - _UNSURE)
        found += [Pair(partners[n], number, value, base.value) for n, value in left]
    return list({frozenset((one.one, one.other)): one for one in reversed(found)}.values())


def _bases(standings: Sequence[Standing], numbers: dict[int, int]) -> list[Standing]:
    """The leading faults that last, one of each kind."""
    kinds: dict[int, Standing] = {}
    for one in standings:
        if one.log_weight < standings[0].log_weight - _BEHIND or len(kinds) == _BASES:
            break
        if one.suspect.faults and id(one.suspect) in numbers:
            kinds.setdefault(id(one.predicted), one)
    return list(kinds.values())


def _bounds(
    evidence: Evidence, weight: _Gain, pairs: Sequence[Suspect], least: float
) -> list[tuple[int, float]]:
    """Of the pairs with a base that could stand at some height: their number, and their value there.

    The tests of the odd readings are looked at first, then all tests of what is left.
    """
    base, coarse = weight.base, Coarse(evidence.harness, pairs)
    # What the base paid for its misreading is not due where the second fault explains that.
    chance = np.log([max(one.weight, 1e-300) for one in pairs]) + base.log_evidence + weight.paid
    alive = np.ones(len(pairs), dtype=bool)
    values = np.ones(len(pairs))
    odd = _odd_benches(evidence, base)
    for benches in (odd, range(len(evidence.benches))):
        if not alive.any():
            break
        rows, owner, logs = _rows(evidence, coarse, benches, alive, base)
        gain, share = weight.of(rows, owner)
        logs = logs + share * np.append(np.diff(logs), 0.0)
        order = np.lexsort((gain, owner))
        last = order[np.append(np.flatnonzero(np.diff(owner[order])), len(order) - 1)]
        mine = owner[last]
        values[mine] = np.exp(logs[last])
        alive[mine] = gain[last] + chance[mine] > least
    return [(n, float(values[n])) for n in np.flatnonzero(alive).tolist()]


def _odd_benches(evidence: Evidence, base: Standing) -> list[int]:
    """The numbers of the tests in which a reading is likely to be wrong."""
    ends = np.cumsum([len(bench.observations) for bench in evidence.benches])
    odd = np.flatnonzero(base.misread > DOUBTED)
    return sorted(set(np.searchsorted(ends, odd, side="right").tolist()))


def _held_beside(base: Standing, other: Suspect) -> Suspect:
    """A pair with the value of the base held where it fits."""
    (fault,) = base.suspect.faults
    held = ((fault, base.value, 0.0),) if fault.severity else ()
    weight = PAIRED * base.suspect.weight * other.weight
    return Suspect((*other.faults, fault), weight, further(base.suspect.fuses, other.fuses), held)


def _rows(
    evidence: Evidence, coarse: Coarse, benches: Sequence[int], alive: Bool, base: Standing
) -> tuple[Array, Index, Array]:
    """What pairs predict at close values, in other tests than those asked for what their base does.

    :returns: readings (rows, readings), and of each row the pair and the log of its value
    """
    plain = [n for n in coarse.plain if alive[n]]
    valued = [n for n in coarse.valued if alive[n]]
    flat = np.tile(base.predicted, (len(plain), 1))
    block = np.tile(base.predicted, (len(valued), coarse.logs.shape[1], 1))
    ends = np.cumsum([0, *(len(bench.observations) for bench in evidence.benches)])
    for number in benches:
        columns = slice(ends[number], ends[number + 1])
        flat[:, columns], block[..., columns] = coarse.values(evidence.benches[number], alive)
    pieces = [(n, np.zeros(1), one[None]) for n, one in zip(plain, flat, strict=True)]
    logs = coarse.logs[alive[coarse.valued]]
    pieces += [(n, *between(grid, one)) for n, grid, one in zip(valued, logs, block, strict=True)]
    owner = np.repeat([n for n, _, _ in pieces], [len(grid) for _, grid, _ in pieces])
    rows, grids = (np.concatenate([piece[which] for piece in pieces]) for which in (2, 1))
    return rows, owner, grids


class _Gain:
    """How much log-likelihood rows of readings have over that of a base with no number misread."""

    def __init__(self, evidence: Evidence, base: Standing, at_base: Predicted) -> None:
        self._evidence = evidence
        numbers = np.isfinite(evidence.measured) & np.isfinite(base.predicted) & ~evidence.is_word
        self._numbers, self._others = np.flatnonzero(numbers), np.flatnonzero(~numbers)
        inverse = precision(evidence, at_base.values, at_base.moves)
        weighed = weigh(evidence, at_base.values, at_base.moves)
        self._inverse = inverse[self._numbers][:, self._numbers]
        self.base = base
        self.paid = float(weighed.straight[0] - weighed.total[0])
        """What the base lacks of its log-likelihood where no number may be misread."""

    def of(self, rows: Array, owner: Index) -> tuple[Array, Array]:
        """The most from each row to the next of the same pair, and at which share of the way that is.

        A value is read more closely than the rows lie, so that what lies between them counts.

        :param rows: readings (rows, readings), those of a pair by its value
        :param owner: the pair of each (rows,)
        """
        both = np.concatenate([self.base.predicted[None], rows])
        missing = self._evidence.measured[self._numbers] - both[:, self._numbers]
        # Where a number was read and a line opens or a relay buzzes.
        opened = ~np.isfinite(missing)
        missing = np.where(opened, 0.0, missing)
        logs = rough_logs(self._evidence, both, deviations(self._evidence, both))
        more = logs[1:] - logs[0]
        others = more[:, self._others].sum(axis=1)
        others += np.where(opened[1:], more[:, self._numbers], 0.0).sum(axis=1)
        onward = (owner[1:] == owner[:-1]) & ~opened[1:-1].any(axis=1) & ~opened[2:].any(axis=1)
        square, share = _least(missing[1:], self._inverse, onward)
        others[:-1] = np.where(share[:-1] > 0, np.maximum(others[:-1], others[1:]), others[:-1])
        base = float(missing[0] @ self._inverse @ missing[0])
        return 0.5 * (base - square) + others, share


def _least(rows: Array, inverse: Array, onward: Bool) -> tuple[Array, Array]:
    """The least of a quadratic form on the straight way from each row to the next, and where on it.

    :param rows: (rows, readings)
    :param inverse: its matrix (readings, readings)
    :param onward: whether there is a way to the next, of each row but the last (rows - 1,)
    :returns: the form, and the share of the way, 0 to 1 (rows,)
    """
    weighted = rows @ inverse
    square = np.sum(weighted * rows, axis=1)
    cross = np.sum(weighted[:-1] * rows[1:], axis=1)
    length = square[:-1] - 2 * cross + square[1:]
    onward = onward & (length > 0)
    there = np.clip((square[:-1] - cross) / np.where(onward, length, 1.0), 0.0, 1.0)
    share = np.append(np.where(onward, there, 0.0), 0.0)
    square[:-1] += share[:-1] * (2 * (cross - square[:-1]) + share[:-1] * length)
    return square, share
