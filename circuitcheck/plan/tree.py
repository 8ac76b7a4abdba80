"""The whole order of tests from a symptom, as a tree whose leaves are verdicts.

It grows where it is most likely to be needed, until a page is full; where it ends, ``next`` goes on
with what was read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.expect.expected import said
from circuitcheck.harness.readings import Sheet
from circuitcheck.physics.branch import Array
from circuitcheck.plan.before import Before, Looks
from circuitcheck.plan.branches import Way, Ways
from circuitcheck.plan.bundle import ELSE, REST, Cell
from circuitcheck.plan.candidates import READING
from circuitcheck.plan.growth import TRIED, Bud, Growth, cut_back
from circuitcheck.plan.outcomes import Outcomes, outcomes_of
from circuitcheck.plan.phrases import finding, names_in, tag, where
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner

SHEET = 2
"""Pages that a plan may have: both sides of one sheet."""
_TESTS = 9
"""Tests that a page may have; it has fewer where its lines are used up."""
LINES = 64
"""Lines of a printed page, with room for a margin."""
OTHERWISE = "anything else"
_NAMED = 4
_SPOKEN_OF = 0.05
"""Chance from which a unit is named in a leaf."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """Where the tests end.

    :param units: what to put right, most likely first, with chances; '' is sound wiring
    :param suspects: the likeliest faults
    :param open: whether it is only a place where the tree was cut short: ``next`` goes on
    :param before: the cheap readings before that, in which a second fault would show
    """

    units: tuple[tuple[str, float], ...]
    suspects: tuple[str, ...]
    open: bool = False
    before: Before | None = None

    @property
    def why(self) -> str:
        """What to do here, in words."""
        units = self.likeliest
        if self.open:
            return f"go on with 'next'; likeliest {', '.join(units[:2])}"
        first = f"repair or renew {units[0]}" if self.units[0][0] else units[0]
        return first + (f", then {', '.join(units[1:])}" if len(units) > 1 else "")

    @property
    def likeliest(self) -> list[str]:
        """The units with their chances: ``W12 (99 %)``."""
        return [
            f"{unit or 'sound wiring'} ({share:.0%})".replace("%", " %") for unit, share in self.units
        ]

    def to_dict(self, numbers: Mapping[int, int]) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "done": not self.open,
            "why": self.why,
            "test": None,
            "verdict": [{"replace": unit, "probability": round(p, 4)} for unit, p in self.units],
            "suspects": list(self.suspects),
            "before": self.before.to_dict() if self.before else None,
        }


@dataclass(frozen=True, slots=True)
class Look:
    """One reading of a test.

    :param name: as in a sheet of readings
    :param words: what to read and where
    :param tag: the same where it is told from the other readings of the test only
    :param sound: what a sound circuit gives
    :param points: where the probes go, or what is looked at
    """

    name: str
    words: str
    tag: str
    sound: str
    points: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Branch:
    """One way on from a test.

    :param outcomes: what is read then, in words; of all branches the first that fits counts
    :param chance: of it, here
    """

    outcomes: tuple[str, ...]
    chance: float
    then: Node

    @property
    def outcome(self) -> str:
        """All of them."""
        return ", or ".join(self.outcomes)


@dataclass(frozen=True, slots=True)
class Step:
    """One test and what follows from each outcome.

    :param minutes: of this test, opening included
    :param gain_bits: what it tells of the unit to put right
    """

    name: str
    title: str
    setup: tuple[str, ...]
    readings: tuple[Look, ...]
    cautions: tuple[str, ...]
    lead: Lead | None
    minutes: float
    access: tuple[str, ...]
    gain_bits: float
    branches: tuple[Branch, ...]

    def to_dict(self, numbers: Mapping[int, int]) -> dict[str, Any]:
        """The fields as a plain dict, the tree below included.

        :param numbers: of the steps on the page, by their ``id``
        """
        return {
            "step": numbers[id(self)],
            "done": False,
            "why": f"tells {self.gain_bits:.2f} bit in {self.minutes:g} minutes",
            "test": {
                "name": self.name,
                "title": self.title,
                "setup": list(self.setup),
                "readings": [one.name for one in self.readings],
                "looks": [asdict(one) for one in self.readings],
                "cautions": list(self.cautions),
                "lead": asdict(self.lead) if self.lead else None,
                "minutes": self.minutes,
                "access": list(self.access),
                "gain_bits": round(self.gain_bits, 4),
                "gain_per_minute": round(self.gain_bits / self.minutes, 5),
            },
            "branches": [
                {
                    "outcome": one.outcome,
                    "probability": round(one.chance, 4),
                    "then": one.then.to_dict(numbers),
                }
                for one in self.branches
            ],
        }


Node = Step | Leaf


@dataclass(frozen=True, slots=True)
class Plan:
    """The tree for one harness and symptom.

    :param minutes: expected, of the tests that are in it
    :param settled: chance that it ends in a verdict, not in a place where it was cut short
    :param names: what each part and wire is that is named in it
    """

    harness: str
    title: str
    symptom: str
    minutes: float
    settled: float
    root: Node
    names: tuple[str, ...] = ()

    @property
    def befores(self) -> list[Before]:
        """The tests before a repair, in the order of the page."""
        ends = (one.then for step in self.steps for one in step.branches)
        return [one.before for one in ends if isinstance(one, Leaf) and one.before]

    @property
    def steps(self) -> list[Step]:
        """The tests in the order of the page, each before those that follow from it."""
        return _below(self.root)

    def __str__(self) -> str:
        from circuitcheck.plan.page import page  # noqa: PLC0415  (which is made of this)

        return page(self)

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "harness": self.harness,
            "symptom": self.symptom,
            "expected_minutes": round(self.minutes, 2),
            "settled": round(self.settled, 4),
            "names": list(self.names),
            "plan": self.root.to_dict(numbered(self.steps)),
        }


def numbered(steps: Sequence[Step]) -> dict[int, int]:
    """The number of each step on the page, by its ``id``."""
    return {id(one): number for number, one in enumerate(steps, 1)}


def _below(node: Node) -> list[Step]:
    if not isinstance(node, Step):
        return []
    return [node, *(step for one in node.branches for step in _below(one.then))]


def plan_tree(
    planner: Planner,
    sheet: Sheet,
    options: Options,
    *,
    pages: int | None = SHEET,
    depth: int | None = None,
) -> Plan:
    """The tree from the readings of a sheet, such as a symptom.

    :param pages: that it may have; None for as many as take every test that is not rare
    :param depth: tests one after the other; None for any number
    """
    outlook = planner.outlook(sheet, options)
    places = list(planner.harness.access)
    root = Bud(outlook.known.weights, outlook.ready, 1.0, outlook.problem is None)
    looks = Looks(planner, outlook, options, sheet) if options.thorough else None
    telling = _Telling(planner, outlook, places, looks)
    if outlook.problem is None:
        return telling.plan(root, sheet.title)
    Growth(outlook, outlook.problem).grow(root, pages and pages * TRIED, depth)
    if pages is None:
        return telling.plan(root, sheet.title)
    for tests in range(pages * _TESTS, 0, -1):
        cut_back(root, tests)
        found = telling.plan(root, sheet.title)
        if str(found).count("\n") <= pages * LINES:
            break
    return found


def _minutes(node: Node) -> float:
    if isinstance(node, Leaf):
        return node.before.minutes if node.before else 0.0
    return node.minutes + sum(one.chance * _minutes(one.then) for one in node.branches)


def _settled(node: Node) -> float:
    if isinstance(node, Leaf):
        return float(not node.open)
    return sum(one.chance * _settled(one.then) for one in node.branches)


def _texts(node: Node) -> Iterator[str]:
    """Everything on the page in which a name may stand."""
    if isinstance(node, Leaf):
        yield "" if node.open else node.why
        return
    yield node.title
    yield from node.setup
    for look in node.readings:
        yield look.words
    for branch in node.branches:
        yield from _texts(branch.then)


Told = tuple[Cell, float, Bud]
"""A joint outcome with its chance and where it leads."""


@dataclass
class _Telling:
    """Puts a grown tree into words; outcomes with one verdict are told as one.

    :param looks: what finds the readings before a repair; None where they are not asked for
    """

    planner: Planner
    outlook: Outlook
    places: Sequence[str]
    looks: Looks | None = None

    def plan(self, root: Bud, symptom: str) -> Plan:
        """The whole of it."""
        node, harness = self.node(root), self.planner.harness
        names = tuple(names_in(harness, _texts(node)))
        return Plan(harness.name, harness.title, symptom, _minutes(node), _settled(node), node, names)

    def node(self, bud: Bud) -> Node:
        """What stands at a bud."""
        choice, outcomes = bud.choice, bud.outcomes
        if choice is None:
            return self._leaf(bud, bud.weights, None, cut=not bud.settled)
        harness, planned = self.planner.harness, self.outlook.planned[choice.test]
        candidate, then = planned.candidate, outcomes[0][2].ready.opened
        branches, used = self._branches(planned, bud.weights, outcomes)
        spared = planned.minutes - candidate.minutes_for(planned.places[n] for n in used)
        read = [candidate.observations[planned.places[n]][1] for n in used]
        return Step(
            candidate.name,
            candidate.title,
            tuple(setup_lines(candidate.setup)),
            tuple(one for n, one in enumerate(self._looks(planned)) if n in used),
            tuple(cautions_for(harness, candidate.setup, read)),
            candidate.lead,
            max(choice.minutes - spared, READING * len(used)),
            tuple(self.places[n] for n in sorted(then - bud.ready.opened)),
            choice.gain,
            tuple(branches),
        )

    def _looks(self, planned: Planned) -> tuple[Look, ...]:
        harness, sound = self.planner.harness, self.planner.sound_values(planned.candidate)
        looks = []
        for place in planned.places:
            name, one = planned.candidate.observations[place]
            looks.append(
                Look(
                    name,
                    where(harness, one),
                    tag(harness, one),
                    said(harness, one, float(sound[place])),
                    one.points,
                )
            )
        tags = Counter(one.tag for one in looks)
        return tuple(one if tags[one.tag] == 1 else replace(one, tag=one.words) for one in looks)

    def _branches(
        self, planned: Planned, weights: Array, outcomes: Sequence[Told]
    ) -> tuple[list[Branch], list[int]]:
        """Likeliest first; what is left over comes last. With the readings that lead anywhere."""
        read = [self._outcomes(planned, place) for place in planned.places]
        names = [one.tag for one in self._looks(planned)]
        groups = _groups(self._alike(outcomes))
        ways = Ways(read, weights).part([[cell for cell, _, _ in some] for some in groups])
        found: list[Branch] = []
        used: set[int] = set()
        for some, way in zip(groups, ways, strict=True):
            chance = float(way.weights.sum() / weights.sum())
            if not chance:
                continue
            follows = [bud for _, _, bud in some if bud.choice is not None]
            if follows:
                then = self.node(follows[0])
            else:
                cut = not all(bud.settled for _, _, bud in some)
                then = self._leaf(some[0][2], way.weights, planned, cut=cut)
            found.append(Branch(_when(names, read, way), chance, then))
            if not (isinstance(then, Leaf) and then.open):
                used.update(place for line in way.lines for place in line)
        return found, sorted(used) or list(range(len(names)))

    def _outcomes(self, planned: Planned, place: int) -> Outcomes:
        candidate = planned.candidate
        values = self.outlook.predicted[candidate.name][:, place]
        return outcomes_of(self.planner.harness, candidate.observations[place][1], values)

    def _alike(self, outcomes: Sequence[Told]) -> list[list[Told]]:
        """Outcomes that lead to one place together, the likeliest first."""
        alike: dict[object, list[Told]] = {}
        for one in outcomes:
            _, _, bud = one
            if bud.choice is not None:
                key: object = id(bud)
            elif bud.settled:
                key = int(np.argmax(np.bincount(self.outlook.known.unit, bud.weights)))
            else:
                key = ""
            alike.setdefault(key, []).append(one)
        return sorted(alike.values(), key=lambda some: -sum(share for _, share, _ in some))

    def _leaf(self, bud: Bud, weights: Array, last: Planned | None, *, cut: bool) -> Leaf:
        """Where the tests end.

        :param bud: the place, or one of those that are told as one
        :param last: the test done last
        """
        known = self.outlook.known
        total = weights.sum()
        by_unit = np.bincount(known.unit, weights) / total
        by_suspect = np.bincount(known.row_suspect, weights)
        units = [(known.units[int(n)], float(by_unit[n])) for n in np.argsort(-by_unit)[:_NAMED]]
        suspects = [
            known.suspects[int(n)].spec
            for n in np.argsort(-by_suspect)[:_NAMED]
            if by_suspect[n] > _SPOKEN_OF * total
        ]
        rest = [one for one in units[1:] if one[1] > _SPOKEN_OF]
        before = None
        if self.looks and not cut and units[0][0]:
            opened = frozenset(self.places[n] for n in bud.ready.opened)
            done = [self.outlook.planned[n] for n in sorted(bud.done)]
            before = self.looks.before(weights, opened, done, last)
        return Leaf((units[0], *rest), tuple(suspects), cut, before)


def _when(names: Sequence[str], read: Sequence[Outcomes], way: Way) -> tuple[str, ...]:
    """The readings of a way in words."""
    lines = [
        [finding(names[place], read[place].either(chosen)) for place, chosen in one.items()]
        for one in way.lines
    ]
    return tuple(", ".join(one) for one in lines) or (OTHERWISE,)


def _groups(alike: Sequence[list[Told]]) -> list[list[Told]]:
    """What is told apart before what is told by its last reading, what is not told apart last."""

    def order(some: list[Told]) -> int:
        return max(2 if cell == REST else 1 if ELSE in cell else 0 for cell, _, _ in some)

    return sorted(alike, key=order)
