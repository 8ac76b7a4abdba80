"""Several faults at once: pairs when no single fault explains the readings, triples when no pair does.

The pairs that are solved are those that look best from what their faults do alone; if none of them will
do, the faults that explain most, and what those leave unexplained, with all others.
Where two values are unknown they are looked for in turn, each with the other held where it fitted best.
Where one fault explains every reading but one, only those that :mod:`.beside` lets through are solved.
Triples are the best pairs with one more fault each: greedy, so that three faults none of whose pairs
stands out are not found.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product, zip_longest

import numpy as np

from circuitcheck.harness.model import Harness
from circuitcheck.locate.alike import representatives
from circuitcheck.locate.beside import PAIRED, beside
from circuitcheck.locate.conclude import explains
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.pairing import Alone, Pair, alone, likely_pairs
from circuitcheck.locate.suspects import PAIR_SHARE, SOUND_SHARE, Suspect, Trial, predict
from circuitcheck.locate.twovalues import fitted
from circuitcheck.locate.values import Place, deviations, rough_logs
from circuitcheck.locate.weighing import KEEP, Coarse, Rough, Standing, fine_look, rough_look
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.branch import Array

TRIED = 90
"""Pairs that are solved at first, in each of the two ways of judging them."""
LEADING, OTHERS = 4, 120
"""Faults that are paired with all others if none of those explains the readings; and of all others."""
TRIPLE_SHARE = 0.002
"""Chance beforehand of three faults that have nothing to do with each other; common practice."""
_REFINED = 20
"""Pairs with two unknown values that are looked at again."""
_SHORT = 30.0
"""Rough log-likelihood that a pair may lack and yet explain all readings but one or two."""
_BEYOND = 60.0
"""The same below a pair that explains the readings from which values are not fitted."""
_TURNS = 2
"""How often the one or the other of two unknown values is looked for again."""
_EXTENDED = 4
"""Pairs that triples are made of: those that stand best, besides the leading faults by twos."""
_LISTED, _LIKELY = 12, 6
"""Sets whose faults are put in place of others that read alike: of those that stand best, and of
those that looked best beforehand."""
_BEHIND = 8.0
"""Log of the standing below the best of them from which that is not done."""
_MEMBERS, _GUESSED = 900, 300
"""Sets so made at the most."""


def weigh_several(
    harness: Harness, evidence: Evidence, coarse: Coarse, singles: Sequence[Suspect]
) -> list[Standing]:
    """How pairs stand, and triples where no pair explains the readings.

    :param singles: sound and every single fault, as ``coarse`` has them
    """
    known = alone(evidence, coarse)
    likely = likely_pairs(evidence, singles, known, TRIED)
    pairs = _Solver(harness, evidence, singles)
    pairs.take(likely)
    if not pairs.explained:
        partners = _partners(singles, known)
        pairs.take(_with_leading(singles, known, partners, likely))
        if not pairs.explained:
            pairs.refine_all()
        if pairs.found and not pairs.explained:
            bases = [replace(one.suspect, held=(*one.suspect.held, *_held(one)))
                     for one in pairs.found[:_EXTENDED]]  # fmt: skip
            bases += _held_pairs(singles, _with_leading(singles, known, partners[:LEADING], ()))
            triples = _triples(bases, [singles[one] for one in partners])
            pairs.join(_weighed(harness, evidence, triples))
    found = pairs.found
    return _best_of([*found, *_members(harness, evidence, singles, known, found, likely)])


def weigh_beside(
    harness: Harness, evidence: Evidence, coarse: Coarse, singles: Sequence[Suspect],
    standings: Sequence[Standing],
) -> list[Standing]:  # fmt: skip
    """How pairs stand, where one fault explains every reading but one: of those that could matter.

    :param standings: of the faults by themselves, most likely first
    """
    known = alone(evidence, coarse)
    likely = beside(evidence, singles, known, standings)
    if not likely:
        return []
    pairs = _Solver(harness, evidence, singles)
    pairs.take(likely)
    found = pairs.found
    return _best_of([*found, *_members(harness, evidence, singles, known, found, likely)])


def _members(
    harness: Harness, evidence: Evidence, singles: Sequence[Suspect], known: Alone,
    found: Sequence[Standing], likely: Sequence[Pair],
) -> list[Standing]:  # fmt: skip
    """How sets stand that have faults which read alike, alone, in place of those of the best sets."""
    kinds = _Kinds(singles, known)
    best = [one for one in found[:_LISTED] if one.log_weight > found[0].log_weight - _BEHIND]
    made = [(other, _place(one)) for one in best for other in kinds.members(one.suspect)][:_MEMBERS]
    guessed = _in_turn([kinds.members(one) for one in _pairs(singles, likely[:_LIKELY])])
    return [
        *_weighed_at(harness, evidence, [one for one, _ in made], [place for _, place in made]),
        *_weighed(harness, evidence, list(islice(guessed, _GUESSED))),
    ]


def _place(standing: Standing) -> Place:
    """Where the unknown value of a set has been found to lie."""
    log_value = math.log(standing.value) if standing.suspect.unknown else 0.0
    return Place(0.0, 0.0, log_value, _width(standing))


def _in_turn(sets: Sequence[Iterable[Suspect]]) -> Iterator[Suspect]:
    """One of each, then the next of each; the likeliest beforehand of each first."""
    ordered = [sorted(many, key=lambda one: -one.weight) for many in sets]
    return (one for turn in zip_longest(*ordered) for one in turn if one is not None)


def _best_of(standings: Iterable[Standing]) -> list[Standing]:
    """Each set of faults as it stands best; most likely first."""
    found: dict[tuple[frozenset[str], float], Standing] = {}
    for one in sorted(standings, key=lambda one: -one.log_weight):
        found.setdefault((frozenset(fault.spec for fault in one.suspect.faults), one.suspect.fuses), one)
    return list(found.values())


class _Kinds:
    """Single faults that read alike, and how one takes the place of another in a set.

    Alone they read alike; beside another fault they need not, so that each set is solved again.
    """

    def __init__(self, singles: Sequence[Suspect], known: Alone) -> None:
        self._singles = singles
        self._numbers = {}
        for number in reversed(range(len(singles))):
            for fault in singles[number].faults:
                self._numbers[fault.spec, singles[number].fuses] = number
                self._numbers[fault.spec, 0.0] = number
        self._like = {number: many for many in known.kinds.values() for number in many}

    def members(self, suspect: Suspect) -> Iterator[Suspect]:
        """All sets with other faults of the same kinds on different parts."""
        numbers = [self._numbers.get((one.spec, suspect.fuses), self._numbers[one.spec, 0.0])
                   for one in suspect.faults]  # fmt: skip
        for chosen in product(*(self._like[one] for one in numbers)):
            others = [self._singles[one] for one in sorted(chosen)]
            if list(chosen) == numbers or len({one.faults[0].where for one in others}) < len(chosen):
                continue
            was = {self._singles[old].faults[0].spec: self._singles[new].faults[0]
                   for old, new in zip(numbers, chosen, strict=True)}  # fmt: skip
            weight = suspect.weight * math.prod(
                max(self._singles[new].weight, 1e-300) / max(self._singles[old].weight, 1e-300)
                for old, new in zip(numbers, chosen, strict=True)
            )  # fmt: skip
            yield replace(
                suspect, faults=tuple(one.faults[0] for one in others), weight=weight,
                held=tuple((was[one.spec], value, cost) for one, value, cost in suspect.held),
            )  # fmt: skip


def _weighed(harness: Harness, evidence: Evidence, suspects: Sequence[Suspect]) -> list[Standing]:
    """Those not hopeless, most likely first."""
    if not suspects:
        return []
    coarse = Coarse(harness, suspects)
    return [_with_held(one) for one in fine_look(evidence, coarse, rough_look(evidence, coarse))]


def _with_held(standing: Standing) -> Standing:
    """A standing with what its held values could have been instead taken off."""
    cost = sum(cost for _, _, cost in standing.suspect.held)
    return replace(standing, log_weight=standing.log_weight + cost)


def _with_leading(
    singles: Sequence[Suspect], known: Alone, partners: Sequence[int], tried: Sequence[Pair]
) -> list[Pair]:
    """The leading faults with all others, but for what has been tried; values as they fit alone."""
    row = {int(n): place for place, n in reversed(list(enumerate(known.suspect)))}
    met = {(one.one, one.other) for one in tried}
    found: dict[tuple[int, int], Pair] = {}
    for a in partners[:LEADING]:
        for b in partners:
            one, other = min(a, b), max(a, b)
            apart = singles[one].faults[0].where != singles[other].faults[0].where
            if apart and (one, other) not in met:
                values = (float(known.values[row[n]]) for n in (one, other))
                found.setdefault((one, other), Pair(one, other, *values))
    return list(found.values())


def _pairs(singles: Sequence[Suspect], chosen: Sequence[Pair]) -> list[Suspect]:
    """Pairs as suspects: of two unknown values the second is held to begin with."""
    found = []
    for pair in chosen:
        one, other = singles[pair.one], singles[pair.other]
        both = one.unknown is not None and other.unknown is not None
        held = ((other.faults[0], pair.value_of_other, 0.0),) if both else ()
        found.append(Suspect(
            (*one.faults, *other.faults), PAIRED * one.weight * other.weight,
            _further(one.fuses, other.fuses), held,
        ))  # fmt: skip
    return found


def _further(one: float, other: float) -> float:
    """That of two limits of fuses which lies further from the usual one."""
    return max(one, other, key=lambda limit: abs(limit - 1.0))


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


class _Solver:
    """Pairs as they stand, most likely first; those with two unknown values are fitted first.

    Of these only those are looked at more closely that come near the best so far and leave no more
    than a reading or two unexplained; the others wait for whether they are needed.
    """

    def __init__(self, harness: Harness, evidence: Evidence, singles: Sequence[Suspect]) -> None:
        self._given = harness, evidence
        self._singles = singles
        self._waiting: list[_Fitted] = []
        self.found: list[Standing] = []

    @property
    def explained(self) -> bool:
        """Whether the best of them explains the readings."""
        return bool(self.found) and explains(self.found[0])

    def join(self, standings: Sequence[Standing]) -> None:
        """Put further ones among those found."""
        self.found = _best_of([*self.found, *standings])

    def take(self, chosen: Sequence[Pair]) -> None:
        """Solve some pairs."""
        order = sorted(chosen, key=lambda pair: (pair.one, pair.other))
        pairs = _pairs(self._singles, order)
        self.join(_weighed(*self._given, [one for one in pairs if not _both_unknown(one)]))
        twins = [n for n, one in enumerate(pairs) if _both_unknown(one)]
        if twins:
            begin = np.array([[order[n].value_of_one, order[n].value_of_other] for n in twins])
            best = _rough(self._given[1], self.found[0]) if self.found else -math.inf
            least = best - _BEYOND if self.explained else -math.inf
            self._waiting += _fits(self._given[1], [pairs[n] for n in twins], begin, least)
            best = max(best, *(one.standing for one in self._waiting))
            self._refine([one for one in self._waiting
                          if one.short < _SHORT and one.standing > best - KEEP])  # fmt: skip

    def refine_all(self) -> None:
        """Look at those more closely that have waited so far."""
        self._refine(self._waiting)

    def _refine(self, fits: Sequence[_Fitted]) -> None:
        chosen = sorted(fits, key=lambda one: -one.standing)[:_REFINED]
        self._waiting = [one for one in self._waiting if not any(one is other for other in chosen)]
        if chosen:
            self.join(_refined(*self._given, chosen))


def _fits(
    evidence: Evidence, pairs: Sequence[Suspect], begin: Array, least: float
) -> list[_Fitted]:
    """Where pairs fit, those not gone on with that stand below the least to begin with."""
    chances = np.log([max(one.weight, 1e-300) for one in pairs])
    fit = fitted(evidence, pairs, begin, least - chances)
    return [
        _Fitted(pair, fit.logs[n], fit.widths[n], float(fit.scores[n] + chances[n]), float(fit.short[n]))
        for n, pair in enumerate(pairs)
    ]  # fmt: skip


def _rough(evidence: Evidence, standing: Standing) -> float:
    """The same standing of one that is weighed."""
    row = standing.predicted[None]
    score = float(rough_logs(evidence, row, deviations(evidence, row)).sum())
    return score + math.log(max(standing.suspect.weight, 1e-300))


def _refined(harness: Harness, evidence: Evidence, fits: Sequence[_Fitted]) -> list[Standing]:
    """Pairs with two unknown values, each looked for with the other held where it fits."""
    held = [replace(one.pair, held=((one.pair.faults[1], float(np.exp(one.logs[1])), 0.0),))
            for one in fits]  # fmt: skip
    places = [Place(0.0, 0.0, float(one.logs[0]), float(one.widths[0])) for one in fits]
    turn = _weighed_at(harness, evidence, held, places)
    widths = {one.pair.spec: float(one.widths[1]) for one in fits}
    for _ in range(_TURNS):
        others = [Place(0.0, 0.0, math.log(one.suspect.held[0][1]), widths[one.suspect.spec])
                  for one in turn]  # fmt: skip
        widths = {one.suspect.spec: _width(one) for one in turn}
        turn = _weighed_at(harness, evidence, [_turned(one) for one in turn], others)
    return turn


def _weighed_at(
    harness: Harness, evidence: Evidence, suspects: Sequence[Suspect], places: Sequence[Place]
) -> list[Standing]:
    """The same as :func:`_weighed`, where it is known what the unknown values are about."""
    if not suspects:
        return []
    ranges = {n: (one.log_value, one.log_value) for n, one in enumerate(places)}
    rough = Rough(dict(enumerate(places)), ranges, _alike(evidence, suspects, places))
    return [_with_held(one) for one in fine_look(evidence, Coarse(harness, suspects), rough)]


def _alike(evidence: Evidence, suspects: Sequence[Suspect], places: Sequence[Place]) -> dict[int, int]:
    """For each suspect the first that reads like it, where their values lie."""
    trials = [Trial(n, np.exp([places[n].log_value])) for n in range(len(suspects))]
    values = predict(evidence, suspects, trials).values
    found: dict[int, int] = {}
    for unknown in (False, True):
        mine = np.array([n for n, one in enumerate(suspects) if (one.unknown is not None) == unknown],
                        dtype=np.intp)  # fmt: skip
        first = representatives(evidence, values[mine][:, None])
        found |= {int(n): int(mine[one]) for n, one in zip(mine, first, strict=True)}
    return found


def _width(standing: Standing) -> float:
    """Standard uncertainty of the log of the value that was looked for."""
    low, high = standing.span or (1.0, 1.0)
    return max(math.log(high / low), 1e-3) / (2 * 1.645)


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
    whole = math.log(unknown.severity.high / unknown.severity.low)
    share = math.sqrt(2 * math.pi) * _width(standing) / whole
    return ((unknown, standing.value, math.log(min(share, 1.0))),)


def _held_pairs(singles: Sequence[Suspect], chosen: Sequence[Pair]) -> list[Suspect]:
    """Pairs that look good from what their faults do alone, all their values held."""
    found = []
    for pair, both in zip(chosen, _pairs(singles, chosen), strict=True):
        values = zip(both.faults, (pair.value_of_one, pair.value_of_other), strict=True)
        held = tuple((one, value, 0.0) for one, value in values if one.severity)
        found.append(replace(both, held=held))
    return found


def _triples(pairs: Sequence[Suspect], partners: Sequence[Suspect]) -> list[Suspect]:
    """Each pair with each further fault; every set of three once.

    Its values are held; beside a fault without one each is looked for again.
    """
    scale = 3 * TRIPLE_SHARE / (1 - SOUND_SHARE - PAIR_SHARE) / PAIR_SHARE
    found: dict[tuple[frozenset[str], frozenset[str]], Suspect] = {}
    for pair in pairs:
        taken = {one.where for one in pair.faults}
        for more in partners:
            if more.faults[0].where in taken:
                continue
            faults = (*pair.faults, *more.faults)
            named = frozenset(one.spec for one in faults)
            for held in _ways_held(pair, more):
                key = named, frozenset(one.spec for one, _, _ in held)
                found.setdefault(key, Suspect(faults, scale * pair.weight * more.weight,
                                              _further(pair.fuses, more.fuses), held))  # fmt: skip
    return list(found.values())


def _ways_held(pair: Suspect, more: Suspect) -> list[tuple[tuple[FaultMode, float, float], ...]]:
    """The values of a pair that are held beside a third fault: all, or all but one."""
    if more.unknown is not None or not pair.held:
        return [pair.held]
    return [tuple(one for one in pair.held if one is not free) for free in pair.held]


def _partners(singles: Sequence[Suspect], known: Alone) -> list[int]:
    """The single faults that explain most of the readings, one of each kind.

    The first explains most; each of the next few most of what those before it leave unexplained.
    """
    partial = known.logs.sum(axis=-1) + np.log([max(singles[n].weight, 1e-12)
                                                for n in known.suspect.tolist()])  # fmt: skip
    order = np.argsort(-partial, kind="stable").tolist()
    rows = list({int(known.suspect[row]): row for row in reversed(order)}.values())
    rows.sort(key=lambda row: -partial[row])
    chosen = rows[:1]
    best = known.logs[chosen].max(axis=0)
    while len(chosen) < min(LEADING, len(rows)):
        left = [row for row in rows if row not in chosen]
        gain = np.maximum(known.logs[left] - best, 0.0).sum(axis=-1)
        chosen.append(left[int(np.argmax(gain))])
        best = np.maximum(best, known.logs[chosen[-1]])
    chosen += [row for row in rows if row not in chosen]
    return [int(known.suspect[row]) for row in chosen[:OTHERS]]
