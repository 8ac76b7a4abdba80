"""Single faults joined into suspects of two or three, with their chances beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from circuitcheck.locate.pairing import Pair
from circuitcheck.locate.suspects import PAIR_SHARE, SOUND_SHARE, Suspect
from circuitcheck.parts.fault import FaultMode

PAIRED = 2 * PAIR_SHARE / (1 - SOUND_SHARE - PAIR_SHARE) ** 2
"""Chance beforehand of a pair, over those of its two faults alone multiplied."""
TRIPLE_SHARE = 0.002
"""Chance beforehand of three faults that have nothing to do with each other; common practice."""


def pairs_of(singles: Sequence[Suspect], chosen: Sequence[Pair]) -> list[Suspect]:
    """Pairs as suspects: of two unknown values the second is held to begin with."""
    found = []
    for pair in chosen:
        one, other = singles[pair.one], singles[pair.other]
        both = one.unknown is not None and other.unknown is not None
        held = ((other.faults[0], pair.value_of_other, 0.0),) if both else ()
        found.append(
            Suspect(
                (*one.faults, *other.faults),
                PAIRED * one.weight * other.weight,
                further(one.fuses, other.fuses),
                held,
            )
        )
    return found


def held_pairs(singles: Sequence[Suspect], chosen: Sequence[Pair]) -> list[Suspect]:
    """Pairs that look good from what their faults do alone, all their values held."""
    found = []
    for pair, both in zip(chosen, pairs_of(singles, chosen), strict=True):
        values = zip(both.faults, (pair.value_of_one, pair.value_of_other), strict=True)
        held = tuple((one, value, 0.0) for one, value in values if one.severity)
        found.append(replace(both, held=held))
    return found


def triples_of(pairs: Sequence[Suspect], partners: Sequence[Suspect]) -> list[Suspect]:
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
                found.setdefault(
                    key,
                    Suspect(
                        faults, scale * pair.weight * more.weight, further(pair.fuses, more.fuses), held
                    ),
                )
    return list(found.values())


def _ways_held(pair: Suspect, more: Suspect) -> list[tuple[tuple[FaultMode, float, float], ...]]:
    """The values of a pair that are held beside a third fault: all, or all but one."""
    if more.unknown is not None or not pair.held:
        return [pair.held]
    return [tuple(one for one in pair.held if one is not free) for free in pair.held]


def further(one: float, other: float) -> float:
    """That of two limits of fuses which lies further from the usual one."""
    return max(one, other, key=lambda limit: abs(limit - 1.0))
