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
from circuitcheck.solve.wiring import Bool, Index

_STEPS = 6
_WORTH_IT, _IDLE = 0.3, 2
"""Log-likelihood that a step must gain; so many in turn that do not end the search for a pair."""
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


def fitted(
    evidence: Evidence, pairs: Sequence[Suspect], values: Array, least: Array, goal: Array
) -> Fit:
    """Where pairs of faults with an unknown value each fit.

    A pair is gone on with while its steps gain anything and may lead to where it matters.

    :param values: to begin with (pairs, 2)
    :param least: score of each pair below which it is not begun with, and ``goal`` the least that
        matters in the end (pairs,)
    """
    limits = np.log(
        [
            [(one.severity.low, one.severity.high) for one in pair.faults if one.severity]
            for pair in pairs
        ]
    )
    best = np.clip(np.log(values), limits[..., 0], limits[..., 1])
    now = _around(evidence, pairs, best)
    damping, idle = np.full(len(pairs), 0.01), np.zeros(len(pairs), dtype=int)
    going = np.flatnonzero(now.scores > least)
    for left in range(_STEPS, 0, -1):
        if not going.size:
            break
        steps = _steps(now.slopes[going], now.missing[going], damping[going])
        at = np.clip(best[going] + steps, limits[going, :, 0], limits[going, :, 1])
        there = _around(evidence, [pairs[n] for n in going.tolist()], at)
        gain = there.scores - now.scores[going]
        better = gain > 0
        best[going[better]] = at[better]
        now.put(going[better], there, better)
        damping[going] *= np.where(better, 0.3, 10.0)
        idle[going] = np.where(gain > _WORTH_IT, 0, idle[going] + 1)
        # A step seldom gains more than the one before it.
        within = now.scores[going] + 2 * (left - 1) * np.maximum(gain, _WORTH_IT) > goal[going]
        going = going[(idle[going] < _IDLE) & (within | (idle[going] > 0))]
    power = np.sum(now.slopes**2, axis=1)
    return Fit(best, now.scores, now.short, 1 / np.sqrt(power + 1e-2))


@dataclass(frozen=True)
class _Around:
    """Pairs at some values of theirs.

    :param scores: rough log-likelihood (pairs,), and ``short`` what it lacks of the most
    :param slopes: of all readings for the logs of both values (pairs, readings, 2)
    :param missing: how far off the readings are (pairs, readings); both in standard uncertainties
    """

    scores: Array
    short: Array
    slopes: Array
    missing: Array

    def put(self, rows: Index, other: _Around, chosen: Bool) -> None:
        """Take over some pairs of another."""
        for mine, theirs in (
            (self.scores, other.scores),
            (self.short, other.short),
            (self.slopes, other.slopes),
            (self.missing, other.missing),
        ):
            mine[rows] = theirs[chosen]


def _around(evidence: Evidence, pairs: Sequence[Suspect], logs: Array) -> _Around:
    """Solve pairs at the logs of their values (pairs, 2), and a little beside each."""
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
    return _Around(scores, short, slopes, np.where(straight, missing, 0.0))


def _steps(slopes: Array, missing: Array, damping: Array) -> Array:
    """The damped step of each pair (pairs, 2)."""
    pull = 1 / (1 + (missing / _PULLS) ** 2)
    weighted = slopes * pull[..., None]
    square = np.einsum("pri,prj->pij", weighted, slopes)
    size = np.maximum(np.trace(square, axis1=1, axis2=2), 1e-6)
    square += (damping * size + 1e-6)[:, None, None] * np.eye(2)
    steps = np.linalg.solve(square, np.einsum("pri,pr->pi", weighted, missing)[..., None])[..., 0]
    return np.clip(steps, -_LONGEST, _LONGEST)
