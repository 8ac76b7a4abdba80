"""The unknown value of a fault: where to look for it, and what is known of it afterwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from circuitcheck.locate.evidence import MISREAD, Evidence
from circuitcheck.locate.wordings import NUMBER_NOTED
from circuitcheck.parts.fault import Severity
from circuitcheck.physics.branch import Array

FINE = 9
"""Values on a fine grid."""
_NARROWEST = 0.02
"""Half-width of the narrowest grid, on a natural log scale."""
FIRST = 0.4
"""The same of the first one: between values three times apart readings do not run straight."""

_LIKELY = 5.0
"""Log-likelihood below the best of them at which a value is ruled out."""
_DOUBT = 6.0
"""Log-likelihood from which the benefit of the doubt decides between two stretches of values."""
_MISSED = 3.0
"""Log-likelihood by which a value in between must beat all those tried to have been missed by them."""


def deviations(evidence: Evidence, predicted: Array, sound: Sound | None = None) -> Array:
    """Rough standard uncertainty of each predicted reading: the meter's, and four per cent.

    :param sound: where it is known, vehicles differ by as much as sound ones do
    """
    known = np.where(np.isfinite(predicted), predicted, 0.0)
    size = np.abs(known)
    spread = 0.04 * size
    if sound is not None:
        spread = np.maximum(spread, np.minimum(sound.spread, sound.share * size))
    found: Array = np.hypot(evidence.meter_uncertainty(known), spread)
    return found


@dataclass(frozen=True)
class Sound:
    """By how much each reading differs between sound vehicles.

    What is lost at one good joint differs by more than four per cent of it.

    :param spread: standard uncertainty, vehicle only (readings,)
    :param share: the same as a share of the reading (readings,)
    """

    spread: Array
    share: Array

    def of(self, readings: slice) -> Sound:
        """The same of some readings."""
        return Sound(self.spread[readings], self.share[readings])


def rough_logs(evidence: Evidence, predicted: Array, u: Array, misread: float = MISREAD) -> Array:
    """Log chance of each reading, every reading on its own; any one may be a misreading."""
    measured, wild = evidence.measured, evidence.wild
    with np.errstate(invalid="ignore"):
        z = (measured - np.where(np.isfinite(predicted), predicted, 1e9)) / u
        right = np.exp(-0.5 * np.minimum(z**2, 1400.0)) / (np.sqrt(2 * np.pi) * u)
    right = np.where(np.isnan(predicted), NUMBER_NOTED * wild, right)
    right = np.where(np.isinf(measured), np.isinf(predicted), right)
    if evidence.words.size:
        right[..., evidence.words] = evidence.word_chances(predicted, u)
    found: Array = np.log((1 - misread) * right + misread * wild)
    return found


def at_best(evidence: Evidence, u: Array) -> Array:
    """Log chance of each reading if it were predicted as it was read."""
    numbers = np.isfinite(evidence.measured)
    found: Array = np.where(numbers, -np.log(np.sqrt(2 * np.pi) * u), 0.0)
    return found


@dataclass(frozen=True)
class Place:
    """Where the readings point.

    :param score: rough log-likelihood, with the benefit of the doubt where readings turn
    :param sure: the same without it
    :param log_value: log of the value, with its ``deviation``
    :param gained: how much more ``sure`` is here than at the best of the values tried
    """

    score: float
    sure: float
    log_value: float
    deviation: float
    gained: float = 0.0

    @property
    def missed(self) -> bool:
        """Whether the values tried passed over it: each of them stands by a misreading, it does not."""
        return self.gained > _MISSED


def best_places(
    evidence: Evidence, logs: Array, predicted: Array, sound: Sound | None = None
) -> list[Place]:
    """The best place for each fault between the values that were tried.

    Between two neighbouring values the readings are taken to run straight, so that where they come
    nearest to what was read is a division.

    :param logs: log of the values tried (faults, values)
    :param predicted: readings (faults, values, readings)
    :param sound: see :func:`deviations`
    """
    u = deviations(evidence, predicted, sound)
    pair_u = np.maximum(u[:, :-1], u[:, 1:])
    start, end = predicted[:, :-1], predicted[:, 1:]
    straight = np.isfinite(start) & np.isfinite(end) & np.isfinite(evidence.measured)
    with np.errstate(invalid="ignore"):
        slope = np.where(straight, (end - start) / pair_u, 0.0)
        gap = np.where(straight, (evidence.measured - start) / pair_u, 0.0)
    # A reading that no value explains must not drag the value along.
    reach = np.where(np.abs(gap) > 6 + np.abs(slope), 0.0, 1.0)
    power = np.sum(reach * slope**2, axis=-1)
    share = np.clip(np.sum(reach * slope * gap, axis=-1) / (power + 1e-12), 0.0, 1.0)
    with np.errstate(invalid="ignore"):
        between = np.where(
            straight,
            start + share[..., None] * (end - start),
            np.where(share[..., None] < 0.5, start, end),
        )
    logs_of = rough_logs(evidence, between, pair_u)
    # Somewhere between a relay begins to buzz, or a line opens: up to there any reading can be.
    turns = np.isfinite(start) != np.isfinite(end)
    scores = np.where(turns, at_best(evidence, pair_u), logs_of).sum(axis=-1)
    sure = logs_of.sum(axis=-1)
    tried = rough_logs(evidence, predicted, u).sum(axis=-1).max(axis=1)
    step = np.diff(logs, axis=1)
    best = np.argmax(sure, axis=1)
    doubtful = scores.max(axis=1) > sure.max(axis=1) + _DOUBT
    best = np.where(doubtful, np.argmax(scores, axis=1), best)
    found = []
    for row, column in enumerate(best):
        width = step[row, column] / np.sqrt(power[row, column] + 1e-9)
        middle = logs[row, column] + share[row, column] * step[row, column]
        both = float(scores[row, column]), float(sure[row, column])
        found.append(Place(*both, float(middle), float(width), both[1] - float(tried[row])))
    return found


def likely_ranges(evidence: Evidence, logs: Array, predicted: Array) -> Array:
    """The first and last of the values tried that the readings do not rule out (faults, 2), as logs.

    :param logs: log of the values tried (faults, values)
    :param predicted: readings (faults, values, readings)
    """
    scores = rough_logs(evidence, predicted, deviations(evidence, predicted)).sum(axis=-1)
    likely = scores > scores.max(axis=1, keepdims=True) - _LIKELY
    first, last = np.argmax(likely, axis=1), likely.shape[1] - 1 - np.argmax(likely[:, ::-1], axis=1)
    return np.stack([logs[np.arange(len(logs)), one] for one in (first, last)], axis=1)


def first_grid(severity: Severity, place: Place, likely: tuple[float, float]) -> Array:
    """Logs of values around a place, and over all that the readings do not rule out.

    :param likely: the range that they leave
    """
    around = fine_grid(severity, place.log_value, place.deviation, FIRST)
    return np.linspace(min(around[0], likely[0]), max(around[-1], likely[1]), FINE)


def fine_grid(
    severity: Severity, log_value: float, deviation: float, least: float = _NARROWEST
) -> Array:
    """Logs of values around a place, inside the range that the fault can have.

    :param least: half-width of the grid at the least
    """
    low, high = np.log(severity.low), np.log(severity.high)
    half = float(np.clip(4 * deviation, least, high - low))
    start, end = max(low, log_value - half), min(high, log_value + half)
    if end - start < _NARROWEST:
        start, end = max(low, end - _NARROWEST), min(high, start + _NARROWEST)
    return np.linspace(start, end, FINE)


def next_grid(severity: Severity, grid: Array, known: Posterior, place: Place) -> tuple[Array, bool]:
    """A grid nearer to the value than the last one, and whether that one missed it.

    :param place: where the readings point, between the values of the last grid
    """
    step = grid[1] - grid[0]
    if place.missed:
        return fine_grid(severity, place.log_value, place.deviation, 0.25 * step), True
    at_end = known.place in (0, len(grid) - 1)
    if at_end and np.log(severity.low) < grid[known.place] < np.log(severity.high):
        # It lies beyond: as far again, and then some.
        return fine_grid(severity, float(grid[known.place]), 0.4 * float(grid[-1] - grid[0])), True
    if place.deviation < step and abs(place.log_value - grid[known.place]) < 2 * step:
        return fine_grid(severity, place.log_value, place.deviation, 0.25 * step), not at_end
    found = fine_grid(severity, known.mean, known.deviation)
    # What is as good as nothing at an end of this grid is nothing beyond it.
    start = found[0] if known.spills[0] else max(found[0], grid[0])
    end = found[-1] if known.spills[1] else min(found[-1], grid[-1])
    return np.linspace(start, end, FINE), False


@dataclass(frozen=True)
class Posterior:
    """What is known of a value on a grid.

    :param log_evidence: log-likelihood averaged over the whole range beforehand
    :param place: where it is most likely
    :param low: 5 % point
    :param high: 95 % point
    :param spills: whether there is more of it below the grid, and above
    :param settled: whether the grid holds nearly all of it and resolves it
    """

    log_evidence: float
    place: int
    low: float
    high: float
    mean: float
    deviation: float
    spills: tuple[bool, bool]
    settled: bool


def posterior(severity: Severity, logs: Array, totals: Array) -> Posterior:
    """Combine log-likelihoods on a grid; evenly likely beforehand on the log scale."""
    top = float(totals.max())
    density = np.exp(totals - top)
    step = logs[1] - logs[0]
    weights = density * step
    weights[[0, -1]] *= 0.5
    mass = float(weights.sum())
    shares = weights / mass
    mean = float(shares @ logs)
    deviation = float(np.sqrt(shares @ (logs - mean) ** 2))
    edges = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * step)])
    edges /= edges[-1]
    low, high = np.interp([0.05, 0.95], edges, logs)
    span = np.log(severity.high / severity.low)
    at_low = logs[0] <= np.log(severity.low) + 1e-9
    at_high = logs[-1] >= np.log(severity.high) - 1e-9
    spills = bool(density[0] > 0.02 and not at_low), bool(density[-1] > 0.02 and not at_high)
    coarse = deviation < 0.8 * step and step > 2 * _NARROWEST / FINE
    return Posterior(
        top + float(np.log(mass / span)),
        int(np.argmax(totals)),
        float(np.exp(low)),
        float(np.exp(high)),
        mean,
        max(deviation, 0.3 * step),
        spills,
        not (any(spills) or coarse),
    )
