"""From a sheet of readings to a verdict."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.conclude import conclude, explains, merged, rest_fits
from circuitcheck.locate.evidence import DOUBTED, Evidence, lay_out
from circuitcheck.locate.loose_contact import Twin, twins
from circuitcheck.locate.passing import weigh_passing
from circuitcheck.locate.renewed import after_repair, asks_for
from circuitcheck.locate.several import weigh_beside, weigh_several
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect, single_suspects
from circuitcheck.locate.verdict import Verdict
from circuitcheck.locate.weighing import (
    both_looks,
    unread,
)

if TYPE_CHECKING:
    from circuitcheck.locate.why import Why


@dataclass(frozen=True)
class _Field:
    """Who is suspected before anything has been read, and how likely.

    :param singles: sound, and every single fault that lasts, as ``coarse`` has them
    :param passing: the faults that come and go
    """

    singles: list[Suspect]
    passing: list[Twin]
    coarse: Coarse


class Locator:
    """Weighs sheets of one harness; keeps what it has predicted, so that a next sheet is quick."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        self._everyone = single_suspects(harness)
        self._coarse = Coarse(harness, _parted(self._everyone)[0])
        self._fields: dict[frozenset[str], _Field] = {}
        self._benches: dict[str, Bench] = {}

    def _field(self, put_right: Collection[str]) -> _Field:
        """Everyone with his chances after some units were put right."""
        key = frozenset(put_right)
        if key not in self._fields:
            singles, passing = _parted(after_repair(self._everyone, key))
            self._fields[key] = _Field(singles, passing, self._coarse.with_chances(singles))
        return self._fields[key]

    def locate(self, sheet: Sheet) -> Verdict:
        """The verdict on a sheet of readings."""
        return conclude(*self.weigh(sheet))

    def why(self, sheet: Sheet) -> Why:
        """The same with the whole ledger."""
        from circuitcheck.locate.why import why  # noqa: PLC0415  (only where it is asked for)

        return why(*self.weigh(sheet))

    def weigh(self, sheet: Sheet) -> tuple[Evidence, list[Standing]]:
        """The readings laid out, and how every suspect stands that is not hopeless."""
        evidence = lay_out(self.harness, sheet, self._benches)
        return evidence, self._standings(evidence)

    def weigh_singles(self, sheet: Sheet) -> list[Standing]:
        """How every lasting single fault stands, whether or not one explains the readings."""
        evidence = lay_out(self.harness, sheet, self._benches)
        coarse = self._field(sheet.put_right).coarse
        return both_looks(evidence, coarse)

    def beforehand(self, put_right: Collection[str] = ()) -> list[Standing]:
        """How every suspect stands before anything has been read, some units perhaps put right."""
        return merged(unread(self._field(put_right).coarse))

    def _standings(self, evidence: Evidence) -> list[Standing]:
        """Every lasting fault is weighed. Those that come and go come in when none of them explains
        every reading with none misread; pairs and triples when none of these does, or only one of what
        was put right does: two faults may look like one that is there in some tests and gone in
        others. Where the best explains all but one reading, only those pairs come in that could stand
        near it.
        """
        field = self._field(evidence.put_right)
        standings = both_looks(evidence, field.coarse)
        if not explains(standings[0], every=True):
            field.coarse.complete(evidence)  # both of what follows asks for what was dropped
            passing = weigh_passing(evidence, field.coarse, field.passing)
            standings = _in_order([*standings, *passing])
        best = standings[0]
        lasts = not best.suspect.passing
        if lasts and explains(best, every=True) and not asks_for(best.suspect, evidence.put_right):
            return standings
        if _all_but_one(best) and not asks_for(best.suspect, evidence.put_right):
            return _in_order([*standings, *weigh_beside(evidence, field.coarse, standings)])
        several = weigh_several(evidence, field.coarse)
        return _in_order([*standings, *several])


def _all_but_one(standing: Standing) -> bool:
    """Whether a suspect that lasts explains every reading but one that stands out."""
    if standing.suspect.passing or np.sum(standing.misread > DOUBTED) != 1:
        return False
    return explains(standing) and rest_fits(standing)


def _parted(everyone: Sequence[Suspect]) -> tuple[list[Suspect], list[Twin]]:
    """Sound and the faults that last, and those that come and go."""
    singles = [one for one in everyone if not one.passing]
    return singles, twins(singles, [one for one in everyone if one.passing])


def _in_order(standings: list[Standing]) -> list[Standing]:
    """Most likely first."""
    return sorted(standings, key=lambda one: -one.log_weight)


def locate(harness: Harness, sheet: Sheet) -> Verdict:
    """The verdict on one sheet of readings."""
    return Locator(harness).locate(sheet)
