"""What following ``next`` comes to on a case: the same words that a student says, on the same vehicle.

Every set-up that ``next`` asks for is put into the words of :mod:`circuitcheck.learn.spoken`, so that it
costs what it costs a student, and what was done can be played again as a script.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from circuitcheck.circuit.build import lead_keys, numbered
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading
from circuitcheck.learn.case import WELL, Case, complaint, heard
from circuitcheck.learn.debrief import Followed, Step
from circuitcheck.learn.session import Session
from circuitcheck.learn.workshop import Measurement
from circuitcheck.locate.verdict import Verdict
from circuitcheck.plan.again import once_more
from circuitcheck.plan.before import asked_for
from circuitcheck.plan.candidates import TOOLS, Candidate
from circuitcheck.plan.planner import Options, Outlook, Planner
from circuitcheck.plan.thorough import second_look

MOST_TESTS = 16
"""Set-ups on one sheet after which a follower tests no more; ``next`` mostly stops long before."""
KEPT = 0.9
"""Chance that the suspects which tests are planned for make up together: the unlikely ones are many, and
planning for them as well takes several times as long. The verdict is on all of them."""
KEPT_AT_LAST = 0.99
"""The same before testing ends, where no unit is as sure: what was left out may still be parted."""
PROMISING = 12
"""Set-ups that are looked at again after each reading: those that told most when all were looked at.
All are looked at once more before testing ends."""
MOST_RENEWED = 8
"""Units after which a follower gives up."""
AT_HAND = frozenset(TOOLS)
"""Practice has everything at hand, known good parts too."""
LIKELY = 0.05
"""Chance from which a unit is put right next, where the one before was in vain; else he tests again."""
SYMPTOM = "customer"


def follow(case: Case, planner: Planner, *, thorough: bool = False) -> Followed:
    """Do what ``next`` asks for until it stops, put right what it names, drive, and go on if need be.

    :param thorough: what ``next --thorough`` asks for
    """
    return _Follower(case, planner, thorough=thorough).go()


class _Follower:
    """Somebody who does as told; the customer's words are the first readings, and cost nothing."""

    def __init__(self, case: Case, planner: Planner, *, thorough: bool) -> None:
        self.thorough = thorough
        self.session = Session(case)
        self.planner = planner
        self.lines: list[str] = []
        self.named: list[str] = []
        self.first_right: bool | None = None
        self.unparted: list[str] = []
        self.tests = 0
        self.skip_unread = frozenset[str]()  # what to skip before anything has been read
        self.verdict_minutes: float | None = None

    def go(self) -> Followed:
        """From the customer's words to the end."""
        while True:
            verdict = self._test()
            if self.verdict_minutes is None:
                self.verdict_minutes = self.session.workshop.minutes
            if verdict is None or not verdict.suspects[0].replace or not self._repair(verdict):
                break
        return self._ended()

    def say(self, *lines: str) -> list[str]:
        """Some lines to the session, and what came of them.

        :raises RuntimeError: if practice does not understand what ``next`` asks for
        """
        told = [one for line in lines for one in self.session.feed(line)]
        if self.session.mistakes:
            raise RuntimeError(f"practice does not understand 'next': {self.session.mistakes[-1]}")
        self.lines += lines
        return told

    def _test(self) -> Verdict | None:
        """The verdict when ``next`` has no more to ask for."""
        shop = self.session.workshop
        said = complaint_sheet(shop.harness, shop.faults)
        sheet = replace(said, put_right=tuple(sorted(shop.renewed)))
        outlook, skip = self._outlook(sheet, frozenset() if sheet.readings else self.skip_unread)
        if not sheet.readings:
            self.skip_unread = skip
        before = self.tests
        while self.tests < before + MOST_TESTS:
            asked = self._asked(sheet, outlook)
            if asked is None:
                break
            sheet = self._taken(sheet, *asked)
            outlook, skip = self._outlook(sheet, skip)
        return outlook.verdict

    def _asked(self, sheet: Sheet, outlook: Outlook) -> tuple[Candidate, tuple[int, ...]] | None:
        """What ``next`` asks for: a set-up and places of its readings; None when it stops.

        Before it stops it has a reading on which all rests taken once more.
        """
        if not outlook.advice.stop:
            planned = outlook.planned[outlook.advice.choices[0].test]
            return planned.candidate, planned.places
        again = once_more(self.planner, sheet, outlook, self._options())
        if again is not None:
            return again.candidate, (0,)
        return self._second(sheet, outlook) if self.thorough and sheet.readings else None

    def _second(self, sheet: Sheet, outlook: Outlook) -> tuple[Candidate, tuple[int, ...]] | None:
        """The cheap readings before a repair, in which a second fault would show."""
        test = second_look(self.planner, sheet, outlook, self._options())
        return asked_for(self.planner, test) if test else None

    def _taken(self, sheet: Sheet, candidate: Candidate, places: tuple[int, ...]) -> Sheet:
        """A sheet with the readings that were asked for."""
        shop = self.session.workshop
        self.say(*words_for(shop.setup, candidate.setup, shop.harness))
        self.tests += 1
        for place in places:
            name, observation = candidate.observations[place]
            self.say(look_for(observation, candidate.setup))
            sheet = with_reading(
                sheet,
                f"{candidate.name} ({self.tests})",
                candidate.setup,
                name,
                observation,
                shop.log[-1],
            )
        return sheet

    def _options(self) -> Options:
        return Options(AT_HAND, opened=frozenset(self.session.workshop.opened), kept=KEPT)

    def _outlook(self, sheet: Sheet, skip: frozenset[str]) -> tuple[Outlook, frozenset[str]]:
        """What ``next`` goes by, from the promising set-ups or, where none pays, from all of them.

        :param skip: set-ups that are not promising; none skipped looks at all
        :returns: that, and what to skip the next time
        """
        options = self._options()
        planner, evidence = self.planner, None
        standings = planner.locator.beforehand(sheet.put_right)
        if sheet.readings:
            evidence, standings = planner.locator.weigh(sheet)
        if skip:
            found = planner.look(evidence, standings, sheet, replace(options, skip=skip))
            if not found.advice.stop:
                return found, skip
        found = planner.look(evidence, standings, sheet, options)
        if found.advice.stop and found.verdict is not None and not _sure(found.verdict):
            found = planner.look(evidence, standings, sheet, replace(options, kept=KEPT_AT_LAST))
        return found, self._unpromising(found)

    def _unpromising(self, outlook: Outlook) -> frozenset[str]:
        if outlook.problem is None:
            return frozenset()
        gains = outlook.problem.gains(outlook.known.weights)
        order = sorted(
            zip(gains.tolist(), (one.candidate.name for one in outlook.planned), strict=True),
            reverse=True,
        )
        promising = [*dict.fromkeys(name for _, name in order)][:PROMISING]
        return frozenset(one.name for one in self.planner.candidates) - frozenset(promising)

    def _repair(self, verdict: Verdict) -> bool:
        """Put right what is likeliest, then what was not told from it, until a drive shows a change.

        What is located in several units together is put right in all of them before that drive.

        :returns: whether there may be more to be found: the fans do otherwise, or nothing has changed
            and it is time to test again
        """
        shop, tried, held = self.session.workshop, list[str](), list[str]()
        before = complaint(shop.harness, shop.faults)
        leading = verdict.suspects[0].replace.split(" and ")
        alike = {unit for unit, groups in groups_of(verdict).items() if 1 in groups}
        together = set(leading) - shop.renewed if verdict.verdict == "located" else set[str]()
        order = sorted(ranked(verdict), key=lambda one: one[0] not in together)
        for unit, chance, named in order:
            done_for = tried and (chance < LIKELY or unit not in alike)
            if unit in shop.renewed or (done_for and unit not in together):
                continue
            if len(shop.renewed) >= MOST_RENEWED:
                return False
            self._judge(verdict, unit)
            self.say(f"renew {unit}")
            tried += named
            held += named if unit in leading else ()
            if together - shop.renewed:
                continue
            *_, now = self.say("drive")
            if now.endswith(WELL) or not now.endswith(before):
                self.named += dict.fromkeys([*held, *named])
                return not now.endswith(WELL)
        self.named += tried
        return bool(tried)

    def _judge(self, verdict: Verdict, unit: str) -> None:
        """Keep whether a unit about to be put right is due, and else whether that could be told."""
        shop = self.session.workshop
        due = [one.mode.replace for one in shop.faults]
        needless = bool(shop.needless([unit]))
        if self.first_right is None:
            self.first_right = not needless
        groups = groups_of(verdict)
        if needless and any(groups[unit] & groups.get(one, set()) for one in due):
            self.unparted.append(unit)

    def _ended(self) -> Followed:
        self.say(*(f"fault {one}" for one in self.named or ["none"]), "done")
        shop = self.session.workshop
        needless = shop.needless(self.session.units)
        steps = tuple(Step(round(one.minutes, 1), one.said, one.shown) for one in shop.log)
        return Followed(
            round(self.verdict_minutes or 0.0, 1),
            round(shop.minutes, 1),
            self.tests,
            tuple(self.lines),
            steps,
            tuple(self.named),
            tuple(self.session.units),
            needless,
            not shop.faults,
            not shop.faults and not needless,
            not shop.faults if self.first_right is None else self.first_right,
            tuple(self.unparted),
            self.thorough,
        )


