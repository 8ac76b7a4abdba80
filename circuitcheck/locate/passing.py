"""Faults that come and go: there in one test, gone in the next.

One latent switch a test and not one a reading: all readings of a test see the fault, or none does, each
with a chance of one half. So nothing needs solving that is not solved already: in each test such a fault
predicts what its lasting twin does, or what a sound circuit does, and its likelihood is the average over
the ways in which the tests may have met it. While no test contradicts another it is not told from its
twin, has the same unit to put right, and is not listed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.lines import Lines
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool, Index

_TOLD = 2.0
"""Log-likelihood from which a test says that the fault was there, or was not."""
_CLEAR = 6.0
"""The same from which only one of the two is followed up."""
_BEHIND = 8.0
"""Log of the standing below the best of them at which one is dropped."""
_MOST = 16
"""Faults that are weighed in full, and ways of meeting each in the tests."""


@dataclass(frozen=True)
class Twin:
    """A fault that comes and goes, and the number of the lasting one that it is while it is there."""

    suspect: Suspect
    lasting: int


def twins(singles: Sequence[Suspect], passing: Sequence[Suspect]) -> list[Twin]:
    """Each fault that comes and goes with its lasting twin."""
    numbers = {one.spec: number for number, one in enumerate(singles)}
    return [Twin(one, numbers[one.lasting_spec]) for one in passing]


def weigh_passing(evidence: Evidence, coarse: Coarse, passing: Sequence[Twin]) -> list[Standing]:
    """How those stand that some test has met and some test has missed."""
    if len(evidence.benches) < 2 or not passing:
        return []
    there, gone = _rough(evidence, coarse, passing)
    met = there - gone
    mixed: Bool = np.any(met > _TOLD, axis=1) & np.any(met < -_TOLD, axis=1)
    scores = np.logaddexp(there, gone[None]).sum(axis=1)
    scores += np.log([max(one.suspect.weight, 1e-300) for one in passing])
    best = scores[mixed].max(initial=-np.inf)
    order = [int(n) for n in np.argsort(-scores) if mixed[n] and scores[n] > best - _BEHIND]
    kept = order[:_MOST]
    return _fine(evidence, coarse, [passing[n] for n in kept], met[kept]) if kept else []


def _rough(evidence: Evidence, coarse: Coarse, passing: Sequence[Twin]) -> tuple[Array, Array]:
    """Rough log-likelihood of each test with each fault there (faults, tests), and sound (tests,)."""
    wanted = np.zeros(len(coarse.suspects), dtype=bool)
    wanted[[0, *(one.lasting for one in passing)]] = True
    places = {number: place for place, number in enumerate(one for one in coarse.plain if wanted[one])}
    rows = [places[one.lasting] for one in passing]
    found = []
    for number, bench in enumerate(evidence.benches):
        part = evidence.part(number)
        values, _ = coarse.values(bench, wanted)
        found.append(rough_logs(part, values, deviations(part, values)).sum(axis=-1))
    by_test = np.stack(found, axis=1)
    return by_test[rows], by_test[places[0]]


def _fine(evidence: Evidence, coarse: Coarse, kept: Sequence[Twin], met: Array) -> list[Standing]:
    """Weighed in full, the correlation between tests included.

    :param met: rough log-likelihood of each test with the fault there over that without it
    """
    numbers = (0, *(one.lasting for one in kept))
    predicted = Lines(evidence, coarse).at({n: np.zeros(0) for n in numbers})
    sound, *there = (predicted.rows[n].start for n in numbers)
    of_test = _columns(evidence)
    ways = [_ways(one) for one in met]
    rows = [
        np.where(way[of_test], row, sound) for row, many in zip(there, ways, strict=True) for way in many
    ]
    pick, column = np.stack(rows), np.arange(len(of_test))
    values, shifts = predicted.values[pick, column], predicted.moves[pick, column]
    weighed = weigh(evidence, values, shifts)
    spread = np.sqrt(np.sum(shifts**2, axis=-1))
    found, first = [], 0
    for one, many, told in zip(kept, ways, met, strict=True):
        totals = weighed.total[first : first + len(many)]
        best = first + int(np.argmax(totals))
        # Where both predict the same, the switch makes no difference and costs nothing.
        log_half = -math.log(2.0) * int(np.sum(np.abs(told) > 1e-9))
        log_evidence = float(np.logaddexp.reduce(totals)) + log_half
        seen, missed = _tests(evidence, many[best - first], told)
        found.append(
            Standing(
                one.suspect,
                math.log(max(one.suspect.weight, 1e-300)) + log_evidence,
                0.0,
                None,
                values[best],
                spread[best],
                weighed.misread[best],
                weighed.distance[best],
                float(weighed.square[best]),
                seen_in=seen,
                gone_in=missed,
            )
        )
        first += len(many)
    return found


def _columns(evidence: Evidence) -> Index:
    """The number of its test for each reading."""
    counts = [len(bench.observations) for bench in evidence.benches]
    return np.repeat(np.arange(len(counts)), counts)


def _ways(met: Array) -> list[Bool]:
    """The ways in which the tests may have met a fault: whether it was there in each (tests,).

    What a test says clearly is taken as said; of the doubtful ones those nearest to even are tried
    both ways.
    """
    doubtful = [int(n) for n in np.argsort(np.abs(met)) if 1e-9 < abs(met[n]) < _CLEAR]
    doubtful = doubtful[: int(math.log2(_MOST))]
    found = []
    for chosen in product((True, False), repeat=len(doubtful)):
        way: Bool = np.asarray(met > 0)
        way[doubtful] = chosen
        found.append(way)
    return found


def _tests(evidence: Evidence, way: Bool, met: Array) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The names of the tests in which the fault was there, and of those in which it was gone."""
    names = []
    first = 0
    for bench in evidence.benches:
        names.append(evidence.seen[first].reading.test)
        first += len(bench.observations)
    seen = tuple(
        name for name, there, told in zip(names, way, met, strict=True) if there and told > _TOLD
    )
    gone = tuple(
        name for name, there, told in zip(names, way, met, strict=True) if not there and told < -_TOLD
    )
    return seen, gone
