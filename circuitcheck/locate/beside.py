"""Which faults could stand beside one that explains every reading but one, before any is fitted.

Such a reading is a misreading, or there is a second fault that shows in it alone. Each fault is put
beside those that lead, their values held where they fit, and what it moves is weighed at once with the
covariance that the leading one has (a quadratic form, its matrix inverted once). A second fault that
does not bring the odd reading nearer cannot pay for its small chance beforehand, and is not looked at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from circuitcheck.locate.evidence import DOUBTED, Evidence
from circuitcheck.locate.joined import PAIRED, further
from circuitcheck.locate.likelihood import precision
from circuitcheck.locate.pairing import Alone, Pair, between
from circuitcheck.locate.suspects import Suspect, Trial, predict
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.locate.weighing import Coarse, Standing
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool, Index

_BASES = 3
"""Faults that others are put beside, each of another kind."""
_BEHIND = 9.2
"""Log of the standing below the best of all at which nobody is spoken of any more."""


def beside(
    evidence: Evidence, singles: Sequence[Suspect], known: Alone, standings: Sequence[Standing]
) -> list[Pair]:
    """The pairs that could stand near the best single fault.

    :param standings: most likely first; the first explains all readings but one
    """
    top = standings[0].log_weight
    numbers = {id(one): number for number, one in enumerate(singles)}
    found = []
    for base in _bases(standings, numbers):
        number = numbers[id(base.suspect)]
        (fault,) = base.suspect.faults
        partners = [n for n in known.kinds
                    if singles[n].faults and singles[n].faults[0].where != fault.where]  # fmt: skip
        left = _bounds(evidence, singles, base, partners, top - _BEHIND)
        found += [Pair(n, number, value, base.value) for n, value in left]
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
    evidence: Evidence, singles: Sequence[Suspect], base: Standing, partners: Sequence[int],
    least: float,
) -> list[tuple[int, float]]:  # fmt: skip
    """Of the faults that could stand at some height beside a base: their number, and their value there.

    The tests of the odd readings are looked at first, then all tests of what is left.
    """
    pairs = [_held_beside(base, singles[n]) for n in partners]
    coarse = Coarse(evidence.harness, pairs)
    weight = _Gain(evidence, base)
    # What the base paid for its misreading is not due where the second fault explains that.
    paid = math.log(max(1.0 - weight.any_misread, 1e-300))
    chance = np.log([max(one.weight, 1e-300) for one in pairs]) + base.log_evidence + paid
    alive = np.ones(len(pairs), dtype=bool)
    values = np.ones(len(pairs))
    odd = _odd_benches(evidence, base)
    for benches in (odd, range(len(evidence.benches))):
        if not alive.any():
            break
        rows, owner, logs = _rows(evidence, coarse, benches, alive, base)
        gain = weight.of(rows)
        order = np.lexsort((gain, owner))
        last = order[np.append(np.flatnonzero(np.diff(owner[order])), len(order) - 1)]
        mine = owner[last]
        values[mine] = np.exp(logs[last])
        alive[mine] = gain[last] + chance[mine] > least
    return [(partners[n], float(values[n])) for n in np.flatnonzero(alive).tolist()]


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

    def __init__(self, evidence: Evidence, base: Standing) -> None:
        self._evidence = evidence
        words = np.array([seen.is_word for seen in evidence.seen])
        numbers = np.isfinite(evidence.measured) & np.isfinite(base.predicted) & ~words
        self._numbers, self._others = np.flatnonzero(numbers), np.flatnonzero(~numbers)
        at_base = predict(evidence, [base.suspect], [Trial(0, np.array([base.value]))])
        inverse = precision(evidence, at_base.values, at_base.moves())
        self._inverse = inverse[self._numbers][:, self._numbers]
        self._base = base.predicted[None]
        self.any_misread = float(base.misread[self._numbers].sum())

    def of(self, rows: Array) -> Array:
        """Of readings (rows, readings)."""
        both = np.concatenate([self._base, rows])
        missing = self._evidence.measured[self._numbers] - both[:, self._numbers]
        # Where a number was read and a line opens or a relay buzzes.
        opened = ~np.isfinite(missing)
        missing = np.where(opened, 0.0, missing)
        square = np.sum((missing @ self._inverse) * missing, axis=1)
        logs = rough_logs(self._evidence, both, deviations(self._evidence, both))
        more = logs[1:] - logs[0]
        found: Array = 0.5 * (square[0] - square[1:]) + more[:, self._others].sum(axis=1)
        found += np.where(opened[1:], more[:, self._numbers], 0.0).sum(axis=1)
        return found
