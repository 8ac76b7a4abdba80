"""A test as a person is told it: what to do, what it would read, and what to write down."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.expect.expected import ExpectedReading, expected_reading, said
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import PUT_RIGHT
from circuitcheck.harness.write import flow
from circuitcheck.physics.branch import Array
from circuitcheck.plan.candidates import Candidate
from circuitcheck.plan.planner import Outlook, Planned, Planner
from circuitcheck.plan.policy import Advice, Choice
from circuitcheck.plan.problem import Problem

_SUSPECTS = 5
"""Leading suspects whose readings are told beside the sound one."""
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
        return {
            **asdict(self.sound),
            "points": list(self.points),
            "suspects": [{"suspects": list(one.suspects), "reading": one.reading} for one in self.would],
        }


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
            "name": self.name,
            "title": self.title,
            "setup": list(self.setup),
            "readings": [one.to_dict() for one in self.readings],
            "cautions": list(self.cautions),
            "lead": asdict(self.lead) if self.lead else None,
            "minutes": self.minutes,
            "access": list(self.access),
            "gain_bits": round(self.gain_bits, 4),
            "gain_per_minute": round(self.gain_bits / self.minutes, 5),
            "settles": round(self.settles, 4),
            "to_write": self.to_write,
        }


def told_alone(
    planner: Planner, outlook: Outlook, planned: Planned, values: Array, price: float
) -> NextTest:
    """A test that is asked for by itself, not chosen among others, in words.

    :param values: what each row gives of every reading of its candidate (rows, readings)
    """
    known, minutes = outlook.known, planned.minutes
    problem = Problem(
        known.unit,
        planned.joint[None],
        np.array([minutes]),
        np.zeros((1, 0), dtype=bool),
        np.zeros(0),
        price,
    )
    loss = outlook.advice.loss
    choice = Choice(0, max(float(problem.gains(known.weights)[0]), 0.0), minutes, loss)
    alone = replace(
        outlook,
        planned=(planned,),
        problem=problem,
        predicted={planned.candidate.name: values},
        advice=Advice((choice,), loss),
    )
    return told(planner, alone, choice)


def told(planner: Planner, outlook: Outlook, choice: Choice) -> NextTest:
    """A planned test in words."""
    harness, planned = planner.harness, outlook.planned[choice.test]
    candidate = planned.candidate
    observations = [candidate.observations[place] for place in planned.places]
    run = Bench(harness, candidate.setup, tuple(observations)).run([{}])
    spread = np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1))
    readings = tuple(
        PlannedReading(
            expected_reading(harness, name, one, float(run.values[0, n]), float(spread[n])),
            one.points,
            _would(planner, outlook, planned, place),
        )
        for n, (place, (name, one)) in enumerate(zip(planned.places, observations, strict=True))
    )
    to_open = tuple(one for one in planned.access if one not in outlook.opened)
    return NextTest(
        candidate.name,
        candidate.title,
        tuple(setup_lines(candidate.setup)),
        readings,
        tuple(cautions_for(harness, candidate.setup, (one for _, one in observations))),
        candidate.lead,
        choice.minutes,
        to_open,
        choice.gain,
        _settles(outlook, choice.test),
        to_write(harness, [(candidate, planned.places)]),
    )


def _would(planner: Planner, outlook: Outlook, planned: Planned, place: int) -> tuple[WouldRead, ...]:
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
        chance
        for chance, left in outlook.problem.after(outlook.known.weights, test)
        if outlook.problem.by_unit(left).max() >= SURE
    )


def to_write(
    harness: Harness, chosen: Iterable[tuple[Candidate, Sequence[int]]], put_right: Sequence[str] = ()
) -> str:
    """Lines for a sheet of readings, to be filled in: the harness's own tests, then the others.

    :param put_right: what a new sheet says was put right before
    """
    own: list[str] = []
    also: list[str] = []
    for candidate, places in chosen:
        known = candidate.name in harness.tests
        listed, added = by_form(candidate, places, known=known)
        if listed:
            own.append(f"  {candidate.name}:")
            own += [f"    {candidate.observations[place][0]}: {_BLANK}" for place in listed]
        where = f"test: {candidate.name}" if known else f"setup: {flow(candidate.setup)}"
        also += [
            f"  - {{{where}, {_target(candidate.observations[place][1])}, read: {_BLANK}}}"
            for place in added
        ]
    done = [f"{PUT_RIGHT}: {flow(put_right)}"] if put_right else []
    return "\n".join([*done, *(["tests:", *own] if own else []), *(["also:", *also] if also else [])])


def by_form(candidate: Candidate, places: Sequence[int], *, known: bool) -> tuple[list[int], list[int]]:
    """Readings that a sheet has under the test's own names, and those that are added to them.

    One that is taken once more is added: a name stands only once in a test.

    :param known: whether it is a test of the harness
    """
    listed = [place for place in dict.fromkeys(places) if known and place < candidate.listed]
    added = list(places)
    for place in listed:
        added.remove(place)
    return listed, added


def _target(observation: Observation) -> str:
    points = observation.points
    return f"{observation.kind}: {points[0] if len(points) == 1 else flow(list(points))}"