def ranked(verdict: Verdict) -> list[tuple[str, float, tuple[str, ...]]]:
    """Units to put right, the likeliest first, each with its chance and its likeliest fault."""
    chances: dict[str, float] = {}
    faults: dict[str, tuple[str, ...]] = {}
    for one in verdict.suspects:
        specs, units = one.spec.split(" + "), one.replace.split(" and ")
        for place, unit in enumerate(units if one.replace else ()):
            chances[unit] = chances.get(unit, 0.0) + one.probability
            faults.setdefault(unit, tuple(specs if len(units) == 1 else specs[place : place + 1]))
    order = sorted(chances, key=lambda unit: -chances[unit])
    return [(unit, chances[unit], faults[unit]) for unit in order]


def _sure(verdict: Verdict) -> bool:
    """Whether one unit, or set of units, is as sure as need be."""
    chances: dict[str, float] = {}
    for one in verdict.suspects:
        chances[one.replace] = chances.get(one.replace, 0.0) + one.probability
    return max(chances.values()) >= KEPT_AT_LAST


def groups_of(verdict: Verdict) -> dict[str, set[int]]:
    """For each unit the groups in which the verdict has it."""
    found: dict[str, set[int]] = {}
    for one in verdict.suspects:
        for unit in one.replace.split(" and "):
            found.setdefault(unit, set()).add(one.group)
    return found


