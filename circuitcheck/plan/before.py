"""On a plan: the cheap readings before a repair, in which a second fault would show beside the first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from circuitcheck.expect.cautions import Lead
from circuitcheck.expect.expected import said
from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.locate.standing import Standing
from circuitcheck.physics.branch import Array
from circuitcheck.plan.asked import NextTest
from circuitcheck.plan.candidates import Candidate
from circuitcheck.plan.phrases import where
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner
from circuitcheck.plan.thorough import second_look


@dataclass(frozen=True, slots=True)
class Before:
    """A test before the repair.

    :param setup: what to do before looking, step by step; nothing if all stays as it is
    :param readings: what to read and where, and what it gives while the first fault is all there is
    """

    name: str
    title: str
    setup: tuple[str, ...]
    cautions: tuple[str, ...]
    lead: Lead | None
    minutes: float
    readings: tuple[tuple[str, str], ...]

    @property
    def words(self) -> str:
        """In one line."""
        lead = [f"lead {self.lead.size_mm2:g} mm2, {self.lead.fuse_a:g} A fuse"] if self.lead else []
        doing = ", ".join([*self.setup, *lead]) if self.setup else "as it stands"
        return f"{doing}: {'; '.join(f'{words} ({read})' for words, read in self.readings)}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self)


@dataclass
class Looks:
    """Finds such tests for the ends of one plan; those that end alike share theirs.

    :param sheet: the readings that the plan begins from
    """

    planner: Planner
    outlook: Outlook
    options: Options
    sheet: Sheet
    _found: dict[object, Before | None] = field(default_factory=dict)

    def before(
        self, weights: Array, opened: frozenset[str], done: Sequence[Planned], last: Planned | None
    ) -> Before | None:
        """The test before the repair of what is likeliest; None if none pays.

        :param weights: of the rows where the plan ends
        :param opened: entries of ``access`` that are open by then
        :param done: tests on the way there, and ``last`` the one made last
        """
        row = int(np.argmax(weights))
        names = tuple(sorted((one.candidate.name, one.places) for one in done))
        key = row, opened, names, last and last.candidate.name
        if key not in self._found:
            self._found[key] = self._look(row, opened, done, last)
        return self._found[key]

    def _look(
        self, row: int, opened: frozenset[str], done: Sequence[Planned], last: Planned | None
    ) -> Before | None:
        order = [*(one for one in done if one is not last), *([last] if last else [])]
        there = replace(self.outlook, leader=self._leader(row), opened=opened)
        sheet = _read_by_then(self.sheet, order)
        test = second_look(self.planner, sheet, there, self.options) if sheet.readings else None
        if test is None:
            return None
        candidate, places = asked_for(self.planner, test)
        values = self.outlook.predicted[test.name][row]
        harness, read = self.planner.harness, [candidate.observations[place][1] for place in places]
        return Before(
            test.name,
            test.title,
            () if last and last.candidate.setup == candidate.setup else test.setup,
            test.cautions,
            test.lead,
            test.minutes,
            tuple(
                (where(harness, one), said(harness, one, float(values[place])))
                for place, one in zip(places, read, strict=True)
            ),
        )

    def _leader(self, row: int) -> Standing:
        """One row as the likeliest suspect, its unknown as it is there."""
        known, nothing = self.outlook.known, np.zeros(0)
        values = np.concatenate([one.values for one in known.trials])
        suspect = known.suspects[int(known.row_suspect[row])]
        return Standing(suspect, 0.0, float(values[row]), None, nothing, nothing, nothing, nothing)


def asked_for(planner: Planner, test: NextTest) -> tuple[Candidate, tuple[int, ...]]:
    """The set-up of a test in words, and the places of its readings."""
    candidate = next(one for one in planner.candidates if one.name == test.name)
    read = {one.sound.name for one in test.readings}
    places = (n for n, (name, _) in enumerate(candidate.observations) if name in read)
    return candidate, tuple(places)


def _read_by_then(sheet: Sheet, tests: Sequence[Planned]) -> Sheet:
    """A sheet with the readings of some tests, whatever they came out as."""
    readings, setups = list(sheet.readings), dict(sheet.setups)
    for one in tests:
        name, candidate = one.candidate.name, one.candidate
        chosen = [candidate.observations[place] for place in one.places]
        setups[name] = Test(title=candidate.title, setup=candidate.setup, observe=dict(chosen))
        readings += [Reading(name, label, each, math.nan) for label, each in chosen]
    return replace(sheet, readings=tuple(readings), setups=setups)
