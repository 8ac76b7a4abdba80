"""Suspects against evidence: a rough look at all of them, a fine look at those not hopeless."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.locate.alike import representatives
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import Weighed, weigh
from circuitcheck.locate.suspects import (
    COARSE,
    Predictions,
    Predictor,
    Suspect,
    Trial,
    predict,
)  # fmt: skip
from circuitcheck.locate.values import (
    FIRST,
    Place,
    best_places,
    deviations,
    fine_grid,
    next_grid,
    posterior,
    rough_logs,
)  # fmt: skip
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool, Index

KEEP = 18.0
"""Log-likelihood below the best at which a suspect is dropped after the rough look."""
HOPELESS = 40.0
"""The same while only some of the benches have been looked at."""
_LOOKS = 4
"""How often a grid may be moved to where the value turns out to be."""
_WORTH_IT = 5.0
"""Farther below the best than this, a grid that holds the value is not made any finer."""


@dataclass(frozen=True)
class Standing:
    """How one suspect stands.

    :param log_weight: log of chance beforehand times likelihood
    :param value: of its unknown where it fits best
    :param span: 5 % and 95 % points of the unknown value
    :param predicted: readings there; ``spread`` their standard uncertainty, vehicle only
    :param misread: chance that each reading is wrong
    :param distance: of each reading, in standard uncertainties given all others
    :param square: of the distance of all readings together, chi-square if the suspect is right
    :param blown: fuses that its faults have blown in use, before the first test
    :param seen_in: of a fault that comes and goes, the tests that met it; ``gone_in`` those that did not
    """

    suspect: Suspect
    log_weight: float
    value: float
    span: tuple[float, float] | None
    predicted: Array
    spread: Array
    misread: Array
    distance: Array
    square: float = 0.0
    blown: frozenset[str] = frozenset()
    seen_in: tuple[str, ...] = ()
    gone_in: tuple[str, ...] = ()

    @property
    def log_evidence(self) -> float:
        """Log of the likelihood alone: what the readings say, whatever its chance beforehand."""
        return self.log_weight - _log_chance(self.suspect)

    def of(self, other: Suspect, blown: frozenset[str]) -> Standing:
        """How another suspect stands that predicts the same."""
        moved = self.log_evidence + _log_chance(other)
        return replace(self, suspect=other, log_weight=moved, blown=blown)


@dataclass(frozen=True)
class Rough:
    """The rough look.

    :param places: the best place of each suspect that is not hopeless, by its number
    :param same_as: for each of those the one that stands for it
    """

    places: dict[int, Place]
    same_as: dict[int, int]


class Coarse:
    """Every suspect of a harness over a coarse range of its unknown value, bench by bench.

    What a bench predicts does not depend on what was read, so it is kept: weighing a second sheet
    of the same tests, or the same sheet with one more test, costs only what is new.
    """

    def __init__(self, harness: Harness, suspects: Sequence[Suspect]) -> None:
        self.suspects = suspects
        self.plain = [n for n, one in enumerate(suspects) if one.unknown is None]
        self.valued = [n for n, one in enumerate(suspects) if one.unknown is not None]
        trials = [Trial(n, suspects[n].coarse_values()) for n in (*self.plain, *self.valued)]
        grids = [np.log(one.values) for one in trials[len(self.plain) :]]
        self.logs = np.array(grids).reshape(-1, COARSE)
        self._predictor = Predictor(harness, suspects, trials)
        self._kept: dict[str, tuple[Array, Bool]] = {}

    def with_chances(self, suspects: Sequence[Suspect]) -> Coarse:
        """The same suspects with other chances beforehand; what was predicted is shared."""
        found = copy(self)
        found.suspects = suspects
        return found

    def blown(self, number: int, value: float) -> frozenset[str]:
        """Fuses that a suspect has blown in service, at the nearest of the values tried."""
        if not any(one.overloads for one in self.suspects[number].faults):
            return frozenset()
        if self.suspects[number].unknown is None:
            return self._predictor.blown[self.plain.index(number)]
        place = self.valued.index(number)
        nearest = int(np.argmin(np.abs(self.logs[place] - math.log(value))))
        return self._predictor.blown[len(self.plain) + place * COARSE + nearest]

    def values(self, bench: Bench, alive: Bool) -> tuple[Array, Array]:
        """Predicted readings of the suspects that are still alive.

        :returns: of those without an unknown value (suspects, readings), and of those with one
            (suspects, values, readings), in the order of ``plain`` and ``valued``
        """
        wanted = alive[[*self.plain, *self.valued]]
        if bench.key not in self._kept:
            shape = (sum(self._predictor.counts), len(bench.observations))
            self._kept[bench.key] = np.zeros(shape), np.zeros(len(wanted), dtype=bool)
        values, there = self._kept[bench.key]
        missing = np.flatnonzero(wanted & ~there).tolist()
        if missing:
            values[self._predictor.rows(missing)] = self._predictor.run(bench, missing).values
            there[missing] = True
        count = len(self.plain)
        block = values[count:].reshape(-1, COARSE, values.shape[1])
        return values[:count][wanted[:count]], block[wanted[count:]]


def rough_look(evidence: Evidence, coarse: Coarse) -> Rough:
    """Every suspect where it fits best over a coarse range of its unknown value.

    Bench by bench; a suspect that falls hopelessly behind is not asked any further.
    """
    alive = np.ones(len(coarse.suspects), dtype=bool)
    bound, sure = np.zeros(len(coarse.suspects)), np.zeros(len(coarse.suspects))
    for number, bench in enumerate(evidence.benches):
        part = evidence.part(number)
        for suspect, place in _places(part, coarse, alive, coarse.values(bench, alive)):
            bound[suspect] += place.score
            sure[suspect] += place.sure
        alive &= bound > np.max(sure[alive]) - HOPELESS
        alive[0] = True  # sound, where it is a suspect, is what all are compared with
    plain, valued = zip(*(coarse.values(bench, alive) for bench in evidence.benches), strict=True)
    joined = np.concatenate(plain, axis=-1), np.concatenate(valued, axis=-1)
    places = dict(_places(evidence, coarse, alive, joined))
    top = max(place.sure for place in places.values())
    kept = np.array([
        n in places and (places[n].score > top - KEEP or not one.faults)
        for n, one in enumerate(coarse.suspects)
    ])  # fmt: skip
    return Rough({n: places[n] for n in places if kept[n]},
                 _same_as(evidence, coarse, alive, kept, joined))  # fmt: skip


def _same_as(
    evidence: Evidence, coarse: Coarse, alive: Bool, kept: Bool, values: tuple[Array, Array]
) -> dict[int, int]:
    """For each suspect that is kept the one that stands for it."""
    found: dict[int, int] = {}
    for numbers, block in ((coarse.plain, values[0][:, None]), (coarse.valued, values[1])):
        living = np.array([n for n in numbers if alive[n]], dtype=np.intp)
        mine = living[kept[living]]
        first = representatives(evidence, block[kept[living]])
        found |= {int(n): int(mine[one]) for n, one in zip(mine, first, strict=True)}
    return found


def every_prediction(evidence: Evidence, coarse: Coarse) -> tuple[Array, Array]:
    """Readings of all suspects (suspects, readings) at the value that fits best alone; those values."""
    alive = np.ones(len(coarse.suspects), dtype=bool)
    plain, valued = zip(*(coarse.values(bench, alive) for bench in evidence.benches), strict=True)
    flat, block = np.concatenate(plain, axis=-1), np.concatenate(valued, axis=-1)
    predicted, fitted = np.empty((len(alive), flat.shape[-1])), np.zeros(len(alive))
    predicted[coarse.plain] = flat
    if coarse.valued:
        places = best_places(evidence, coarse.logs, block)
        at = np.array([place.log_value for place in places])
        nearest = np.argmin(np.abs(coarse.logs - at[:, None]), axis=1)
        predicted[coarse.valued] = block[np.arange(len(block)), nearest]
        fitted[coarse.valued] = np.exp(at)
    return predicted, fitted


def _places(
    evidence: Evidence, coarse: Coarse, alive: Bool, values: tuple[Array, Array]
) -> list[tuple[int, Place]]:
    """Where each suspect that is alive fits best."""
    plain = [n for n in coarse.plain if alive[n]]
    scores = rough_logs(evidence, values[0], deviations(evidence, values[0])).sum(axis=-1)
    found = [(n, Place(score, score, 0.0, 0.0))
             for n, score in zip(plain, scores.tolist(), strict=True)]  # fmt: skip
    valued = [n for n in coarse.valued if alive[n]]
    if valued:
        logs = coarse.logs[alive[coarse.valued]]
        found += zip(valued, best_places(evidence, logs, values[1]), strict=True)
    return found


def _log_chance(suspect: Suspect) -> float:
    return math.log(max(suspect.weight, 1e-300))


def fine_look(evidence: Evidence, coarse: Coarse, rough: Rough) -> list[Standing]:
    """Those not hopeless, weighed in full; most likely first."""
    suspects = coarse.suspects
    grids = {n: _grid(suspects[n], rough.places[n]) for n in set(rough.same_as.values())}
    found: dict[int, Standing] = {}
    for look in range(_LOOKS):
        trials = [Trial(n, np.exp(grid) if grid.size else np.zeros(1)) for n, grid in grids.items()]
        predictions = predict(evidence, suspects, trials)
        moves = predictions.moves()
        weighed = weigh(evidence, predictions.values, moves)
        better: dict[int, Better] = {}
        first = 0
        for number, grid in grids.items():
            rows = np.arange(first, first + max(len(grid), 1))
            first += len(rows)
            standing, after = _stand(
                evidence, suspects[number], grid, rows, predictions, moves, weighed
            )
            found[number] = standing
            if after is not None and look + 1 < _LOOKS:
                better[number] = after
        best = max(one.log_weight for one in found.values())
        grids = {
            n: after.grid for n, after in better.items()
            if after.elsewhere or found[n].log_weight > best - _WORTH_IT
        }  # fmt: skip
        if not grids:
            break
    everyone = [found[one].of(suspects[n], coarse.blown(n, found[one].value))
                for n, one in rough.same_as.items()]  # fmt: skip
    return sorted(everyone, key=lambda one: -one.log_weight)


@dataclass(frozen=True)
class Better:
    """A better grid for an unknown value.

    :param elsewhere: whether the value lies between the points of the grid that was tried, or
        outside it, so that the suspect stands worse than it should
    """

    grid: Array
    elsewhere: bool


def unread(coarse: Coarse) -> list[Standing]:
    """How suspects stand before anything has been read: by their chance, over their whole range."""
    none = np.zeros(0)
    found = []
    for number, one in enumerate(coarse.suspects):
        severity = one.unknown.severity if one.unknown else None
        value = severity.typical if severity else 0.0
        # 5 % and 95 % points of a range that is even on a log scale
        span = None
        if severity is not None:
            inside = (severity.high / severity.low) ** 0.05
            span = severity.low * inside, severity.high / inside
        found.append(Standing(one, _log_chance(one), value, span, none, none, none, none,
                              blown=coarse.blown(number, value)))  # fmt: skip
    return sorted(found, key=lambda one: -one.log_weight)


def _grid(suspect: Suspect, place: Place) -> Array:
    """Logs of the values to try; empty where nothing is unknown."""
    if suspect.unknown is None or suspect.unknown.severity is None:
        return np.zeros(0)
    return fine_grid(suspect.unknown.severity, place.log_value, place.deviation, FIRST)


def _stand(
    evidence: Evidence, suspect: Suspect, grid: Array, rows: Index, predictions: Predictions,
    moves: Array, weighed: Weighed,
) -> tuple[Standing, Better | None]:  # fmt: skip
    """The standing of a suspect from its rows, and a better grid if this one will not do."""
    totals = weighed.total[rows]
    value, span, better, best = 0.0, None, None, int(rows[0])
    log_evidence = float(totals[0])
    severity = suspect.unknown.severity if suspect.unknown else None
    if severity is not None:
        known = posterior(severity, grid, totals)
        best, span = int(rows[known.place]), (known.low, known.high)
        log_evidence = known.log_evidence
        value = float(np.exp(grid[known.place]))
        if not known.settled:
            (place,) = best_places(evidence, grid[None], predictions.values[rows][None])
            better = Better(*next_grid(severity, grid, known, place))
    spread = np.sqrt(np.sum(moves[best] ** 2, axis=-1))
    standing = Standing(
        suspect, _log_chance(suspect) + log_evidence, value, span, predictions.values[best], spread,
        weighed.misread[best], weighed.distance[best], float(weighed.square[best]),
    )  # fmt: skip
    return standing, better
