"""Chosen pairs solved, both values looked for where two are unknown.

Two unknown values are first fitted at once, roughly; then they are looked for in turn, each with the
other held where it fitted best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.locate.conclude import explains
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.joined import pairs_of
from circuitcheck.locate.pairing import Pair
from circuitcheck.locate.sets import best_of, value_held, weighed, weighed_at, width_of
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.twovalues import fitted
from circuitcheck.locate.values import Place, deviations, rough_logs
from circuitcheck.locate.weighing import KEEP
from circuitcheck.physics.branch import Array

_REFINED = 20
"""Pairs with two unknown values that are looked at again."""
_SHORT = 30.0
"""Rough log-likelihood that a pair may lack and yet explain all readings but one or two."""
_BEYOND = 60.0
"""The same below a pair that explains the readings from which values are not fitted."""
_TURNS = 2
"""How often the one or the other of two unknown values is looked for again."""


@dataclass(frozen=True)
class _Fitted:
    """A pair with two unknown values, where both fit.

    :param standing: log of its chance and of its rough likelihood
    :param short: what that likelihood lacks of readings all just as predicted
    """

    pair: Suspect
    logs: Array
    widths: Array
    standing: float
    short: float


class PairSolver:
    """Pairs as they stand, most likely first; those with two unknown values are fitted first.

    Of these only those are looked at more closely that come near the best so far and leave no more
    than a reading or two unexplained; the others wait for whether they are needed.
    """

    def __init__(self, evidence: Evidence, singles: Sequence[Suspect]) -> None:
        self._evidence = evidence
        self._singles = singles
        self._waiting: list[_Fitted] = []
        self.found: list[Standing] = []

    @property
    def explained(self) -> bool:
        """Whether the best of them explains the readings."""
        return bool(self.found) and explains(self.found[0])

    def join(self, standings: Sequence[Standing]) -> None:
        """Put further ones among those found."""
        self.found = best_of([*self.found, *standings])

    def take(self, chosen: Sequence[Pair]) -> None:
        """Solve some pairs."""
        order = sorted(chosen, key=lambda pair: (pair.one, pair.other))
        pairs = pairs_of(self._singles, order)
        self.join(weighed(self._evidence, [one for one in pairs if not _both_unknown(one)]))
        twins = [n for n, one in enumerate(pairs) if _both_unknown(one)]
        if twins:
            begin = np.array([[order[n].value_of_one, order[n].value_of_other] for n in twins])
            best = _rough(self._evidence, self.found[0]) if self.found else -math.inf
            least = best - _BEYOND if self.explained else -math.inf
            self._waiting += _fits(self._evidence, [pairs[n] for n in twins], begin, least)
            best = max(best, *(one.standing for one in self._waiting))
            self._refine(
                [one for one in self._waiting if one.short < _SHORT and one.standing > best - KEEP]
            )

    def refine_all(self) -> None:
        """Look at those more closely that have waited so far."""
        self._refine(self._waiting)

    def _refine(self, fits: Sequence[_Fitted]) -> None:
        chosen = sorted(fits, key=lambda one: -one.standing)[:_REFINED]
        self._waiting = [one for one in self._waiting if not any(one is other for other in chosen)]
        if chosen:
            self.join(_refined(self._evidence, chosen))


def _fits(evidence: Evidence, pairs: Sequence[Suspect], begin: Array, least: float) -> list[_Fitted]:
    """Where pairs fit, those not gone on with that stand below the least to begin with."""
    chances = np.log([max(one.weight, 1e-300) for one in pairs])
    fit = fitted(evidence, pairs, begin, least - chances)
    return [
        _Fitted(pair, fit.logs[n], fit.widths[n], float(fit.scores[n] + chances[n]), float(fit.short[n]))
        for n, pair in enumerate(pairs)
    ]


def _rough(evidence: Evidence, standing: Standing) -> float:
    """The same standing of one that is weighed."""
    row = standing.predicted[None]
    score = float(rough_logs(evidence, row, deviations(evidence, row)).sum())
    return score + math.log(max(standing.suspect.weight, 1e-300))


def _refined(evidence: Evidence, fits: Sequence[_Fitted]) -> list[Standing]:
    """Pairs with two unknown values, each looked for with the other held where it fits."""
    held = [
        replace(one.pair, held=((one.pair.faults[1], float(np.exp(one.logs[1])), 0.0),)) for one in fits
    ]
    places = [Place(0.0, 0.0, float(one.logs[0]), float(one.widths[0])) for one in fits]
    turn = weighed_at(evidence, held, places)
    widths = {one.pair.spec: float(one.widths[1]) for one in fits}
    for _ in range(_TURNS):
        others = [
            Place(0.0, 0.0, math.log(one.suspect.held[0][1]), widths[one.suspect.spec]) for one in turn
        ]
        widths = {one.suspect.spec: width_of(one) for one in turn}
        turn = weighed_at(evidence, [_turned(one) for one in turn], others)
    return turn


def _both_unknown(suspect: Suspect) -> bool:
    return sum(one.severity is not None for one in suspect.faults) > 1


def _turned(standing: Standing) -> Suspect:
    """The same pair with the value that was looked for held, and the other one to be looked for."""
    return replace(standing.suspect, held=value_held(standing))
