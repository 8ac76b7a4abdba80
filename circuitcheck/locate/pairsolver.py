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
from circuitcheck.locate.sets import Look, best_of, rough_height, value_held, weighed_at, width_of
from circuitcheck.locate.standing import Standing, log_chance
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.twovalues import fitted
from circuitcheck.locate.values import Place, at_best, deviations
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
    """Pairs as they stand, most likely first.

    They are looked at roughly as they come, and weighed when asked for: those with at most one unknown
    value first. Where two are unknown both are fitted, and only those looked at more closely that come
    near the best so far and leave no more than a reading or two unexplained; the others wait for whether
    they are needed.
    """

    def __init__(self, evidence: Evidence, singles: Sequence[Suspect]) -> None:
        self._evidence = evidence
        self._singles = singles
        self._looks: list[Look] = []
        self._unfitted: list[tuple[Suspect, Pair]] = []
        self._waiting: list[_Fitted] = []
        self.found: list[Standing] = []

    @property
    def explained(self) -> bool:
        """Whether the best of them explains the readings."""
        return bool(self.found) and explains(self.found[0])

    @property
    def promising(self) -> bool:
        """Whether one that has been looked at roughly may explain the readings."""
        whole = at_best(self._evidence, deviations(self._evidence, self._evidence.measured)).sum()
        return any(one.top > whole - _SHORT for one in self._looks)

    def join(self, standings: Sequence[Standing]) -> None:
        """Put further ones among those found."""
        self.found = best_of([*self.found, *standings])

    def look(self, chosen: Sequence[Pair]) -> None:
        """Look at some pairs roughly."""
        order = sorted(chosen, key=lambda pair: (pair.one, pair.other))
        pairs = pairs_of(self._singles, order)
        plain = [one for one in pairs if not _both_unknown(one)]
        if plain:
            self._looks.append(Look(self._evidence, plain))
        self._unfitted += [both for both in zip(pairs, order, strict=True) if _both_unknown(both[0])]

    def weigh(self) -> None:
        """Weigh what has been looked at."""
        # A rough look may pass over a value: only beside one that explains the readings is that no loss.
        top = max(one.top for one in self._looks) if self.promising else -math.inf
        for one in self._looks:
            self.join(one.weighed(top))
        self._looks = []
        if self._unfitted:
            self._fit()

    def _fit(self) -> None:
        pairs, order = zip(*self._unfitted, strict=True)
        self._unfitted = []
        begin = np.array([[one.value_of_one, one.value_of_other] for one in order])
        best = -math.inf
        if self.found:
            best = rough_height(self._evidence, self.found[0]) + log_chance(self.found[0].suspect)
        best_fit = best if self.explained else -math.inf
        self._waiting += _fits(self._evidence, pairs, begin, best_fit)
        best = max(best, *(one.standing for one in self._waiting))
        self._refine([one for one in self._waiting if one.short < _SHORT and one.standing > best - KEEP])

    def refine_all(self) -> None:
        """Look at those more closely that have waited so far."""
        self._refine(self._waiting)

    def _refine(self, fits: Sequence[_Fitted]) -> None:
        chosen = sorted(fits, key=lambda one: -one.standing)[:_REFINED]
        self._waiting = [one for one in self._waiting if not any(one is other for other in chosen)]
        if chosen:
            self.join(_refined(self._evidence, chosen))


def _fits(evidence: Evidence, pairs: Sequence[Suspect], begin: Array, best: float) -> list[_Fitted]:
    """Where pairs fit, as far as they may come near to one that explains the readings.

    :param best: log of its chance and of its rough likelihood, if there is one
    """
    chances = np.array([log_chance(one) for one in pairs])
    fit = fitted(evidence, pairs, begin, best - _BEYOND - chances, best - KEEP - chances)
    return [
        _Fitted(pair, fit.logs[n], fit.widths[n], float(fit.scores[n] + chances[n]), float(fit.short[n]))
        for n, pair in enumerate(pairs)
    ]


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
