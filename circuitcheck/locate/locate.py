"""From a sheet of readings to a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.conclude import conclude, explains, merged
from circuitcheck.locate.evidence import Evidence, lay_out
from circuitcheck.locate.passing import twins, weigh_passing
from circuitcheck.locate.suspects import Suspect, pair_suspects, single_suspects
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.locate.verdict import Verdict
from circuitcheck.locate.weighing import (
    Coarse,
    Standing,
    every_prediction,
    fine_look,
    rough_look,
    unread,
)
from circuitcheck.physics.branch import Array

if TYPE_CHECKING:
    from circuitcheck.locate.why import Why

PAIRS_FROM = 26
"""Single faults that pairs are made of."""
_PARTIAL = 0.3
"""Chance of a wrong reading when a fault is asked to explain only some of them."""


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

    def beforehand(self) -> list[Standing]:
        """How every suspect stands before anything has been read."""
        return merged(unread(self._coarse))

    def _standings(self, evidence: Evidence) -> list[Standing]:
        """Every lasting fault is weighed. Those that come and go come in when none of them explains
        every reading, pairs when none explains all readings but perhaps one.
        """
        rough = rough_look(evidence, self._coarse)
        standings = fine_look(evidence, self._coarse, rough)
        if not explains(standings[0], every=True):
            passing = weigh_passing(evidence, self._coarse, self._passing)
            standings = _in_order([*standings, *passing])
        if explains(standings[0]):
            return standings
        return _in_order([*standings, *self._pairs(evidence)])

    def _pairs(self, evidence: Evidence) -> list[Standing]:
        predicted = every_prediction(evidence, self._coarse)
        pairs = pair_suspects(self._singles, _partners(evidence, self._singles, predicted))
        if not pairs:
            return []
        coarse = Coarse(self.harness, pairs)
        return fine_look(evidence, coarse, rough_look(evidence, coarse))


def _in_order(standings: list[Standing]) -> list[Standing]:
    """Most likely first."""
    return sorted(standings, key=lambda one: -one.log_weight)


def locate(harness: Harness, sheet: Sheet) -> Verdict:
    """The verdict on one sheet of readings."""
    return Locator(harness).locate(sheet)


def _partners(
    evidence: Evidence, singles: Sequence[Suspect], predicted: Array
) -> list[int]:
    """The single faults that explain most of the readings, one of each that look alike."""
    u = deviations(evidence, predicted)
    partial = rough_logs(evidence, predicted, u, _PARTIAL).sum(axis=-1)
    weights = np.array([np.log(max(one.weight, 1e-12)) for one in singles])
    chosen: list[int] = []
    for number in np.argsort(-(partial + weights)):
        if not singles[number].faults:
            continue
        alike = any(
            _alike(predicted[number], predicted[other], u[number]) for other in chosen
        )
        if not alike:
            chosen.append(int(number))
        if len(chosen) == PAIRS_FROM:
            break
    return chosen


def _alike(one: Array, other: Array, u: Array) -> bool:
    both = np.isfinite(one) & np.isfinite(other)
    if not np.array_equal(np.isfinite(one), np.isfinite(other)):
        return False
    return bool(np.all(np.abs(one[both] - other[both]) < 0.5 * u[both]))
