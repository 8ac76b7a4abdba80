"""Two unknown values at once: where two faults with one each come nearest to the readings.

Gauss-Newton on the logs of both values, damped (D. W. Marquardt, J. SIAM 11, 1963; from memory), for
many pairs side by side. A reading that lies far off pulls little, so that one misreading, or one that
neither value moves, does not drag the values along.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.suspects import Suspect, Trial, predict
from circuitcheck.locate.values import at_best, deviations, rough_logs
from circuitcheck.physics.branch import Array

_STEPS = 6
_WORTH_IT, _IDLE = 0.3, 2
"""Log-likelihood that a step must gain for some pair, or so many of them in turn end the search."""
_NEAR = 0.02
"""Distance on a log scale over which slopes are taken."""
_LONGEST = 1.2
"""Longest step on a log scale."""
_PULLS = 4.0
"""Standard uncertainties from which a reading pulls less than its distance."""


@dataclass(frozen=True)
class Fit:
    """Where pairs fit.

    :param logs: of both values of each pair (pairs, 2)
    :param scores: rough log-likelihood there (pairs,)
    :param short: what those lack of readings all just as predicted (pairs,)
    :param widths: standard uncertainty of both logs, each with the other one held (pairs, 2)
    """

    logs: Array
    scores: Array
    short: Array
    widths: Array


def fitted(evidence: Evidence, pairs: Sequence[Suspect], values: Array, least: Array) -> Fit:
    """Where pairs of faults with an unknown value each fit.

    :param values: to begin with (pairs, 2)
    :param least: score of each pair that is worth going on from; while all lie below, none is (pairs,)
    """
    limits = np.log(
        [
            [(one.severity.low, one.severity.high) for one in pair.faults if one.severity]
            for pair in pairs
        ]
    )
    best = np.clip(np.log(values), limits[..., 0], limits[..., 1])
    scores, slopes, missing, short = _around(evidence, pairs, best)
    damping = np.full(len(pairs), 0.01)
    idle = 0
    for _ in range(_STEPS):
        if not np.any(scores > least):
            break
        steps = _steps(slopes, missing, damping)
        at = np.clip(best + steps, limits[..., 0], limits[..., 1])
        new_scores, new_slopes, new_missing, new_short = _around(evidence, pairs, at)
        better = new_scores > scores
        idle = 0 if np.any(new_scores > scores + _WORTH_IT) else idle + 1
        short = np.where(better, new_short, short)
        damping = np.where(better, 0.3, 10.0) * damping
        best, scores = np.where(better[:, None], at, best), np.where(better, new_scores, scores)
        slopes = np.where(better[:, None, None], new_slopes, slopes)
        missing = np.where(better[:, None], new_missing, missing)
        if idle == _IDLE:
            break
    power = np.sum(slopes**2, axis=1)
    return Fit(best, scores, short, 1 / np.sqrt(power + 1e-2))


def _around(
    evidence: Evidence, pairs: Sequence[Suspect], logs: Array
) -> tuple[Array, Array, Array, Array]:
    """At some values: rough log-likelihood, slopes of all readings (pairs, readings, 2) and how far off
    they are (pairs, readings), both in standard uncertainties, and what the first lacks of the most.
    """
    suspects: list[Suspect] = []
    trials: list[Trial] = []
    for pair, (one, other) in zip(pairs, logs, strict=True):
        for second, firsts in ((other, [one, one + _NEAR]), (other + _NEAR, [one])):
            held = ((pair.faults[1], float(np.exp(second)), 0.0),)
            trials.append(Trial(len(suspects), np.exp(np.array(firsts))))
            suspects.append(replace(pair, held=held))
    rows = predict(evidence, suspects, trials).values.reshape(len(pairs), 3, -1)
    here = rows[:, 0]
    u = deviations(evidence, here)
    with np.errstate(invalid="ignore"):
        slopes = (rows[:, 1:] - here[:, None]) / (_NEAR * u[:, None])
        missing = (evidence.measured - here) / u
    straight = np.isfinite(slopes).all(axis=1) & np.isfinite(missing)
    slopes = np.where(straight[:, None], slopes, 0.0).transpose(0, 2, 1)
    scores = rough_logs(evidence, here, u).sum(axis=-1)
    short = at_best(evidence, u).sum(axis=-1) - scores
    return scores, slopes, np.where(straight, missing, 0.0), short


def _steps(slopes: Array, missing: Array, damping: Array) -> Array:
    """The damped step of each pair (pairs, 2)."""
    pull = 1 / (1 + (missing / _PULLS) ** 2)
    weighted = slopes * pull[..., None]
    square = np.einsum("pri,prj->pij", weighted, slopes)
    size = np.maximum(np.trace(square, axis1=1, axis2=2), 1e-6)
    square += (damping * size + 1e-6)[:, None, None] * np.eye(2)
    steps = np.linalg.solve(square, np.einsum("pri,pr->pi", weighted, missing)[..., None])[..., 0]
    return np.clip(steps, -_LONGEST, _LONGEST)
