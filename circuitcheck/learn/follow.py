"""What following ``next`` comes to on a case: the same words that a student says, on the same vehicle.

Every set-up that ``next`` asks for is put into the words of :mod:`circuitcheck.learn.spoken`, so that it
costs what it costs a student, and what was done can be played again as a script.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from circuitcheck.circuit.build import lead_keys, numbered
from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading
from circuitcheck.learn.case import Case, heard
from circuitcheck.learn.session import Session
from circuitcheck.learn.workshop import Measurement
from circuitcheck.locate.verdict import Verdict
from circuitcheck.plan.next_test import next_test
from circuitcheck.plan.planner import Options, Planner

MOST_TESTS = 12
"""Tests after which a follower gives up; ``next`` stops long before."""
SYMPTOM = "customer"


@dataclass(frozen=True, slots=True)
class Step:
    """A measurement that ``next`` asked for: what was said, what it showed, the minutes by then."""

    minutes: float
    said: str
    shown: str


@dataclass(frozen=True)
class Followed:
    """How it went.

    :param minutes: as the workshop counts them
    :param lines: all that was said, to be played again
    :param named: faults named at the end; empty if it came out sound
    :param units: what to put right, by what the verdict holds likeliest, first those of ``named``
    """

    minutes: float
    tests: int
    lines: tuple[str, ...]
    steps: tuple[Step, ...]
    named: tuple[str, ...]
    units: tuple[str, ...]
    right_fault: bool
    right_unit: bool

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self)


def follow(case: Case, planner: Planner) -> Followed:
    """Do what ``next`` asks for until it stops, and name what it names.

    The customer's words are the first readings, and cost nothing.
    """
    session, sheet, lines = Session(case), complaint_sheet(case), list[str]()
    known = {one.name: one for one in planner.candidates}
    tests = 0
    advice = next_test(planner, sheet, Options())
    while not advice.done and advice.test is not None and tests < MOST_TESTS:
        candidate = known[advice.test.name]
        lines += _say(session, words_for(session.workshop.setup, candidate.setup, case.harness))
        wanted = {one.sound.name for one in advice.test.readings}
        taken = [(name, one) for name, one in candidate.observations if name in wanted]
        for name, observation in taken:
            lines += _say(session, [look_for(observation, candidate.setup)])
            sheet = with_reading(sheet, candidate.name, candidate.setup, name, observation,
                                 session.workshop.log[-1])  # fmt: skip
        tests += 1
        advice = next_test(planner, sheet, Options(opened=frozenset(session.workshop.opened)))
    assert advice.verdict is not None or not sheet.readings
    return _ended(session, advice.verdict, lines, tests)


def _say(session: Session, lines: list[str]) -> list[str]:
    for line in lines:
        session.feed(line)
    if session.mistakes:
        raise RuntimeError(f"'next' asks for what practice does not understand: {session.mistakes[-1]}")
    return lines


def complaint_sheet(case: Case) -> Sheet:
    """What the customer says, where he speaks of something other than a sound vehicle does."""
    readings, setups = [], {}
    for test, words in heard(case.harness, case.faults).items():
        observe = {motor: Observation.model_validate({"speed": motor}) for motor in words}
        name = f"{SYMPTOM} {test}"
        given = case.harness.tests[test]
        setups[name] = Test(title=given.title, setup=given.setup, observe=observe)
        readings += [Reading(name, motor, observe[motor], math.nan, word) for motor, word in words.items()]
    return Sheet(case.complaint, tuple(readings), setups)


def with_reading(
    sheet: Sheet, test: str, setup: Setup, name: str, observation: Observation, read: Measurement
) -> Sheet:
    """A sheet with one more reading, as the student noted it."""
    value, word = parse_reading(observation.kind, read.shown.partition(",")[0])
    before = dict(sheet.setups[test].observe) if test in sheet.setups else {}
    observe = {**before, name: observation}
    setups = {**sheet.setups, test: Test(title=test, setup=setup, observe=observe)}
    return Sheet(sheet.title, (*sheet.readings, Reading(test, name, observation, value, word)), setups)


def _ended(session: Session, verdict: Verdict | None, lines: list[str], tests: int) -> Followed:
    named, units = _concluded(verdict)
    case = session.case
    due = {one.mode.replace for one in case.faults}
    mine = units[: len({*units} & {*_units_of(verdict)})] if named else ()
    steps = tuple(Step(round(one.minutes, 1), one.said, one.shown) for one in session.workshop.log)
    said = [f"fault {one}" for one in named] or ["fault none"]
    return Followed(
        round(session.workshop.minutes, 1), tests, (*lines, *said, *(f"renew {one}" for one in mine), "done"),
        steps, named, units, set(named) == {one.mode.spec for one in case.faults}, set(mine) == due,
    )  # fmt: skip


def _concluded(verdict: Verdict | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The faults of the likeliest unit's likeliest suspect, and the units in the order of chance."""
    if verdict is None:
        return (), ()
    chances: Counter[str] = Counter()
    for one in verdict.suspects:
        chances[one.replace] += one.probability
    order = [unit for unit, _ in chances.most_common()]
    first = next(one for one in verdict.suspects if one.replace == order[0])
    named = tuple(first.spec.split(" + ")) if first.replace else ()
    units = [unit for listed in order if listed for unit in listed.split(" and ")]
    return named, tuple(dict.fromkeys(units))


