"""What takes part in the suspects: fault by fault, those together of which any one would do as well.

A dozen pairs that no reading tells apart are mostly one fault that is in all of them, and a second one
that may be any of a dozen. Whoever has to find them looks for two things, not for a dozen pairs.
"""

from __future__ import annotations

from collections.abc import Sequence

from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Culprit
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.branch import Array

_SHOWN_FROM = 1e-3
"""Chance of taking part from which a culprit is named."""


def culprits_of(
    standings: Sequence[Standing], chances: Array, groups: Sequence[int]
) -> tuple[Culprit, ...]:
    """The culprits, the one that takes part in most of all the chance first.

    A fault belongs to a culprit if it can stand in the place of that culprit's first fault, all else
    that is wrong being the same, without the readings telling the two sets of faults apart.

    :param chances: of each suspect
    :param groups: number of the group of each: those of one group are not told apart
    """
    order = sorted(range(len(standings)), key=lambda n: (groups[n], -chances[n]))
    sets = [frozenset(one.spec for one in standings[n].suspect.faults) for n in order]
    group_of = {specs: groups[n] for specs, n in zip(sets, order, strict=True)}
    first_of: dict[str, str] = {}
    for specs, n in zip(sets, order, strict=True):
        for fault in standings[n].suspect.faults:
            if fault.spec not in first_of:
                first_of[fault.spec] = _stood_in_for(fault.spec, specs, first_of, group_of)
    modes = {one.spec: one for n in order for one in standings[n].suspect.faults}
    members: dict[str, list[FaultMode]] = {}
    for spec, first in first_of.items():
        members.setdefault(first, []).append(modes[spec])
    chance = dict.fromkeys(members, 0.0)
    for specs, n in zip(sets, order, strict=True):
        for first in {first_of[spec] for spec in specs}:
            chance[first] += float(chances[n])
    found = [
        Culprit(
            tuple(one.spec for one in faults),
            tuple(dict.fromkeys(one.replace for one in faults)),
            min(chance[first], 1.0),
        )
        for first, faults in members.items()
        if chance[first] > _SHOWN_FROM
    ]
    return tuple(sorted(found, key=lambda one: -one.chance))


def _stood_in_for(
    spec: str, specs: frozenset[str], first_of: dict[str, str], group_of: dict[frozenset[str], int]
) -> str:
    """The first fault of the culprit that a fault of a suspect belongs to; itself if it is a new one."""
    others = specs - {spec}
    for first in dict.fromkeys(first_of.values()):
        if first in others:
            continue
        for rest in (others, frozenset(first_of.get(one, one) for one in others)):
            instead = rest | {first}
            if len(instead) == len(specs) and group_of.get(instead) == group_of[specs]:
                return first
    return spec
