"""The next test for a vehicle, from the readings so far."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from circuitcheck.errors import UnknownName
from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.harness.readings import RUNS, Sheet
from circuitcheck.locate.conclude import conclude, merged
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Predictor
from circuitcheck.locate.verdict import Verdict
from circuitcheck.physics.branch import Array
from circuitcheck.plan.bundle import Cell, best_bundle
from circuitcheck.plan.candidates import (
    LOOKS,
    TOOLS,
    Candidate,
    access_of,
    candidates,
    setup_access,
    tool_of,
)
from circuitcheck.plan.hypotheses import KEPT, Hypotheses, hypotheses
from circuitcheck.plan.outcomes import Outcomes, outcomes_of, tells_nothing
from circuitcheck.plan.policy import Advice, advise
from circuitcheck.plan.problem import AT_FIRST, Index, Problem, Ready, same_rows
from circuitcheck.plan.stands import Stand, Wanted, spared, stand_of
from circuitcheck.plan.symptom import from_customer

PRICE = 45.0
"""Minutes lost by putting right what was not at fault, its way to the shop included; common practice,
no source."""
_BLOWN = 0.5
"""Chance that a fuse has blown from which a new one is put in to see; common practice, no source."""
Taken = tuple[str, str, frozenset[str]]
"""A reading that has been taken: its set-up, kind and points."""


@dataclass(frozen=True)
class _Usable:
    """A reading that may be taken: its place in the candidate, and what it takes."""

    place: int
    tool: str
    outcomes: Outcomes
    access: tuple[str, ...]


@dataclass(frozen=True)
class Planned:
    """A set-up with the readings worth taking in it.

    :param places: of those readings in the candidate's observations
    :param joint: chance of each joint outcome under each row (rows, outcomes)
    :param cells: the joint outcomes
    :param free: a look that undoes, opens and warms up nothing
    """

    candidate: Candidate
    places: tuple[int, ...]
    minutes: float
    access: tuple[str, ...]
    joint: Array
    cells: tuple[Cell, ...]
    free: bool = False


@dataclass(frozen=True)
class Options:
    """What a person has and what things cost.

    :param tools: what is at hand
    :param price: minutes lost by putting right what was not at fault
    :param skip: tests that cannot be done
    :param opened: entries of ``access`` that are open already
    :param thorough: before stopping, the cheap readings in which a second fault would show
    :param kept: chance that the suspects looked at must make up together; less is quicker
    """

    tools: frozenset[str] = frozenset(TOOLS) - {"spares"}
    price: float = PRICE
    skip: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    thorough: bool = False
    kept: float = KEPT


@dataclass(frozen=True)
class Outlook:
    """Everything that can be said about what to do next.

    :param known: what is still possible
    :param planned: tests that tell something, with the advice on them in the same numbering
    :param opened: entries of ``access`` that are open
    :param predicted: what each row gives in each candidate, by its name (rows, readings)
    :param verdict: on the readings so far; None before the first
    :param leader: how the likeliest suspect stands; None before the first
    :param ready: how the vehicle stands, in the numbering of the problem
    """

    known: Hypotheses
    planned: tuple[Planned, ...]
    problem: Problem | None
    advice: Advice
    opened: frozenset[str]
    predicted: dict[str, Array] = field(default_factory=dict)
    verdict: Verdict | None = None
    leader: Standing | None = None
    ready: Ready = AT_FIRST


class Planner:
    """Plans tests for one harness; what the circuit itself suggests is worked out once."""

    def __init__(self, harness: Harness, locator: Locator) -> None:
        self.harness = harness
        self.locator = locator
        self.candidates = candidates(harness)
        self._usual_values: dict[str, Array] = {}
        self._sound_values: dict[str, Array] = {}
        self._benches = {
            one.name: Bench(harness, one.setup, one.observations) for one in self.candidates
        }

    def bench(self, candidate: Candidate) -> Bench:
        """A candidate laid out for solving."""
        return self._benches[candidate.name]

    @cached_property
    def usual(self) -> Hypotheses:
        """What is possible before anything has been read."""
        return hypotheses(self.harness, merged(self.locator.beforehand()))

    @cached_property
    def _usual_predictor(self) -> Predictor:
        return self.usual.predictor()

    def usual_values(self, candidate: Candidate) -> Array:
        """What each row of :attr:`usual` gives in a candidate; worked out once (rows, readings)."""
        if candidate.name not in self._usual_values:
            values = self.usual.predicted(self._usual_predictor, self.bench(candidate))
            self._usual_values[candidate.name] = values
        return self._usual_values[candidate.name]

    def sound_values(self, candidate: Candidate) -> Array:
        """What a sound circuit gives in a candidate; worked out once (readings,)."""
        if candidate.name not in self._sound_values:
            self._sound_values[candidate.name] = self.bench(candidate).run([{}]).values[0]
        return self._sound_values[candidate.name]

    def outlook(self, sheet: Sheet, options: Options | None = None) -> Outlook:
        """What there is to do after the readings of a sheet (which may be empty)."""
        evidence, standings = None, self.locator.beforehand(sheet.put_right)
        if sheet.readings:
            evidence, standings = self.locator.weigh(sheet)
        return self.look(evidence, standings, sheet, options or Options())

    def look(
        self, evidence: Evidence | None, standings: list[Standing], sheet: Sheet, options: Options
    ) -> Outlook:
        """The same once the readings have been weighed."""
        verdict = conclude(evidence, standings) if evidence else None
        names = [one.name for one in self.candidates]
        for skipped in options.skip:
            if skipped not in names:
                raise UnknownName("test", skipped, names)
        known = (
            hypotheses(self.harness, merged(standings), options.kept)
            if evidence or sheet.put_right
            else self.usual
        )
        opened = options.opened | _opened(self.harness, sheet)
        taken = {
            same_reading(sheet.setups[one.test].setup, one.observation)
            for one in sheet.readings
            if one.word != RUNS  # who says that a fan runs has not said how fast
        }
        predicted = self._predicted(known, options) if len(known.units) > 1 else {}
        planned = [
            planned
            for one in self.candidates
            if one.name in predicted and self._tried_by_now(one, known, predicted)
            for planned in self._planned(one, known, predicted[one.name], taken, opened, options)
        ]
        stand = stand_of(sheet)
        found = _outlook(self.harness, known, planned, opened, stand, options, predicted, verdict)
        return replace(found, leader=standings[0] if evidence else None)

    def _predicted(self, known: Hypotheses, options: Options) -> dict[str, Array]:
        """What each row gives in each candidate that can be done."""
        possible = [
            one for one in self.candidates if one.needs <= options.tools and one.name not in options.skip
        ]
        if known is self.usual:
            return {one.name: self.usual_values(one) for one in possible}
        predictor = known.predictor()
        return {one.name: known.predicted(predictor, self.bench(one)) for one in possible}

    def _tried_by_now(self, one: Candidate, known: Hypotheses, predicted: dict[str, Array]) -> bool:
        """Whether its new fuses are for fuses that are likely to have blown."""
        for name in one.setup.swap:
            if self.harness.parts[name].kind != "fuse":
                continue
            for other in self.candidates:
                if other.setup.pull != [name] or other.name not in predicted:
                    continue
                places = [n for n, (_, each) in enumerate(other.observations) if each.fuse == name]
                blown = predicted[other.name][:, places[0]] > 0.5
                if float(known.weights @ blown) < _BLOWN:
                    return False
        return True

    def _planned(
        self,
        one: Candidate,
        known: Hypotheses,
        values: Array,
        taken: set[Taken],
        opened: frozenset[str],
        options: Options,
    ) -> list[Planned]:
        """What is worth reading in a set-up: looks alone where a meter takes longer, what needs nothing
        opened alone where the rest does, and everything."""
        first, alike = same_rows(values)
        usable = self._usable(one, values[first], taken, options)
        looks = [each for each in usable if one.probing and each.tool in LOOKS]
        at_hand = [each for each in usable if opened.issuperset(each.access)]
        groups = {tuple(each.place for each in some): some for some in (looks, at_hand, usable) if some}
        found = {
            planned.places: planned
            for some in groups.values()
            for planned in self._bundled(one, known, some, alike)
        }
        return list(found.values())

    def _usable(
        self, one: Candidate, values: Array, taken: set[Taken], options: Options
    ) -> list[_Usable]:
        """Readings that can be taken, tell something, and have not been taken; no two alike."""
        usable: list[_Usable] = []
        alike: set[bytes] = set()
        for place, (_, observation) in enumerate(one.observations):
            column, tool = values[:, place], tool_of(observation)
            if tool not in ("eyes", *options.tools) or same_reading(one.setup, observation) in taken:
                continue
            if tells_nothing(self.harness, observation, column):
                continue
            outcomes = outcomes_of(self.harness, observation, column)
            mark = np.round(outcomes.chances, 3).tobytes()
            if mark not in alike:
                alike.add(mark)
                usable.append(_Usable(place, tool, outcomes, one.opens(self.harness, place)))
        return usable

    def _bundled(
        self, one: Candidate, known: Hypotheses, usable: list[_Usable], alike: Index
    ) -> list[Planned]:
        """The readings worth taking together, as a test; none if they tell nothing."""
        outcomes = [each.outcomes for each in usable]
        bundle = best_bundle(known.unit, known.weights, outcomes, alike)
        chosen = [usable[n] for n in bundle.chosen]
        if not chosen:
            return []
        access = dict.fromkeys([*one.access, *(place for each in chosen for place in each.access)])
        places = tuple(each.place for each in chosen)
        free = one.free and all(each.tool in LOOKS for each in chosen)
        return [
            Planned(
                one, places, one.minutes_for(places), tuple(access), bundle.joint, bundle.cells, free
            )
        ]


def _opened(harness: Harness, sheet: Sheet) -> frozenset[str]:
    """What must have been open for the readings of a sheet; the customer has closed all again."""
    for_setups = {
        one
        for name, test in sheet.setups.items()
        if not from_customer(name)
        for one in (*test.access, *setup_access(harness, test.setup))
    }
    for_readings = {
        place
        for one in sheet.readings
        if not from_customer(one.test)
        for place in access_of(harness, one.observation)
    }
    return frozenset(for_setups | for_readings)


def same_reading(setup: Setup, observation: Observation) -> Taken:
    """What makes a reading the same as another: volts lost between two points are volts there."""
    kind = "volts" if observation.kind == "drop" else observation.kind
    return repr(setup), kind, frozenset(observation.points)


def _outlook(
    harness: Harness,
    known: Hypotheses,
    planned: list[Planned],
    opened: frozenset[str],
    stand: Stand | None,
    options: Options,
    predicted: dict[str, Array],
    verdict: Verdict | None,
) -> Outlook:
    """Put the planned tests side by side and take advice."""
    if not planned:
        stuck = Problem(
            known.unit,
            np.zeros((0, len(known.weights), 1)),
            np.zeros(0),
            np.zeros((0, 0), dtype=bool),
            np.zeros(0),
            options.price,
        )
        return Outlook(
            known, (), None, Advice((), stuck.loss(known.weights)), opened, predicted, verdict
        )
    places = list(harness.access)
    width = max(one.joint.shape[1] for one in planned)
    chances = np.zeros((len(planned), len(known.weights), width))
    for number, one in enumerate(planned):
        chances[number, :, : one.joint.shape[1]] = one.joint
    access = np.array([[place in one.access for place in places] for one in planned], dtype=bool)
    opening = np.array([harness.access[place].minutes for place in places])
    minutes = np.array([one.minutes for one in planned])
    wanted = [Wanted(one.candidate, one.places) for one in planned]
    problem = Problem(
        known.unit,
        chances,
        minutes,
        access.reshape(len(planned), len(places)),
        opening,
        options.price,
        spared(harness, [*(one.stand for one in wanted), stand], wanted),
    )
    free = [number for number, one in enumerate(planned) if one.free]
    ready = Ready(frozenset(places.index(one) for one in opened if one in places))
    advice = advise(problem, known.weights, ready, free)
    return Outlook(known, tuple(planned), problem, advice, opened, predicted, verdict, ready=ready)
