"""The next test as a person is told it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.expect.expected import ExpectedReading, expected_reading, number, said
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import Sheet
from circuitcheck.harness.write import flow
from circuitcheck.locate.verdict import Verdict
from circuitcheck.notebook import text_table
from circuitcheck.physics.branch import Array
from circuitcheck.plan.candidates import Candidate
from circuitcheck.plan.jobs import unseen
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner
from circuitcheck.plan.policy import Choice
from circuitcheck.plan.problem import Index
from circuitcheck.plan.symptom import only_symptom

_SUSPECTS = 5
"""Leading suspects whose readings are told beside the sound one."""
_OTHERS = 2
"""Next best tests that are named."""
_NAMED = 0.005
"""Chance from which a unit is named as what else it may be."""
_LEFT_OPEN = 0.05
"""Chance from which a unit is named beside sound wiring."""
_NO_COMPLAINT = ("What is said is what a sound circuit does, and nothing has been tested. Say what is "
                 "wrong, or give a sheet of readings.")  # fmt: skip
_BLANK = '"-"'
"""A reading to be filled in: in quotes, because a bare dash is a list to any other reader of YAML."""
SURE = 0.95
"""Chance of one unit from which another test needs a good reason."""


@dataclass(frozen=True, slots=True)
class WouldRead:
    """What a reading would be under one suspect, or several that agree."""

    suspects: tuple[str, ...]
    reading: str


@dataclass(frozen=True, slots=True)
class PlannedReading:
    """A reading to take: what a sound circuit gives, and what the leading suspects would."""

    sound: ExpectedReading
    points: tuple[str, ...]
    would: tuple[WouldRead, ...]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {**asdict(self.sound), "points": list(self.points),
                "suspects": [{"suspects": list(one.suspects), "reading": one.reading}
                             for one in self.would]}  # fmt: skip


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test to do.

    :param setup: what to do before looking, step by step
    :param minutes: opening included
    :param access: what has to be opened first
    :param gain_bits: what it tells of the unit to put right
    :param settles: chance that one unit stands alone afterwards
    :param to_write: lines for the sheet of readings, to be filled in
    """

    name: str
    title: str
    setup: tuple[str, ...]
    readings: tuple[PlannedReading, ...]
    cautions: tuple[str, ...]
    lead: Lead | None
    minutes: float
    access: tuple[str, ...]
    gain_bits: float
    settles: float
    to_write: str

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "name": self.name, "title": self.title, "setup": list(self.setup),
            "readings": [one.to_dict() for one in self.readings],
            "cautions": list(self.cautions), "lead": asdict(self.lead) if self.lead else None,
            "minutes": self.minutes, "access": list(self.access),
            "gain_bits": round(self.gain_bits, 4),
            "gain_per_minute": round(self.gain_bits / self.minutes, 5),
            "settles": round(self.settles, 4), "to_write": self.to_write,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Next:
    """What to do now.

    :param done: whether more testing cannot pay
    :param why: why it pays or does not
    :param test: None if nothing that could be tested tells anything
    :param others: the next best
    :param verdict: on the readings so far; None before the first, or if a symptom alone shows nothing
    """

    done: bool
    why: str
    test: NextTest | None
    others: tuple[NextTest, ...]
    verdict: Verdict | None

    def __str__(self) -> str:
        if self.test is None:
            return f"No more tests: {self.why}"
        one = self.test
        sound = [reading.sound for reading in one.readings]
        rows = [(each.name, each.word or f"{number(each.expected or 0.0)} {each.unit}")
                for each in sound]  # fmt: skip
        table = text_table(("reading", "a sound circuit"), rows)
        return f"{one.title}, {one.minutes:g} minutes: {'; '.join(one.setup)}\n\n{table}\n\n{self.why}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "done": self.done, "why": self.why,
            "test": self.test.to_dict() if self.test else None,
            "others": [one.to_dict() for one in self.others],
            "verdict": self.verdict.to_dict() if self.verdict else None,
        }  # fmt: skip


def next_test(planner: Planner, sheet: Sheet, options: Options) -> Next:
    """The test to do after the readings of a sheet, which may be empty."""
    outlook = planner.outlook(sheet, options)
    verdict, advice = outlook.verdict, outlook.advice
    if verdict is not None and verdict.verdict == "sound" and only_symptom(sheet):
        verdict = None  # what a customer says is no test of anything
    told = [_told(planner, outlook, one) for one in advice.choices[: 1 + _OTHERS]]
    done = advice.stop
    if done or not told:
        if sheet.readings and verdict is None:
            return Next(True, _NO_COMPLAINT, None, (), None)
        why = _why_stop(outlook, told) + _not_seen(unseen(planner, sheet))
        return Next(True, why, None, (), verdict)
    why = (f"{told[0].minutes:g} minutes; on average it leaves {advice.choices[0].ahead:.0f} minutes "
           f"to the end, where stopping now would cost {advice.loss:.0f}.")  # fmt: skip
    return Next(False, why, told[0], tuple(told[1:]), verdict)


