"""Suspects against evidence: a rough look at all of them, a fine look at those not hopeless."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.locate.alike import representatives
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.lines import Grids, Lines, Predicted
from circuitcheck.locate.standing import Standing, log_chance
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import (
    Place,
    Posterior,
    best_places,
    deviations,
    first_grid,
    likely_ranges,
    next_grid,
    posterior,
    rough_logs,
)
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool

KEEP = 18.0
"""Log-likelihood below the best at which a suspect is dropped after the rough look."""
HOPELESS = 40.0
"""The same while only some of the benches, or values that miss the right one, have been looked at."""
_AS_SOUND = 1.0
"""Rough log-likelihood below sound at which a suspect still reads like it."""
_LOOKS = 4
"""How often a grid may be moved to where the value turns out to be."""
_WORTH_IT = 5.0
"""Farther below the best than this, a grid that holds the value is not made any finer."""


@dataclass(frozen=True)
class Rough:
    """The rough look.

    :param places: the best place of each suspect that is not hopeless, by its number
    :param likely: for each of those with an unknown value the range that the readings leave, as logs
    :param same_as: for each of those the one that stands for it
    :param top: log-likelihood of the best, at its place
    :param graced: whether sound is among them only because all are compared with it
    """

    places: dict[int, Place]
    likely: dict[int, tuple[float, float]]
    same_as: dict[int, int]
    top: float
    graced: bool = False

    def beside(self, top: float) -> Rough:
        """The same of those that are not hopeless beside another best."""
        if top <= self.top:
            return self
        same_as = {n: one for n, one in self.same_as.items() if self.places[one].score > top - KEEP}
        places = {n: one for n, one in self.places.items() if n in same_as}
        likely = {n: one for n, one in self.likely.items() if n in same_as}
        return Rough(places, likely, same_as, self.top, self.graced)


def both_looks(evidence: Evidence, coarse: Coarse) -> list[Standing]:
    """Suspects weighed in full after a rough look; most likely first.

    The rough look takes every reading on its own and may set sound far back where one common cause
    moves them all. If sound then stands well in the fine look, whatever reads like it comes in again.
    """
    rough = rough_look(evidence, coarse)
    found = fine_look(evidence, coarse, rough)
    if rough.graced:
        sound = next(one for one in found if not one.suspect.faults)
        if sound.log_weight > found[0].log_weight - KEEP:
            return fine_look(evidence, coarse, rough_look(evidence, coarse, like_sound=True))
    return found


def rough_look(evidence: Evidence, coarse: Coarse, *, like_sound: bool = False) -> Rough:
    """Every suspect where it fits best over a coarse range of its unknown value.

    Bench by bench; a suspect that falls hopelessly behind is not asked any further.

    :param like_sound: whether those are kept that stand no worse than sound, the first suspect
    """
    coarse.turn_to(evidence)
    alive = np.ones(len(coarse.suspects), dtype=bool)
    bound, sure = np.zeros(len(coarse.suspects)), np.zeros(len(coarse.suspects))
    for number, bench in enumerate(evidence.benches):
        part = evidence.part(number)
        for suspect, place in _places(part, coarse, alive, coarse.values(bench, alive)):
            bound[suspect] += place.score
            sure[suspect] += place.sure
        least = float(np.max(sure[alive])) - HOPELESS
        alive &= bound > (min(least, bound[0] - _AS_SOUND) if like_sound else least)
        alive[0] = True  # sound, where it is a suspect, is what all are compared with
    plain, valued = zip(*(coarse.values(bench, alive) for bench in evidence.benches), strict=True)
    joined = np.concatenate(plain, axis=-1), np.concatenate(valued, axis=-1)
    places = dict(_places(evidence, coarse, alive, joined))
    top = max(place.sure for place in places.values())
    least = top - KEEP
    graced = not coarse.suspects[0].faults and places[0].score <= least
    if like_sound:
        least = min(least, places[0].score - _AS_SOUND)
    kept = np.array(
        [
            n in places and (places[n].score > least or not one.faults)
            for n, one in enumerate(coarse.suspects)
        ]
    )
    return Rough(
        {n: places[n] for n in places if kept[n]},
        _likely(evidence, coarse, alive, kept, joined[1]),
        _same_as(evidence, coarse, alive, kept, joined),
        top,
        graced,
    )


def _likely(
    evidence: Evidence, coarse: Coarse, alive: Bool, kept: Bool, values: Array
) -> dict[int, tuple[float, float]]:
    """What the readings leave of the range of each unknown value."""
    there = kept[coarse.valued]
    numbers = [n for n in coarse.valued if kept[n]]
    if not numbers:
        return {}
    found = likely_ranges(evidence, coarse.logs[there], values[there[alive[coarse.valued]]])
    return {n: (low, high) for n, (low, high) in zip(numbers, found.tolist(), strict=True)}


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


def _places(
    evidence: Evidence, coarse: Coarse, alive: Bool, values: tuple[Array, Array]
) -> list[tuple[int, Place]]:
    """Where each suspect that is alive fits best."""
    plain = [n for n in coarse.plain if alive[n]]
    scores = rough_logs(evidence, values[0], deviations(evidence, values[0])).sum(axis=-1)
    found = [(n, Place(score, score, 0.0, 0.0)) for n, score in zip(plain, scores.tolist(), strict=True)]
    valued = [n for n in coarse.valued if alive[n]]
    if valued:
        logs = coarse.logs[alive[coarse.valued]]
        found += zip(valued, best_places(evidence, logs, values[1]), strict=True)
    return found


def fine_look(evidence: Evidence, coarse: Coarse, rough: Rough) -> list[Standing]:
    """Those not hopeless, weighed in full; most likely first."""
    suspects = coarse.suspects
    grids = {n: _grid(suspects[n], rough, n) for n in set(rough.same_as.values())}
    lines = Lines(evidence, coarse)
    found: dict[int, Standing] = {}
    better: dict[int, Better] = {}
    for look in range(_LOOKS):
        # A narrow peak that was passed over counts for more than the wide range, or not at all.
        before = {n: found[n].log_weight for n in grids if n in better and better[n].passed_over}
        stood, better = _stand(evidence, suspects, grids, lines.at(grids))
        worse = {n for n, weight in before.items() if stood[n].log_weight < weight}
        found |= {n: one for n, one in stood.items() if n not in worse}
        best = max(one.log_weight for one in found.values())
        grids = {
            n: after.grid
            for n, after in better.items()
            if n not in worse
            and found[n].log_weight > best - (HOPELESS if after.elsewhere else _WORTH_IT)
        }
        if not grids or look + 1 == _LOOKS:
            break
    everyone = [
        found[one].of(suspects[n], coarse.blown(n, found[one].value)) for n, one in rough.same_as.items()
    ]
    return sorted(everyone, key=lambda one: -one.log_weight)


@dataclass(frozen=True)
class Better:
    """A better grid for an unknown value.

    :param elsewhere: whether the value lies between the points of the grid that was tried, or
        outside it, so that the suspect stands worse than it should
    :param passed_over: whether it is a narrow place between two of them, where the range may hold more
    """

    grid: Array
    elsewhere: bool
    passed_over: bool


def unread(coarse: Coarse) -> list[Standing]:
    """How suspects stand before anything has been read: by their chance, over their whole range."""
    none = np.zeros(0)
    found = []
    for number, one in enumerate(coarse.suspects):
        severity = one.severity
        value = severity.typical if severity else 0.0
        # 5 % and 95 % points of a range that is even on a log scale
        span = None
        if severity is not None:
            inside = (severity.high / severity.low) ** 0.05
            span = severity.low * inside, severity.high / inside
        found.append(
            Standing(
                one,
                log_chance(one),
                value,
                span,
                none,
                none,
                none,
                none,
                blown=coarse.blown(number, value),
            )
        )
    return sorted(found, key=lambda one: -one.log_weight)


def _grid(suspect: Suspect, rough: Rough, number: int) -> Array:
    """Logs of the values to try; empty where nothing is unknown."""
    if suspect.severity is None:
        return np.zeros(0)
    return first_grid(suspect.severity, rough.places[number], rough.likely[number])


def _stand(
    evidence: Evidence, suspects: Sequence[Suspect], grids: Grids, predicted: Predicted
) -> tuple[dict[int, Standing], dict[int, Better]]:
    """How each suspect stands, and a better grid for each whose own will not do."""
    weighed = weigh(evidence, predicted.values, predicted.moves)
    found: dict[int, Standing] = {}
    posteriors: dict[int, Posterior] = {}
    for n, rows in predicted.rows.items():
        totals = weighed.total[rows]
        value, span, place, log_evidence = 0.0, None, 0, float(totals[0])
        severity = suspects[n].severity
        if severity is not None:
            known = posterior(severity, grids[n], totals)
            place, span, log_evidence = known.place, (known.low, known.high), known.log_evidence
            value = float(np.exp(grids[n][place]))
            posteriors[n] = known
        row = rows.start + place
        found[n] = Standing(
            suspects[n],
            log_chance(suspects[n]) + log_evidence,
            value,
            span,
            predicted.values[row],
            np.sqrt(np.sum(predicted.moves[row] ** 2, axis=-1)),
            weighed.misread[row],
            weighed.distance[row],
            float(weighed.square[row]),
        )
    return found, _better(evidence, suspects, grids, predicted, posteriors)


def _better(
    evidence: Evidence,
    suspects: Sequence[Suspect],
    grids: Grids,
    predicted: Predicted,
    posteriors: Mapping[int, Posterior],
) -> dict[int, Better]:
    """Grids nearer to the values of those that their own does not resolve."""
    if not posteriors:
        return {}
    logs = np.stack([grids[n] for n in posteriors])
    places = best_places(
        evidence, logs, np.stack([predicted.values[predicted.rows[n]] for n in posteriors])
    )
    found = {}
    for (n, known), place in zip(posteriors.items(), places, strict=True):
        severity = suspects[n].severity
        assert severity is not None
        if place.missed or not known.settled:
            found[n] = Better(*next_grid(severity, grids[n], known, place), place.missed)
    return found
