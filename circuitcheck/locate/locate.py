"""From a sheet of readings to a verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.conclude import conclude, explains, merged
from circuitcheck.locate.evidence import Evidence, lay_out
from circuitcheck.locate.passing import twins, weigh_passing
from circuitcheck.locate.several import weigh_several
from circuitcheck.locate.suspects import single_suspects
from circuitcheck.locate.verdict import Verdict
from circuitcheck.locate.weighing import (
    Coarse,
    Standing,
    fine_look,
    rough_look,
    unread,
)

if TYPE_CHECKING:
    from circuitcheck.locate.why import Why


class Locator:
    """Weighs sheets of one harness; keeps what it has predicted, so that a next sheet is quick."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        everyone = single_suspects(harness)
        self._singles = [one for one in everyone if not one.passing]
        self._passing = twins(self._singles, [one for one in everyone if one.passing])
        self._coarse = Coarse(harness, self._singles)
        self._benches: dict[str, Bench] = {}

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
        return fine_look(evidence, self._coarse, rough_look(evidence, self._coarse))

    def beforehand(self) -> list[Standing]:
        """How every suspect stands before anything has been read."""
        return merged(unread(self._coarse))

    def _standings(self, evidence: Evidence) -> list[Standing]:
        """Every lasting fault is weighed. Those that come and go come in when none of them explains
        every reading; pairs and triples when none explains all readings but perhaps one.
        """
        rough = rough_look(evidence, self._coarse)
        standings = fine_look(evidence, self._coarse, rough)
        if not explains(standings[0]):
            # Both of what follows asks for readings of what was dropped.
            self._coarse.complete(evidence)
        if not explains(standings[0], every=True):
            passing = weigh_passing(evidence, self._coarse, self._passing)
            standings = _in_order([*standings, *passing])
        if explains(standings[0]):
            return standings
        several = weigh_several(self.harness, evidence, self._coarse, self._singles)
        return _in_order([*standings, *several])


def _in_order(standings: list[Standing]) -> list[Standing]:
    """Most likely first."""
    return sorted(standings, key=lambda one: -one.log_weight)


def locate(harness: Harness, sheet: Sheet) -> Verdict:
    """The verdict on one sheet of readings."""
    return Locator(harness).locate(sheet)
