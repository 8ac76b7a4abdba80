"""Several faults at once: pairs when no single fault explains the readings, triples when no pair does.

One fault of a pair is among the few that explain most of the readings, or what those leave unexplained.
Where two values are unknown they are looked for in turn, each with the other held where it fitted best.
Triples are the best pairs with one more fault each: greedy, so that three faults none of whose pairs
stands out are not found.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from circuitcheck.harness.model import Harness
from circuitcheck.locate.conclude import explains
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.suspects import PAIR_SHARE, SOUND_SHARE, Suspect
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.locate.weighing import Coarse, Standing, every_prediction, fine_look, rough_look
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.branch import Array

LEADING, DOZEN, OTHERS = 4, 10, 90
"""Single faults that are paired with all others, and that are paired with each other; of all others."""
TRIPLE_SHARE = 0.002
"""Chance beforehand of three faults that have nothing to do with each other; common practice."""
_PARTIAL = 0.3
"""Chance of a wrong reading when a fault is asked to explain only some of them."""
_REFINED = 12
"""Pairs with two unknown values that are looked at again."""
_TURNS = 3
"""How often the one or the other of two unknown values is looked for again."""
_EXTENDED = 4
"""Pairs that triples are made of."""
_LISTED, _ALIKE = 12, 5
"""Sets of faults whose faults are put in place of others that read alike, and how many of those."""
_LIKE = 0.5
"""Standard uncertainties within which two readings are alike."""


def weigh_several(
    harness: Harness, evidence: Evidence, coarse: Coarse, singles: Sequence[Suspect]
) -> list[Standing]:
    """How pairs stand, and triples where no pair explains the readings.

    :param singles: sound and every single fault, as ``coarse`` has them
    """
    predicted, fitted = every_prediction(evidence, coarse)
    partners = _partners(evidence, singles, predicted)
    pairs = _weighed(harness, evidence, _pairs(singles, _chosen(list(partners)), fitted))
    found = _refined(harness, evidence, pairs)
    if found and not explains(found[0]):
        triples = _triples(found[:_EXTENDED], [singles[one] for one in partners])
        found += _weighed(harness, evidence, triples)
    alike = {singles[one].spec: [singles[other] for other in many] for one, many in partners.items()}
    return [other for one in found[:_LISTED] for other in _siblings(one, alike)] + found[_LISTED:]


def _siblings(standing: Standing, alike: Mapping[str, Sequence[Suspect]]) -> list[Standing]:
    """A set of faults, and the sets in which some are put in place of others that read alike."""
    suspect = standing.suspect
    places = [[one, *alike.get(one.faults[0].spec, [])[:_ALIKE]] for one in _apart(suspect)]
    found = []
    for chosen in product(*places):
        faults = tuple(one.faults[0] for one in chosen)
        if len({one.where for one in faults}) == len(faults):
            weight = suspect.weight * math.prod(
                max(one.weight, 1e-300) / max(was.weight, 1e-300)
                for one, was in zip(faults, suspect.faults, strict=True)
            )  # fmt: skip
            other = replace(suspect, faults=faults, weight=weight)
            found.append(standing if faults == suspect.faults else standing.of(other, standing.blown))
    return found


def _apart(suspect: Suspect) -> list[Suspect]:
    """Each fault of a set as a suspect of its own."""
    return [Suspect((one,), one.weight) for one in suspect.faults]


def _weighed(
    harness: Harness, evidence: Evidence, suspects: Sequence[Suspect]
) -> list[Standing]:
    """Those not hopeless, most likely first."""
    if not suspects:
        return []
    coarse = Coarse(harness, suspects)
    return [_with_held(one) for one in fine_look(evidence, coarse, rough_look(evidence, coarse))]


def _with_held(standing: Standing) -> Standing:
    """A standing with what its held values could have been instead taken off."""
    cost = sum(cost for _, _, cost in standing.suspect.held)
    return replace(standing, log_weight=standing.log_weight + cost)


def _chosen(order: Sequence[int]) -> set[tuple[int, int]]:
    """Which faults are paired: the leading ones with all, the dozen that follow with each other."""
    found = {(a, b) for a in order[:LEADING] for b in order}
    found |= {(a, b) for a in order[:DOZEN] for b in order[:DOZEN]}
    return {(min(pair), max(pair)) for pair in found if pair[0] != pair[1]}


def _pairs(
    singles: Sequence[Suspect], chosen: Iterable[tuple[int, int]], fitted: Array
) -> list[Suspect]:
    """Pairs of single faults on different parts, in the order of the harness.

    :param fitted: the value of each single fault that fits best alone: of two unknown values the
        second is held there to begin with
    """
    scale = 2 * PAIR_SHARE / (1 - SOUND_SHARE - PAIR_SHARE) ** 2
    found = []
    for a, b in sorted(chosen):
        one, other = singles[a], singles[b]
        if not one.faults or not other.faults or one.faults[0].where == other.faults[0].where:
            continue
        both = one.unknown is not None and other.unknown is not None
        held = ((other.faults[0], float(fitted[b]), 0.0),) if both else ()
        found.append(Suspect(
            (*one.faults, *other.faults), scale * one.weight * other.weight,
            _further(one.fuses, other.fuses), held,
        ))  # fmt: skip
    return found


def _further(one: float, other: float) -> float:
    """That of two limits of fuses which lies further from the usual one."""
    return max(one, other, key=lambda limit: abs(limit - 1.0))


def _refined(
    harness: Harness, evidence: Evidence, standings: Sequence[Standing]
) -> list[Standing]:
    """Pairs with two unknown values, each value looked for with the other held where it fits."""
    found = {one.suspect.spec: one for one in reversed(standings)}  # of equals the best
    turn = [one for one in standings if _both_unknown(one.suspect)][:_REFINED]
    for _ in range(_TURNS):
        turn = _weighed(harness, evidence, [_turned(one) for one in turn])
        for one in turn:
            spec = one.suspect.spec
            if one.log_weight > found[spec].log_weight or not found[spec].suspect.held:
                found[spec] = one
    return sorted(found.values(), key=lambda one: -one.log_weight)


def _both_unknown(suspect: Suspect) -> bool:
    return sum(one.severity is not None for one in suspect.faults) > 1


def _turned(standing: Standing) -> Suspect:
    """The same pair with the value that was looked for held, and the other one to be looked for."""
    return replace(standing.suspect, held=_held(standing))


def _held(standing: Standing) -> tuple[tuple[FaultMode, float, float], ...]:
    """The value that was looked for, held where it fits, with the log of its Occam factor.

    A normal posterior of that width against a range even on a log scale (D. J. C. MacKay, Neural
    Computation 4, 1992, section 2.3; from memory).
    """
    unknown, span = standing.suspect.unknown, standing.span
    if unknown is None or unknown.severity is None or span is None:
        return ()
    deviation = max(math.log(span[1] / span[0]), 1e-3) / (2 * 1.645)
    share = math.sqrt(2 * math.pi) * deviation / math.log(unknown.severity.high / unknown.severity.low)
    return ((unknown, standing.value, math.log(min(share, 1.0))),)


def _triples(pairs: Sequence[Standing], partners: Sequence[Suspect]) -> list[Suspect]:
    """Each pair, its values held, with each further fault; every set of three once."""
    scale = 3 * TRIPLE_SHARE / (1 - SOUND_SHARE - PAIR_SHARE) / PAIR_SHARE
    found: dict[frozenset[str], Suspect] = {}
    for pair in pairs:
        taken = {one.where for one in pair.suspect.faults}
        held = (*pair.suspect.held, *_held(pair))
        for more in partners:
            if more.faults[0].where in taken:
                continue
            faults = (*pair.suspect.faults, *more.faults)
            key = frozenset(one.spec for one in faults)
            found.setdefault(key, Suspect(
                faults, scale * pair.suspect.weight * more.weight,
                _further(pair.suspect.fuses, more.fuses), held,
            ))  # fmt: skip
    return list(found.values())


def _partners(
    evidence: Evidence, singles: Sequence[Suspect], predicted: Array
) -> dict[int, list[int]]:
    """The single faults that explain most of the readings, each with those that look like it.

    The first explains most; each of the next few most of what those before it leave unexplained.
    """
    u = deviations(evidence, predicted)
    logs = rough_logs(evidence, predicted, u, _PARTIAL)
    partial = logs.sum(axis=-1) + np.array([np.log(max(one.weight, 1e-12)) for one in singles])
    # An open line and a relay that buzzes are like themselves only.
    marked = np.where(np.isfinite(predicted), predicted, 1e15)
    kinds: dict[int, list[int]] = {}
    for number in np.argsort(-partial).tolist():
        if singles[number].faults:
            met = np.array(list(kinds), dtype=np.intp)
            apart = np.abs(marked[met] - marked[number]) >= _LIKE * u[number]
            like = next(iter(met[~apart.any(axis=1)].tolist()), None)
            if like is None:
                kinds[number] = []
            elif (singles[like].unknown is None) == (singles[number].unknown is None):
                kinds[like].append(number)
    order = list(kinds)[:1]
    best = logs[order].max(axis=0)
    while len(order) < min(LEADING, len(kinds)):
        left = [one for one in kinds if one not in order]
        gain = np.maximum(logs[left] - best, 0.0).sum(axis=-1)
        order.append(left[int(np.argmax(gain))])
        best = np.maximum(best, logs[order[-1]])
    order += [one for one in kinds if one not in order]
    return {one: kinds[one] for one in order[:OTHERS]}
