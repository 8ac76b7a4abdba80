"""What a fault that comes and goes may be like in each test: gone, open, or a bad contact.

A contact that is loose is not always one or the other: between the two it has some ohms, and others
in the next test. So every test is asked by itself, and the ohms of one test say nothing of the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.lines import Lines, Predicted
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import (
    FIRST,
    Place,
    Sound,
    best_places,
    deviations,
    fine_grid,
    posterior,
    rough_logs,
)
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool

GONE, OPEN, BAD = range(3)
"""What a contact is in a test: as it should be, open, or there with too many ohms."""
_CHANCES = {False: (0.5, 0.5, 0.0), True: (0.5, 0.375, 0.125)}
"""Chance of each, by whether ohms of it are among the faults; common practice, no source."""
_ALIKE = 1e-9
"""Log-likelihoods no further apart are those of states that predict the same."""


@dataclass(frozen=True)
class Twin:
    """A fault that comes and goes, and the numbers of the lasting ones that it is while it is there.

    :param open: the one that lets nothing through
    :param bad: the one of too many ohms at the same place, None where there is none
    """

    suspect: Suspect
    open: int
    bad: int | None


def twins(singles: Sequence[Suspect], passing: Sequence[Suspect]) -> list[Twin]:
    """Each fault that comes and goes with its lasting twins."""
    numbers = {one.spec: number for number, one in enumerate(singles)}
    return [Twin(one, numbers[one.lasting_spec], numbers.get(one.bad_spec)) for one in passing]


@dataclass(frozen=True)
class Roughly:
    """How likely the readings of each test are in each state, every reading on its own.

    :param logs: log-likelihood, that of ``BAD`` averaged over its ohms (faults, tests, states)
    :param apart: by how much they speak for a state of its own in each test, with the ohms that suit it
        best, against one lasting state with the same ohms in all (faults,)
    :param places: by fault and test, where the ohms are best told
    :param sound: how sound vehicles differ in each test
    """

    logs: Array
    apart: Array
    places: dict[tuple[int, int], Place]
    sound: list[Sound]

    def of(self, faults: Sequence[int]) -> Roughly:
        """The same of some of them."""
        places = {
            (n, test): one
            for n, fault in enumerate(faults)
            for (number, test), one in self.places.items()
            if number == fault
        }
        return Roughly(self.logs[faults], self.apart[faults], places, self.sound)


def look_roughly(evidence: Evidence, coarse: Coarse, passing: Sequence[Twin]) -> Roughly:
    """Every fault in every state in every test, at the values that have been solved."""
    bad = sorted({one.bad for one in passing if one.bad is not None})
    sound = _sound(evidence, coarse)
    by_test = [sound.of(one) for one in _columns(evidence)]
    logs = np.full((len(passing), len(evidence.benches), 3), -np.inf)
    places: dict[tuple[int, int], Place] = {}
    for test, differ in enumerate(by_test):
        part = evidence.part(test)
        fixed = _fixed(part, coarse, [0, *(one.open for one in passing)], differ)
        logs[:, test, GONE], logs[:, test, OPEN] = fixed[0], fixed[1:]
        averaged = _averaged(part, coarse, bad, differ)
        for n, one in enumerate(passing):
            if one.bad is not None:
                logs[n, test, BAD], places[n, test] = averaged[one.bad]
    best = logs[..., [GONE, OPEN]].max(axis=-1)
    for at, place in places.items():
        best[at] = max(best[at], place.score)
    lasting = logs[..., [GONE, OPEN]].sum(axis=1).max(axis=-1)
    same = dict(zip(bad, _best_ohms(evidence, coarse, bad, sound), strict=True))
    for n, twin in enumerate(passing):
        if twin.bad is not None:
            lasting[n] = max(lasting[n], same[twin.bad].score)
    return Roughly(logs, best.sum(axis=1) - lasting, places, by_test)


def _columns(evidence: Evidence) -> list[slice]:
    """The readings of each test."""
    ends = np.cumsum([0, *(len(bench.observations) for bench in evidence.benches)]).tolist()
    return [slice(*both) for both in pairwise(ends)]


def _sound(evidence: Evidence, coarse: Coarse) -> Sound:
    """How sound vehicles differ."""
    predicted = Lines(evidence, coarse).at({0: np.zeros(0)})
    spread = np.sqrt(np.sum(predicted.moves[0] ** 2, axis=-1))
    size = np.abs(np.where(np.isfinite(predicted.values[0]), predicted.values[0], np.inf))
    return Sound(spread, np.minimum(spread / np.maximum(size, 1e-9), 1.0))


def _fixed(part: Evidence, coarse: Coarse, numbers: Sequence[int], sound: Sound) -> Array:
    """Log-likelihood of one test of suspects without an unknown value (suspects,)."""
    values = _read(part, coarse, numbers)
    found: Array = rough_logs(part, values, deviations(part, values, sound)).sum(axis=-1)
    return found


def _read(evidence: Evidence, coarse: Coarse, numbers: Sequence[int]) -> Array:
    """What suspects of one sort read: those without an unknown value (suspects, readings), or those with
    one (suspects, values, readings)."""
    wanted = np.zeros(len(coarse.suspects), dtype=bool)
    wanted[list(numbers)] = True
    valued = bool(coarse.grid(numbers[0]).size)
    order = [one for one in (coarse.valued if valued else coarse.plain) if wanted[one]]
    rows = {one: row for row, one in enumerate(order)}
    found = [coarse.values(bench, wanted)[valued] for bench in evidence.benches]
    return np.concatenate(found, axis=-1)[[rows[one] for one in numbers]]


def _best_ohms(evidence: Evidence, coarse: Coarse, bad: Sequence[int], sound: Sound) -> list[Place]:
    """Where the readings point, of suspects with ohms."""
    if not bad:
        return []
    grids = np.stack([coarse.grid(one) for one in bad])
    return best_places(evidence, grids, _read(evidence, coarse, bad), sound)


def _averaged(
    part: Evidence, coarse: Coarse, bad: Sequence[int], sound: Sound
) -> dict[int, tuple[float, Place]]:
    """Of each suspect with ohms its log-likelihood over their range in one test, and its best place."""
    if not bad:
        return {}
    values = _read(part, coarse, bad)
    logs = rough_logs(part, values, deviations(part, values, sound)).sum(axis=-1)
    found = {}
    for number, row, place in zip(bad, logs, _best_ohms(part, coarse, bad, sound), strict=True):
        severity = coarse.suspects[number].severity
        assert severity is not None
        width = float(np.log(severity.high / severity.low))
        # A peak that is narrower than the step between the values that were tried.
        peak = place.sure + float(np.log(min(place.deviation * np.sqrt(2 * np.pi) / width, 1.0)))
        found[number] = max(posterior(severity, coarse.grid(number), row).log_evidence, peak), place
    return found


def log_shares(passing: Sequence[Twin], logs: Array) -> Array:
    """Log of the chance of each state beforehand (faults, tests, states).

    Where states of a test predict the same, which of them it is makes no difference and costs nothing:
    each has the chance of all of these.
    """
    chances = np.array([_CHANCES[one.bad is not None] for one in passing])[:, None, None, :]
    same = alike(logs[..., :, None], logs[..., None, :])
    with np.errstate(divide="ignore"):
        found: Array = np.log(np.sum(np.where(same, chances, 0.0), axis=-1))
    return found


def alike(one: Array, other: Array) -> Bool:
    """Whether states of these log-likelihoods predict the same."""
    with np.errstate(invalid="ignore"):
        found: Bool = np.abs(one - other) <= _ALIKE
    return found


@dataclass(frozen=True)
class Closely:
    """What faults predict in each state, at the best ohms of each test.

    :param values: (faults, states, readings)
    :param moves: how readings move (faults, states, readings, latents)
    :param ohm: the ohms of ``BAD`` in each test, NaN where it was not looked at (faults, tests)
    :param narrowed: log of what averaging over their range leaves of the likelihood at the best of them
        (faults, tests)
    """

    values: Array
    moves: Array
    ohm: Array
    narrowed: Array


def look_closely(
    evidence: Evidence, coarse: Coarse, kept: Sequence[Twin], roughly: Roughly, asked: Bool
) -> Closely:
    """Each state of each test solved.

    :param roughly: of these faults alone
    :param asked: where the ohms are to be told (faults, tests)
    """
    pieces = [_in_test(evidence, coarse, kept, roughly, test, asked) for test in range(asked.shape[1])]
    names = list(dict.fromkeys(name for one in pieces for name in one.latents))
    values = np.concatenate([one.values for one in pieces], axis=2)
    moves = np.zeros((*values.shape, len(names)))
    first = 0
    for one in pieces:
        columns = slice(first, first + one.values.shape[2])
        moves[:, :, columns, [names.index(name) for name in one.latents]] = one.moves
        first = columns.stop
    ohm, narrowed = (np.stack([getattr(one, f) for one in pieces], 1) for f in ("ohm", "narrowed"))
    return Closely(values, moves, ohm, narrowed)


@dataclass(frozen=True)
class _InTest:
    """The same of one test.

    :param latents: names of the columns of ``moves``
    """

    values: Array
    moves: Array
    ohm: Array
    narrowed: Array
    latents: tuple[str, ...]


def _in_test(
    evidence: Evidence, coarse: Coarse, kept: Sequence[Twin], roughly: Roughly, test: int, asked: Bool
) -> _InTest:
    part = evidence.part(test)
    lines = Lines(part, coarse)
    grids: dict[int, Array] = {n: np.zeros(0) for n in (0, *(one.open for one in kept))}
    for n, one in enumerate(kept):
        if one.bad is not None and asked[n, test]:
            severity, place = coarse.suspects[one.bad].severity, roughly.places[n, test]
            assert severity is not None
            grids[one.bad] = fine_grid(severity, place.log_value, place.deviation, 0.25 * FIRST)
    predicted = lines.at(grids)
    rows = np.array([[predicted.rows[0].start, *[predicted.rows[one.open].start] * 2] for one in kept])
    ohm, narrowed = np.full(len(kept), np.nan), np.full(len(kept), -np.inf)
    for n, one in enumerate(kept):
        if one.bad is not None and one.bad in grids:
            best, at_best = _best_of(part, predicted, predicted.rows[one.bad], roughly.sound[test])
            rows[n, BAD] = predicted.rows[one.bad].start + best
            ohm[n] = np.exp(grids[one.bad][best])
            narrowed[n] = min(roughly.logs[n, test, BAD] - at_best, 0.0)
    return _InTest(predicted.values[rows], predicted.moves[rows], ohm, narrowed, lines.latents)


def _best_of(part: Evidence, predicted: Predicted, rows: slice, sound: Sound) -> tuple[int, float]:
    """Which of some rows the readings of a test speak for, and their rough log-likelihood there."""
    values = predicted.values[rows]
    best = int(np.argmax(weigh(part, values, predicted.moves[rows]).total))
    u = deviations(part, values, sound)
    return best, float(rough_logs(part, values, u).sum(axis=-1)[best])
