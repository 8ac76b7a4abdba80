"""Suspects against evidence: a rough look at all of them, a fine look at those not hopeless."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import Weighed, weigh
from circuitcheck.locate.suspects import (
    COARSE,
    Case,
    Predictions,
    Predictor,
    Suspect,
    predict,
)  # fmt: skip
from circuitcheck.locate.values import (
    Place,
    best_places,
    deviations,
    fine_grid,
    posterior,
    rough_logs,
)  # fmt: skip
from circuitcheck.physics.branch import Array
from circuitcheck.solve.sweep import Index

KEEP = 18.0
"""Log-likelihood below the best at which a suspect is dropped after the rough look."""
_LOOKS = 3
"""How often a grid may be moved to where the value turns out to be."""


@dataclass(frozen=True)
class Standing:
    """How one suspect stands.

    :param log_weight: log of chance beforehand times likelihood
    :param values: values of its faults where they fit best
    :param span: 5 % and 95 % points of the unknown value
    :param predicted: readings there; ``spread`` their standard uncertainty, vehicle only
    :param misread: chance that each reading is wrong
    :param distance: of each reading, in standard uncertainties given all others
    """

    suspect: Suspect
    log_weight: float
    values: tuple[float, ...]
    span: tuple[float, float] | None
    predicted: Array
    spread: Array
    misread: Array
    distance: Array


@dataclass(frozen=True)
class Rough:
    """The rough look: each suspect's best place, and its readings there."""

    places: tuple[Place, ...]
    predicted: Array


class Coarse:
    """Every suspect of a harness over a coarse range of its unknown value, bench by bench.

    What a bench predicts does not depend on what was read, so it is kept: weighing a second sheet
    of the same tests, or the same sheet with one more test, costs only what is new.
    """

    def __init__(self, harness: Harness, suspects: Sequence[Suspect]) -> None:
        self.suspects = suspects
        self.plain = [n for n, one in enumerate(suspects) if one.unknown is None]
        self.valued = [n for n, one in enumerate(suspects) if one.unknown is not None]
        order = (*self.plain, *self.valued)
        cases = [Case(n, values) for n in order for values in suspects[n].coarse_values()]
        self._predictor = Predictor(harness, suspects, cases)
        self._kept: dict[str, Array] = {}

    def values(self, evidence: Evidence) -> Array:
        """Predicted readings (cases, readings)."""
        return np.concatenate([self._values_of(bench) for bench in evidence.benches], axis=1)

    def _values_of(self, bench: Bench) -> Array:
        key = f"{bench.setup!r} {bench.observations!r}"
        if key not in self._kept:
            self._kept[key] = self._predictor.run(bench).values
        return self._kept[key]


def rough_look(evidence: Evidence, coarse: Coarse) -> Rough:
    """Every suspect where it fits best over a coarse range of its unknown value."""
    suspects, plain, valued = coarse.suspects, coarse.plain, coarse.valued
    values = coarse.values(evidence)
    places: dict[int, Place] = {}
    predicted = np.empty((len(suspects), values.shape[1]))
    scores = rough_logs(evidence, values, deviations(evidence, values)).sum(axis=-1)
    for row, number in enumerate(plain):
        places[number] = Place(float(scores[row]), 0.0, 0.0)
        predicted[number] = values[row]
    if valued:
        block = values[len(plain) :].reshape(len(valued), COARSE, -1)
        logs = np.array([_log_values(suspects[n]) for n in valued])
        best = best_places(evidence, logs, block)
        for number, place, tried, readings in zip(valued, best, logs, block, strict=True):
            places[number] = place
            predicted[number] = readings[int(np.argmin(np.abs(tried - place.log_value)))]
    return Rough(tuple(places[n] for n in range(len(suspects))), predicted)


def _log_values(suspect: Suspect) -> list[float]:
    severity = suspect.unknown.severity if suspect.unknown else None
    assert severity is not None
    return list(np.linspace(math.log(severity.low), math.log(severity.high), COARSE))


def fine_look(evidence: Evidence, suspects: Sequence[Suspect], rough: Rough) -> list[Standing]:
    """Those not hopeless, weighed in full; most likely first."""
    top = max(place.score for place in rough.places)
    grids = {
        n: _grid(suspects[n], place) for n, place in enumerate(rough.places)
        if place.score > top - KEEP
    }  # fmt: skip
    found: dict[int, Standing] = {}
    for look in range(_LOOKS):
        cases = [
            Case(n, values) for n, grid in grids.items() for values in _values(suspects[n], grid)
        ]
        predictions = predict(evidence, suspects, cases)
        rows = np.arange(len(cases))
        moves = predictions.moves(rows)
        weighed = weigh(evidence, predictions.values, moves)
        again: dict[int, Array] = {}
        first = 0
        for number, grid in grids.items():
            mine = rows[first : first + max(len(grid), 1)]
            first += len(mine)
            standing, moved = _stand(suspects[number], grid, mine, predictions, moves, weighed)
            found[number] = standing
            if moved is not None and look + 1 < _LOOKS:
                again[number] = moved
        if not again:
            break
        grids = again
    return sorted(found.values(), key=lambda one: -one.log_weight)


def _grid(suspect: Suspect, place: Place) -> Array:
    """Logs of the values to try; empty where nothing is unknown."""
    if suspect.unknown is None or suspect.unknown.severity is None:
        return np.zeros(0)
    return fine_grid(suspect.unknown.severity, place.log_value, place.deviation)


def _values(suspect: Suspect, grid: Array) -> list[tuple[float, ...]]:
    if not grid.size:
        return [tuple(0.0 for _ in suspect.faults)]
    return [suspect.with_value(float(np.exp(one))) for one in grid]


def _stand(
    suspect: Suspect, grid: Array, rows: Index, predictions: Predictions, moves: Array,
    weighed: Weighed,
) -> tuple[Standing, Array | None]:  # fmt: skip
    """The standing of a suspect from its rows, and a better grid if this one will not do."""
    totals = weighed.total[rows]
    span, moved, best = None, None, int(rows[0])
    evidence = float(totals[0])
    severity = suspect.unknown.severity if suspect.unknown else None
    if severity is not None:
        known = posterior(severity, grid, totals)
        best, evidence, span = int(rows[known.place]), known.log_evidence, (known.low, known.high)
        if not known.settled:
            moved = fine_grid(severity, known.mean, known.deviation)
    spread = np.sqrt(np.sum(moves[best] ** 2, axis=-1))
    standing = Standing(
        suspect, math.log(max(suspect.weight, 1e-300)) + evidence, predictions.cases[best].values,
        span, predictions.values[best], spread, weighed.misread[best], weighed.distance[best],
    )  # fmt: skip
    return standing, moved
