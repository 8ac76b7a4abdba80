"""Faults that come and go: there in one test, gone in the next.

One latent state a test and not one a reading: all readings of a test see a contact as it should be, or
open, or with the same ohms too many (:mod:`.loose_contact`). In each test such a fault predicts what a
sound circuit does, or one of its lasting twins, and its likelihood is the sum over the ways in which
the tests may have met it. While one lasting state explains all tests as well it is not told from its
twin, has the same unit to put right, and is not listed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np

from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.loose_contact import (
    BAD,
    GONE,
    OPEN,
    Closely,
    Roughly,
    Twin,
    alike,
    log_shares,
    look_closely,
    look_roughly,
)
from circuitcheck.locate.standing import Standing, log_chance
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

_TOLD = 2.0
"""Log-likelihood from which a test says that the fault was there, or was not."""
_CLEAR = 6.0
"""The same from which only one of two states is followed up."""
_BEHIND = 8.0
"""Log of the standing below the best of them at which one is dropped."""
_MOST = 16
"""Faults that are weighed in full, and ways of meeting each in the tests."""


def weigh_passing(evidence: Evidence, coarse: Coarse, passing: Sequence[Twin]) -> list[Standing]:
    """How those stand that no lasting state explains as well as one that differs from test to test."""
    if len(evidence.benches) < 2 or not passing:
        return []
    roughly = look_roughly(evidence, coarse, passing)
    shares = log_shares(passing, roughly.logs)
    mixed = roughly.apart > _TOLD
    scores = np.logaddexp.reduce(roughly.logs + shares, axis=-1).sum(axis=1)
    scores += [log_chance(one.suspect) for one in passing]
    best = scores[mixed].max(initial=-np.inf)
    order = [int(n) for n in np.argsort(-scores) if mixed[n] and scores[n] > best - _BEHIND]
    kept = order[:_MOST]
    if not kept:
        return []
    return _weigh(evidence, coarse, [passing[n] for n in kept], roughly.of(kept), shares[kept])


def _weigh(
    evidence: Evidence, coarse: Coarse, kept: Sequence[Twin], roughly: Roughly, shares: Array
) -> list[Standing]:
    """Weighed in full, the correlation between tests included."""
    ways = [_ways(logs, share) for logs, share in zip(roughly.logs, shares, strict=True)]
    asked = np.array([np.any(many == BAD, axis=0) for many in ways])
    closely = look_closely(evidence, coarse, kept, roughly, asked)
    faults = np.repeat(np.arange(len(kept)), [len(many) for many in ways])
    states = np.concatenate(ways)
    of_test = _tests_of(evidence)
    pick = faults[:, None], states[:, of_test], np.arange(len(of_test))
    values, moves = closely.values[pick], closely.moves[pick]
    weighed = weigh(evidence, values, moves)
    tests = np.arange(states.shape[1])
    costs = shares[faults[:, None], tests, states]
    costs = costs + np.where(states == BAD, closely.narrowed[faults], 0.0)
    totals = weighed.total + costs.sum(axis=1)
    found = []
    for n, one in enumerate(kept):
        mine = np.flatnonzero(faults == n)
        best = int(mine[np.argmax(totals[mine])])
        seen, gone, as_ohm = _met(evidence, states[best], n, roughly, closely)
        found.append(
            Standing(
                one.suspect,
                log_chance(one.suspect) + float(np.logaddexp.reduce(totals[mine])),
                0.0,
                None,
                values[best],
                np.sqrt(np.sum(moves[best] ** 2, axis=-1)),
                weighed.misread[best],
                weighed.distance[best],
                float(weighed.square[best]),
                seen_in=seen,
                gone_in=gone,
                as_ohm=as_ohm,
            )
        )
    return found


def _tests_of(evidence: Evidence) -> Index:
    """The number of the test of each reading (readings,)."""
    counts = [len(bench.observations) for bench in evidence.benches]
    return np.repeat(np.arange(len(counts)), counts)


def _ways(logs: Array, shares: Array) -> Index:
    """The ways in which the tests may have met one fault: its state in each (ways, tests).

    What a test says clearly is taken as said; of the states that are in doubt the likeliest are tried in
    every combination, as long as these are not too many.

    :param logs: log-likelihood of each state of each test (tests, states)
    :param shares: log of their chances beforehand
    """
    scores = logs + shares
    order = np.argsort(-scores, axis=1)
    states = [[int(one)] for one in order[:, 0]]
    others = [
        (float(scores[test, row[0]] - scores[test, state]), test, int(state))
        for test, row in enumerate(order)
        for place, state in enumerate(row)
        if place and not any(alike(logs[test, one], logs[test, state]) for one in row[:place])
    ]
    for behind, test, state in sorted(others):
        more = math.prod(len(one) + (n == test) for n, one in enumerate(states))
        if behind > _CLEAR or more > _MOST:
            break
        states[test].append(state)
    return np.array(list(product(*states)), dtype=np.intp)


def _met(
    evidence: Evidence, way: Index, fault: int, roughly: Roughly, closely: Closely
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[tuple[str, float], ...]]:
    """The names of the tests that met a fault, of those that did not, and its ohms where it had some."""
    first = np.cumsum([0, *(len(bench.observations) for bench in evidence.benches)])
    names = [evidence.seen[one].reading.test for one in first[:-1]]
    told = roughly.logs[fault] - roughly.logs[fault, :, [GONE]].T
    seen = [n for n in range(len(names)) if way[n] != GONE and told[n, way[n]] > _TOLD]
    gone = [n for n in range(len(names)) if way[n] == GONE and told[n, OPEN] < -_TOLD]
    as_ohm = [(names[n], float(closely.ohm[fault, n])) for n in seen if way[n] == BAD]
    return tuple(names[n] for n in seen), tuple(names[n] for n in gone), tuple(as_ohm)
