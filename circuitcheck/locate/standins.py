"""Sets of faults in which others that read alike, alone, take the place of some.

Only one fault of each kind is put into pairs. Alone those of a kind read alike; beside another fault
they need not, so that each set is solved again.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice, product, zip_longest

from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.joined import pairs_of
from circuitcheck.locate.pairing import Alone, Pair
from circuitcheck.locate.sets import place_of, rough_height, weighed, weighed_at
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect

_LISTED, _LIKELY = 12, 6
"""Sets whose faults are put in place of others that read alike: of those that stand best, and of
those that looked best beforehand."""
_BEHIND = 8.0
"""Log of the standing below the best of them from which that is not done."""
_MEMBERS, _GUESSED = 900, 300
"""Sets so made at the most."""


def weigh_stand_ins(
    evidence: Evidence,
    singles: Sequence[Suspect],
    known: Alone,
    found: Sequence[Standing],
    likely: Sequence[Pair],
) -> list[Standing]:
    """How sets stand that have faults which read alike in place of those of the best sets.

    None do where none of those that looked best was worth weighing.

    :param found: sets as they stand, most likely first
    :param likely: pairs that looked best beforehand, best first
    """
    if not found:
        return []
    kinds = _Kinds(singles, known)
    best = [one for one in found[:_LISTED] if one.log_weight > found[0].log_weight - _BEHIND]
    made = [(other, place_of(one)) for one in best for other in kinds.members(one.suspect)][:_MEMBERS]
    known_sets = {_named(one) for one, _ in made}
    guessed = _in_turn([kinds.members(one) for one in pairs_of(singles, likely[:_LIKELY])])
    more = (one for one in guessed if _named(one) not in known_sets)
    return [
        *weighed_at(evidence, [one for one, _ in made], [place for _, place in made]),
        *weighed(evidence, list(islice(more, _GUESSED)), rough_height(evidence, found[0])),
    ]


def _named(suspect: Suspect) -> tuple[frozenset[str], float]:
    """What tells a set of faults from another."""
    return frozenset(one.spec for one in suspect.faults), suspect.fuses


def _in_turn(sets: Sequence[Iterable[Suspect]]) -> Iterator[Suspect]:
    """One of each, then the next of each; the likeliest beforehand of each first."""
    ordered = [sorted(many, key=lambda one: -one.weight) for many in sets]
    return (one for turn in zip_longest(*ordered) for one in turn if one is not None)


class _Kinds:
    """Single faults that read alike, and how one takes the place of another in a set."""

    def __init__(self, singles: Sequence[Suspect], known: Alone) -> None:
        self._singles = singles
        self._numbers = {}
        for number in reversed(range(len(singles))):
            for fault in singles[number].faults:
                self._numbers[fault.spec, singles[number].fuses] = number
                self._numbers[fault.spec, 0.0] = number
        # What moves nothing reads as a sound circuit does, which is no fault to put beside another.
        faults = [[one for one in many if singles[one].faults] for many in known.kinds.values()]
        self._like = {number: many for many in faults for number in many}

    def members(self, suspect: Suspect) -> Iterator[Suspect]:
        """All sets with other faults of the same kinds on different parts."""
        numbers = [
            self._numbers.get((one.spec, suspect.fuses), self._numbers[one.spec, 0.0])
            for one in suspect.faults
        ]
        for chosen in product(*(self._like[one] for one in numbers)):
            others = [self._singles[one] for one in sorted(chosen)]
            if list(chosen) == numbers or len({one.faults[0].where for one in others}) < len(chosen):
                continue
            was = {
                self._singles[old].faults[0].spec: self._singles[new].faults[0]
                for old, new in zip(numbers, chosen, strict=True)
            }
            weight = suspect.weight * math.prod(
                max(self._singles[new].weight, 1e-300) / max(self._singles[old].weight, 1e-300)
                for old, new in zip(numbers, chosen, strict=True)
            )
            yield replace(
                suspect,
                faults=tuple(one.faults[0] for one in others),
                weight=weight,
                held=tuple((was[one.spec], value, cost) for one, value, cost in suspect.held),
            )