def _units_of(verdict: Verdict | None) -> tuple[str, ...]:
    """The units of the likeliest unit's suspect."""
    if verdict is None:
        return ()
    chances: Counter[str] = Counter()
    for one in verdict.suspects:
        chances[one.replace] += one.probability
    return tuple(chances.most_common(1)[0][0].split(" and "))


# -- a set-up in words -----------------------------------------------------------------------------------


def words_for(now: Setup, wanted: Setup, harness: Harness) -> list[str]:
    """What to say to bring the vehicle from one state into another, safely in that order.

    Leads come off first and go on last; plugs are undone with the battery off where it is to be off.
    """
    leads = _leads(wanted, harness.supply.battery)
    found = ["lead off"] if now.bridge and [*now.bridge] != leads else []
    off = wanted.battery == "disconnected"
    if now.running and (off or not wanted.running):
        found.append("engine stop")
    if now.ignition == "on" and wanted.ignition == "off":
        found.append("ignition off")
    if off and now.battery == "connected":
        found.append("battery off")
    found += _plugs(now, wanted)
    if not off and now.battery == "disconnected":
        found.append("battery on")
    if wanted.ignition == "on" and now.ignition == "off" and not wanted.running:
        found.append("ignition on")
    if wanted.running and not now.running:
        found.append("engine run")
    found += [f"switch {name} {place}" for name, place in _positions(now, wanted, harness)]
    if now.engine != wanted.engine:
        way = "warming" if wanted.engine.warming else "cooling"
        found.append(f"coolant {wanted.engine.celsius:g} {way}")
    if leads and [*now.bridge] != leads:
        found += [f"lead {'also ' if place else ''}{one} {two}" for place, (one, two) in enumerate(leads)]
    return found


def _plugs(now: Setup, wanted: Setup) -> Iterator[str]:
    yield from (f"join {one}" for one in now.unplug if one not in wanted.unplug)
    yield from (f"refit {one}" for one in now.pull if one not in wanted.pull)
    yield from (f"undo {one}" for one in wanted.unplug if one not in now.unplug)
    yield from (f"pull {one}" for one in wanted.pull if one not in now.pull)
    yield from (f"swap {one}" for one in wanted.swap if one not in now.swap)


def _positions(now: Setup, wanted: Setup, harness: Harness) -> Iterator[tuple[str, str]]:
    """Hand switches that must be moved; one that is not named is at rest."""
    for name, part in harness.parts.items():
        at_rest = getattr(part, "at_rest", None)
        if at_rest is not None:
            place = wanted.switches.get(name, at_rest)
            if place != now.switches.get(name, at_rest):
                yield name, place


def _leads(wanted: Setup, battery: str) -> list[tuple[str, str]]:
    """The leads of a set-up as pairs of points, in the order of their keys."""
    return [*wanted.bridge, *((f"{battery}.+", one) for one in wanted.feed),
            *((one, f"{battery}.-") for one in wanted.ground)]  # fmt: skip


def look_for(observation: Observation, setup: Setup) -> str:
    """What to say to take an observation."""
    kind, points = observation.kind, observation.points
    word = {"drop": "volts", "speed": "look", "click": "listen"}.get(kind, kind)
    if kind == "lamp" and len(points) == 1:
        word = "look"
    keys = lead_keys(setup)
    if kind == "amps" and points[0] in keys:
        return f"amps {numbered('bridge', keys.index(points[0])).replace('bridge', 'lead')}"
    return " ".join([word, *points])
