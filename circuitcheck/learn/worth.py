"""What each measurement was worth: what it could tell of the unit to put right, and what it did tell.

In bits: one bit halves the units that are still in question. What it could tell is the mean over what it
might have shown (the planner's own figure for a test); what it did tell is how much surer one was
afterwards, which may be more or less, or even nothing but doubt. Both are held against single faults
alone: pairs would take a second for each measurement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.readings import Sheet
from circuitcheck.learn.case import Case
from circuitcheck.learn.follow import complaint_sheet, with_reading
from circuitcheck.learn.workshop import Measurement
from circuitcheck.locate.conclude import merged
from circuitcheck.physics.meter import VOLTMETER_OHM
from circuitcheck.plan.hypotheses import Hypotheses, hypotheses
from circuitcheck.plan.outcomes import outcomes_of
from circuitcheck.plan.planner import Planner
from circuitcheck.plan.problem import Problem


@dataclass(frozen=True, slots=True)
class Worth:
    """What one measurement could tell and did tell [bit]."""

    could: float
    told: float


def worth_of(case: Case, log: Sequence[Measurement], planner: Planner) -> list[Worth | None]:
    """For each measurement, in its order; None where a reading does not count.

    Those do not count that mean nothing, that a bare lead made, and any with a meter that loads the
    circuit as no description says. Whenever something has been put right, a new sheet begins.
    """
    sheet = complaint_sheet(case.harness, case.faults)
    known = _known(planner, sheet)
    found: list[Worth | None] = []
    put_right = frozenset[str]()
    for place, one in enumerate(log):
        if one.renewed != put_right:
            put_right = one.renewed
            sheet = Sheet("", (), {}, tuple(sorted(put_right)))
            known = _known(planner, sheet)
        if one.spoiled or one.bare or case.meter_ohm != VOLTMETER_OHM:
            found.append(None)
            continue
        could = _could(case, known, one)
        sheet = with_reading(sheet, f"measured {place}", one.setup, "it", one.observation, one)
        after = _known(planner, sheet)
        found.append(Worth(round(could, 2), round(_doubt(known) - _doubt(after), 2)))
        known = after
    return found


def _known(planner: Planner, sheet: Sheet) -> Hypotheses:
    """What is still possible after a sheet."""
    locator = planner.locator
    standings = locator.weigh_singles(sheet) if sheet.readings else locator.beforehand(sheet.put_right)
    return hypotheses(planner.harness, merged(standings))


def _could(case: Case, known: Hypotheses, one: Measurement) -> float:
    """The mean gain of a reading over what it might show [bit]."""
    bench = Bench(case.harness, one.setup, (("it", one.observation),))
    values = known.predicted(known.predictor(), bench)[:, 0]
    chances = outcomes_of(case.harness, one.observation, values).chances
    nothing = np.zeros((1, 0), dtype=bool)
    problem = Problem(known.unit, chances[None], np.ones(1), nothing, np.zeros(0), 0.0)
    return float(problem.gains(known.weights)[0])


def _doubt(known: Hypotheses) -> float:
    """Entropy over the units to put right [bit]."""
    chances = np.bincount(known.unit, known.weights)
    chances = chances[chances > 0] / chances.sum()
    return float(-np.sum(chances * np.log2(chances)))
