"""The next test for a vehicle, from the readings so far."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from circuitcheck.errors import UnknownName
from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.conclude import conclude, merged
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.verdict import Verdict
from circuitcheck.locate.weighing import Standing
from circuitcheck.physics.branch import Array
from circuitcheck.plan.candidates import (
    READING,
    TOOLS,
    Candidate,
    access_of,
    candidates,
    setup_access,
    tool_of,
)  # fmt: skip
from circuitcheck.plan.hypotheses import Hypotheses, hypotheses
from circuitcheck.plan.outcomes import Outcomes, outcomes_of, tells_nothing
from circuitcheck.plan.policy import Advice, advise
from circuitcheck.plan.problem import Problem

PRICE = 45.0
"""Minutes lost by putting right what was not at fault, its way to the shop included; common practice,
no source."""
_READINGS = 3
"""Readings of one planned test at the most."""
_OUTCOMES = 9
"""Joint outcomes of a test that are told apart at the most."""
_RARE = 0.005
"""Chance below which an outcome is not told apart."""
REST = "anything else"
_PAYS = 0.02
"""Gain that one more reading in a set-up must bring [bit a minute]."""


Taken = tuple[str, str, frozenset[str]]
"""A reading that has been taken: its set-up, kind and points."""


@dataclass(frozen=True)
class Planned:
    """A set-up with the readings worth taking in it.

    :param places: of those readings in the candidate's observations
    :param joint: chance of each joint outcome under each row (rows, outcomes)
    :param labels: of each joint outcome
    """

    candidate: Candidate
    places: tuple[int, ...]
    minutes: float
    access: tuple[str, ...]
    joint: Array
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Options:
    """What a person has and what things cost.

    :param tools: what is at hand
    :param price: minutes lost by putting right what was not at fault
    :param skip: tests that cannot be done
    :param opened: entries of ``access`` that are open already
    """

    tools: frozenset[str] = frozenset(TOOLS) - {"spares"}
    price: float = PRICE
    skip: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Outlook:
    """Everything that can be said about what to do next.

    :param known: what is still possible
    :param planned: tests that tell something, with the advice on them in the same numbering
    :param opened: entries of ``access`` that are open
    :param predicted: what each row gives in each candidate, by its name (rows, readings)
    :param verdict: on the readings so far; None before the first
    """

    known: Hypotheses
    planned: tuple[Planned, ...]
    problem: Problem | None
    advice: Advice
    opened: frozenset[str]
    predicted: dict[str, Array] = field(default_factory=dict)
    verdict: Verdict | None = None


class Planner:
    """Plans tests for one harness; what the circuit itself suggests is worked out once."""

    def __init__(self, harness: Harness, locator: Locator) -> None:
        self.harness = harness
        self.locator = locator
        self.candidates = candidates(harness)
        self._benches = {one.name: Bench(harness, one.setup, one.observations)
                         for one in self.candidates}  # fmt: skip

    def bench(self, candidate: Candidate) -> Bench:
        """A candidate laid out for solving."""
        return self._benches[candidate.name]

    def outlook(self, sheet: Sheet, options: Options | None = None) -> Outlook:
        """What there is to do after the readings of a sheet (which may be empty)."""
        evidence, standings = None, self.locator.beforehand()
        if sheet.readings:
            evidence, standings = self.locator.weigh(sheet)
        return self.look(evidence, standings, sheet, options or Options())

    def look(
        self, evidence: Evidence | None, standings: list[Standing], sheet: Sheet, options: Options
    ) -> Outlook:
        """The same once the readings have been weighed."""
        verdict = conclude(evidence, standings) if evidence else None
        standings = merged(standings)
        names = [one.name for one in self.candidates]
        for skipped in options.skip:
            if skipped not in names:
                raise UnknownName("test", skipped, names)
        known = hypotheses(self.harness, standings)
        opened = options.opened | {
            one for test in sheet.setups.values()
            for one in (*test.access, *setup_access(self.harness, test.setup))
        }  # fmt: skip
        taken = {_same(sheet.setups[one.test].setup, one.observation) for one in sheet.readings}
        planned: list[Planned] = []
        predicted: dict[str, Array] = {}
        if len(known.units) > 1:
            predictor = known.predictor()
            for one in self.candidates:
                if one.needs <= options.tools and one.name not in options.skip:
                    values = known.predicted(predictor, self._benches[one.name])
                    predicted[one.name] = values
                    planned += self._planned(one, known, values, taken, options)
        return _outlook(self.harness, known, planned, opened, options, predicted, verdict)

    def _planned(
        self, one: Candidate, known: Hypotheses, values: Array, taken: set[Taken],
        options: Options,
    ) -> list[Planned]:  # fmt: skip
        """The readings worth taking in a set-up: the best first, more while they pay."""
        usable: list[tuple[int, Outcomes, tuple[str, ...]]] = []
        alike: set[bytes] = set()
        for place, (_, observation) in enumerate(one.observations):
            column = values[:, place]
            tool = tool_of(observation)
            if tool not in ("eyes", *options.tools) or _same(one.setup, observation) in taken:
                continue
            if tells_nothing(observation, column):
                continue
            outcomes = outcomes_of(self.harness, observation, column)
            mark = np.round(outcomes.chances, 3).tobytes()
            if mark not in alike:
                alike.add(mark)
                usable.append((place, outcomes, access_of(self.harness, observation)))
        if not usable:
            return []
        chosen, joint, labels = _best_readings(known, [outcomes for _, outcomes, _ in usable])
        if not chosen:
            return []
        access = tuple(dict.fromkeys(
            [*one.access, *(place for n in chosen for place in usable[n][2])]))  # fmt: skip
        return [Planned(one, tuple(usable[n][0] for n in chosen),
                        one.minutes + READING * len(chosen), access, joint, labels)]  # fmt: skip


def _same(setup: Setup, observation: Observation) -> Taken:
    """What makes a reading the same as another: volts lost between two points are volts there."""
    kind = "volts" if observation.kind == "drop" else observation.kind
    return repr(setup), kind, frozenset(observation.points)


def _best_readings(
    known: Hypotheses, outcomes: list[Outcomes]
) -> tuple[list[int], Array, tuple[str, ...]]:
    """Greedily: the reading that tells most, then others for as long as they pay.

    :returns: their numbers, and the chances and labels of their joint outcomes
    """
    chosen: list[int] = []
    joint = np.ones((len(known.weights), 1))
    labels: tuple[str, ...] = ("",)
    so_far = 0.0
    while len(chosen) < _READINGS:
        left = [n for n in range(len(outcomes)) if n not in chosen]
        if not left:
            break
        width = max(outcomes[n].chances.shape[1] for n in left) * joint.shape[1]
        stacked = np.zeros((len(left), len(joint), width))
        for place, n in enumerate(left):
            both = _product(joint, outcomes[n].chances)
            stacked[place, :, : both.shape[1]] = both
        gains = _gains(known, stacked)
        best = int(np.argmax(gains))
        more = float(gains[best]) - so_far
        if more < (_PAYS * READING if chosen else 1e-3):
            break
        chosen.append(left[best])
        joint, labels = _joined(known, joint, labels, outcomes[left[best]])
        so_far = float(gains[best])
    return chosen, joint, labels


def _product(one: Array, other: Array) -> Array:
    return (one[:, :, None] * other[:, None, :]).reshape(len(one), -1)


def _gains(known: Hypotheses, chances: Array) -> Array:
    tests = len(chances)
    nothing = np.zeros((tests, 0), dtype=bool)
    problem = Problem(known.unit, chances, np.ones(tests), nothing, np.zeros(0), 0.0)
    return problem.gains(known.weights)


def _joined(
    known: Hypotheses, joint: Array, labels: tuple[str, ...], more: Outcomes
) -> tuple[Array, tuple[str, ...]]:
    """Outcomes with those of one more reading; what hardly ever comes is put together."""
    both = _product(joint, more.chances)
    named = [f"{a}; {b}" if a else b for a in labels for b in more.labels]
    chance = known.weights @ both
    common = np.sort(np.argsort(-chance, kind="stable")[:_OUTCOMES])
    common = common[chance[common] > _RARE]
    rest = 1.0 - both[:, common].sum(axis=1, keepdims=True)
    return (np.concatenate([both[:, common], np.maximum(rest, 0.0)], axis=1),
            (*(named[n] for n in common), REST))  # fmt: skip


def _outlook(
    harness: Harness, known: Hypotheses, planned: list[Planned], opened: frozenset[str],
    options: Options, predicted: dict[str, Array], verdict: Verdict | None,
) -> Outlook:  # fmt: skip
    """Put the planned tests side by side and take advice."""
    if not planned:
        stuck = Problem(known.unit, np.zeros((0, len(known.weights), 1)), np.zeros(0),
                        np.zeros((0, 0), dtype=bool), np.zeros(0), options.price)  # fmt: skip
        return Outlook(known, (), None, Advice((), stuck.loss(known.weights)), opened, predicted,
                       verdict)
    places = list(harness.access)
    width = max(one.joint.shape[1] for one in planned)
    chances = np.zeros((len(planned), len(known.weights), width))
    for number, one in enumerate(planned):
        chances[number, :, : one.joint.shape[1]] = one.joint
    access = np.array([[place in one.access for place in places] for one in planned], dtype=bool)
    opening = np.array([harness.access[place].minutes for place in places])
    minutes = np.array([one.minutes for one in planned])
    problem = Problem(known.unit, chances, minutes, access.reshape(len(planned), len(places)),
                      opening, options.price)  # fmt: skip
    open_now = frozenset(places.index(one) for one in opened if one in places)
    return Outlook(known, tuple(planned), problem, advise(problem, known.weights, open_now), opened,
                   predicted, verdict)  # fmt: skip
