"""Which explanations no check can tell apart, and the check that parts the others."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from circuitcheck.inspect.continuity.ohms import Check, Patch, Predictor
from circuitcheck.inspect.continuity.search import Found

STEP_OHM = 0.7
"""Readings closer than this are not told apart [ohm]: twice the error of a common meter with its
probes, and a digit; common practice, no source."""
CONSIDERED = 240
"""Explanations that are compared; the less usual ones beyond are left out."""
DRAWS = 60
"""Ways of clipping half of the ends that are tried for a parting check."""


@dataclass(frozen=True)
class Group:
    """Explanations that no check at the plugs can tell apart, the most usual first."""

    members: tuple[Found, ...]
    state: _State

    @property
    def first(self) -> Found:
        """The most usual one."""
        return self.members[0]


class _State:
    """One explanation as a meter sees it from the reachable ends."""

    def __init__(self, predictor: Predictor, found: Found, ends: Sequence[str]) -> None:
        patch = predictor.patch(found.overlay)
        whole = predictor.whole
        self.cluster: dict[str, tuple[bool, int]] = {
            end: (end in patch.joined, patch.joined.get(end, whole.joined[end])) for end in ends
        }
        first: dict[tuple[bool, int], int] = {}
        self.shape = tuple(
            first.setdefault(one, number) for number, one in enumerate(self.cluster.values())
        )
        self.diodes = frozenset(
            (first.get((True, patch.joined[one.tail])), first.get((True, patch.joined[one.head])))
            for one in patch.diodes
        )
        self.ohms: dict[str, dict[str, float]] = {end: _ohms(patch, whole, end) for end in ends}

    def alike(self, other: _State) -> bool:
        """Whether no check between two ends reads differently."""
        if self.shape != other.shape or self.diodes != other.diodes:
            return False
        return all(
            abs(ohm - other.ohms[one][two]) < STEP_OHM
            for one, row in self.ohms.items()
            for two, ohm in row.items()
            if two in other.ohms
        )

    def shows(self, check: Check) -> int:
        """What a check shows: -1 for open, else the step its ohms lie in."""
        red = {self.cluster[end] for end in check.red}
        if not red & {self.cluster[end] for end in check.black}:
            return -1
        return 0 if check.clipped else round(self.ohms[check.red[0]][check.black[0]] / STEP_OHM)


def _ohms(patch: Patch, whole: Patch, end: str) -> dict[str, float]:
    side = patch if end in patch.joined else whole
    return {other: ohm for other, (ohm, _) in side.ohms_from(end).items()}


def grouped(predictor: Predictor, found: Sequence[Found]) -> list[Group]:
    """The explanations in groups, the most usual first."""
    drawn = predictor.drawn
    considered = found[:CONSIDERED]
    nets = sorted(frozenset().union(*(one.nets for one in considered)))
    ends = [end for net in nets for end in drawn.nets[net]]
    groups: list[tuple[list[Found], _State]] = []
    for one in considered:
        state = _State(predictor, one, ends)
        home = next((members for members, its in groups if its.alike(state)), None)
        if home is None:
            groups.append(([one], state))
        else:
            home.append(one)
    return [Group(tuple(members), state) for members, state in groups]


def parting_checks(groups: Sequence[Group], done: Iterable[Check], wanted: int = 4) -> list[Check]:
    """Checks that part the groups, the most telling first; no more than are needed.

    :param done: checks that have been done, and would part no more a second time
    """
    if len(groups) < 2:
        return []
    known = {check.points for check in done}
    candidates = [check for check in _candidates(groups) if check.points not in known]
    if not candidates:
        return []
    shown = {check: [one.state.shows(check) for one in groups] for check in candidates}
    classes = [0] * len(groups)
    chosen: list[Check] = []
    while len(chosen) < wanted:
        best = min(candidates, key=lambda check: (_largest(classes, shown[check]), check.clipped))
        if len(set(zip(classes, shown[best], strict=True))) == len(set(classes)):
            break
        chosen.append(best)
        pairs = list(zip(classes, shown[best], strict=True))
        number = {pair: place for place, pair in enumerate(dict.fromkeys(pairs))}
        classes = [number[pair] for pair in pairs]
    return chosen


def _largest(classes: Sequence[int], shows: Sequence[int]) -> float:
    """Sum of squares of the class sizes after a check: small where it parts the groups well."""
    sizes: dict[tuple[int, int], int] = {}
    for pair in zip(classes, shows, strict=True):
        sizes[pair] = sizes.get(pair, 0) + 1
    return sum(size * size for size in sizes.values())


def _candidates(groups: Sequence[Group]) -> list[Check]:
    """Pairs of ends that some explanation joins or parts, and ways of clipping half of the ends."""
    ends = list(groups[0].state.cluster)
    firsts: dict[tuple[object, ...], str] = {}
    for end in ends:  # ends that no explanation tells apart need only one of them
        row = tuple(one.state.cluster[end] for one in groups)
        firsts.setdefault(row, end)
    points = list(firsts.values())
    found = [
        Check((one,), (other,))
        for number, one in enumerate(ends)
        for other in ends[number + 1 :]
        if one in points or other in points
    ]
    draw = random.Random(len(points))  # the same sheet gives the same advice
    for _ in range(DRAWS if len(points) > 2 else 0):
        red = frozenset(draw.sample(points, draw.randint(1, len(points) // 2)))
        black = tuple(end for end in points if end not in red)
        found.append(Check(tuple(end for end in points if end in red), black))
    return found