def complaint_sheet(harness: Harness, faults: Sequence[ChosenFault]) -> Sheet:
    """What the customer says, where he speaks of something other than a sound vehicle does."""
    readings, setups = [], {}
    for test, words in heard(harness, faults).items():
        observe = {motor: Observation.model_validate({"speed": motor}) for motor in words}
        name = f"{SYMPTOM} {test}"
        given = harness.tests[test]
        setups[name] = Test(title=given.title, setup=given.setup, observe=observe)
        readings += [
            Reading(name, motor, observe[motor], math.nan, word) for motor, word in words.items()
        ]
    return Sheet("", tuple(readings), setups)


def with_reading(
    sheet: Sheet, test: str, setup: Setup, name: str, observation: Observation, read: Measurement
) -> Sheet:
    """A sheet with one more reading, as the student noted it."""
    parsed = parse_reading(observation.kind, read.shown.partition(",")[0])
    assert parsed is not None
    before = dict(sheet.setups[test].observe) if test in sheet.setups else {}
    observe = {**before, name: observation}
    setups = {**sheet.setups, test: Test(title=test, setup=setup, observe=observe)}
    more = Reading(test, name, observation, *parsed)
    return replace(sheet, readings=(*sheet.readings, more), setups=setups)


# -- a set-up in words ------------------------------------------------------------------------------


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
        words = ["lead", *["lead also"] * (len(leads) - 1)]
        found += [f"{word} {one} {two}" for word, (one, two) in zip(words, leads, strict=True)]
    return found


def _plugs(now: Setup, wanted: Setup) -> Iterator[str]:
    yield from (f"join {one}" for one in now.unplug if one not in wanted.unplug)
    yield from (f"refit {one}" for one in now.pull if one not in wanted.pull)
    yield from (f"undo {one}" for one in wanted.unplug if one not in now.unplug)
    yield from (f"pull {one}" for one in wanted.pull if one not in now.pull)
    yield from (f"swap {one} back" for one in now.swap if one not in wanted.swap)
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
    return [
        *wanted.bridge,
        *((f"{battery}.+", one) for one in wanted.feed),
        *((one, f"{battery}.-") for one in wanted.ground),
    ]


def look_for(observation: Observation, setup: Setup) -> str:
    """What to say to take an observation."""
    kind, points = observation.kind, observation.points
    word = {"speed": "look", "click": "hear"}.get(kind, kind)
    if kind == "lamp" and len(points) == 1:
        word = "look"
    keys = lead_keys(setup)
    if kind in ("amps", "fuse") and points[0] in keys:
        return f"{kind} {numbered('bridge', keys.index(points[0])).replace('bridge', 'lead')}"
    return " ".join([word, *points])