def _why_stop(outlook: Outlook, told: list[NextTest]) -> str:
    known = outlook.known
    chances: Array = np.bincount(known.unit, known.weights).astype(np.float64)
    order = np.argsort(-chances)
    if outlook.verdict is not None and outlook.verdict.verdict == "sound":
        return _sound(known.units, chances, order)
    unit, chance = known.units[int(order[0])], float(chances[order[0]])
    first = "the wiring is sound" if not unit else f"repair or renew {unit}"
    if len(known.units) == 1 or chance >= SURE:
        return f"No further test is needed: {first} ({chance:.0%} sure).".replace("%", " %", 1)
    rest = ", ".join(
        f"{known.units[int(n)] or 'nothing'} ({chances[n]:.0%})".replace("%", " %") for n in order[1:4]
        if chances[n] > _NAMED
    )
    shares = f"{first} ({chance:.0%})".replace("%", " %")
    if not told:
        return (f"No test that can be done tells these apart without cutting the loom open: {shares}, "
                f"then {rest}.")  # fmt: skip
    return (f"Another test would cost more than it saves: {shares} first; if that does not help, "
            f"{rest}.")  # fmt: skip


def _sound(units: Sequence[str], chances: Array, order: Index) -> str:
    """What cannot be told from sound wiring is not put right."""
    left = [f"{units[int(n)]} ({chances[n]:.0%})".replace("%", " %") for n in order[:4]
            if units[int(n)] and chances[n] > _LEFT_OPEN]  # fmt: skip
    rest = f"; too slight to be told from it: {', '.join(left)}" if left else ""
    return f"No further test pays: the wiring is sound as far as can be measured{rest}."


def _not_seen(jobs: Sequence[str]) -> str:
    """What a second fault may still hide behind."""
    if not jobs:
        return ""
    return (f" Not seen to run yet: {', '.join(jobs)}; 'circuitcheck prove' asks for it after the "
            "repair, and a second fault would show there.")  # fmt: skip


def _told(planner: Planner, outlook: Outlook, choice: Choice) -> NextTest:
    harness, planned = planner.harness, outlook.planned[choice.test]
    candidate = planned.candidate
    observations = [candidate.observations[place] for place in planned.places]
    run = Bench(harness, candidate.setup, tuple(observations)).run([{}])
    spread = np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1))
    readings = tuple(
        PlannedReading(
            expected_reading(harness, name, one, float(run.values[0, n]), float(spread[n])),
            one.points, _would(planner, outlook, planned, place),
        )
        for n, (place, (name, one)) in enumerate(zip(planned.places, observations, strict=True))
    )  # fmt: skip
    to_open = tuple(one for one in planned.access if one not in outlook.opened)
    return NextTest(
        candidate.name, candidate.title, tuple(setup_lines(candidate.setup)), readings,
        tuple(cautions_for(harness, candidate.setup)), candidate.lead, choice.minutes, to_open,
        choice.gain, _settles(outlook, choice.test),
        to_write(harness, [(candidate, planned.places)]),
    )  # fmt: skip


def _would(
    planner: Planner, outlook: Outlook, planned: Planned, place: int
) -> tuple[WouldRead, ...]:
    """What the leading suspects would read, those that agree together."""
    values = outlook.predicted[planned.candidate.name][:, place]
    observation = planned.candidate.observations[place][1]
    found: dict[str, list[str]] = {}
    for rank, suspect in enumerate(outlook.known.suspects[:_SUSPECTS]):
        value = float(values[outlook.known.first_row(rank)])
        found.setdefault(said(planner.harness, observation, value), []).append(suspect.spec)
    return tuple(WouldRead(tuple(specs), reading) for reading, specs in found.items())


def _settles(outlook: Outlook, test: int) -> float:
    """Chance that after a test one unit is as good as sure."""
    assert outlook.problem is not None
    return sum(
        chance for chance, left in outlook.problem.after(outlook.known.weights, test)
        if outlook.problem.by_unit(left).max() >= SURE
    )  # fmt: skip


def to_write(harness: Harness, chosen: Iterable[tuple[Candidate, Sequence[int]]]) -> str:
    """Lines for a sheet of readings, to be filled in: the harness's own tests, then the others."""
    own: list[str] = []
    also: list[str] = []
    for candidate, places in chosen:
        known = candidate.name in harness.tests
        listed = [place for place in places if known and place < candidate.listed]
        if listed:
            own.append(f"  {candidate.name}:")
            own += [f"    {candidate.observations[place][0]}: {_BLANK}" for place in listed]
        where = f"test: {candidate.name}" if known else f"setup: {flow(candidate.setup)}"
        for place in places:
            if place not in listed:
                target = _target(candidate.observations[place][1])
                also.append(f"  - {{{where}, {target}, read: {_BLANK}}}")
    return "\n".join([*(["tests:", *own] if own else []), *(["also:", *also] if also else [])])


def _target(observation: Observation) -> str:
    points = observation.points
    return f"{observation.kind}: {points[0] if len(points) == 1 else flow(list(points))}"
