"""Stopped, and several suspects left: what else to read in the same step, to part them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import meter_for, said
from circuitcheck.harness.model import Observation
from circuitcheck.inspect.powerup.observe import within_reach
from circuitcheck.inspect.powerup.plan import PowerupPlan, Step
from circuitcheck.locate.verdict import Verdict
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import ACCURACY

_MOST = 3
"""Further readings that are asked for at the most; common practice, no source."""
_APART = 6.0
"""Standard uncertainties between two readings that a person can tell apart; common practice."""


@dataclass(frozen=True, slots=True)
class Parting:
    """One more reading.

    :param name: as it is added to the sheet: ``volts K1.85 G1.-``
    :param outcomes: what it reads, as a person would note it, and the suspects with which it does, the
        likeliest first
    """

    name: str
    outcomes: tuple[tuple[str, tuple[str, ...]], ...]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"name": self.name, "outcomes": {read: list(who) for read, who in self.outcomes}}


def parting(plan: PowerupPlan, step: Step, verdict: Verdict) -> tuple[Parting, ...]:
    """The few points whose volts part the suspects of the first group."""
    known = {one.mode.spec: one for one in plan.faults}
    specs = [one.spec for one in verdict.suspects if one.group == 1 and one.spec in known]
    points = within_reach(plan.order, step.stage)
    taken = {(one.kind, one.points) for one in step.test.observe.values()}
    points = {name: one for name, one in points.items() if (one.kind, one.points) not in taken}
    if len(specs) < 2 or not points:
        return ()
    bench = Bench(plan.harness, step.test.setup, tuple(points.items()))
    run = bench.run([known[spec].change(bench.circuit.branches) for spec in specs])
    found: list[Parting] = []
    together = [list(range(len(specs)))]
    left = list(range(len(points)))
    for _ in range(min(_MOST, len(left))):
        splits = {place: _split(bench, run.values, place, together) for place in left}
        best = max(left, key=lambda one: len(splits[one]))
        left.remove(best)
        if len(splits[best]) == len(together):
            break
        together = splits[best]
        found.append(_told(plan, bench, run.values, best, specs))
    return tuple(found)


def _split(bench: Bench, values: Array, place: int, groups: list[list[int]]) -> list[list[int]]:
    """The groups after one more reading."""
    return [part for group in groups for part in _levels(bench, values, place, group)]


def _levels(bench: Bench, values: Array, place: int, rows: list[int]) -> list[list[int]]:
    """Rows in groups that a meter cannot tell apart at one point, the lowest first."""
    _, observation = bench.observations[place]
    column = values[:, place]
    order = sorted(rows, key=lambda row: math.inf if math.isnan(column[row]) else column[row])
    found: list[list[int]] = []
    for row in order:
        before = column[found[-1][-1]] if found else math.nan
        if found and _alike(_width(observation, column[row]), before, column[row]):
            found[-1].append(row)
        else:
            found.append([row])
    return found


def _width(observation: Observation, value: float) -> float:
    """How far apart two readings near a value must be [the reading's unit]."""
    known = 0.0 if math.isnan(value) else value
    meter = float(ACCURACY[meter_for(observation)].uncertainty(np.array(known)))
    return _APART * math.hypot(meter, 0.03 * known)


def _alike(width: float, one: float, other: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) and math.isnan(other)
    return abs(other - one) < width


def _told(plan: PowerupPlan, bench: Bench, values: Array, place: int, specs: list[str]) -> Parting:
    _, observation = bench.observations[place]
    levels = _levels(bench, values, place, list(range(len(specs))))
    return Parting(
        f"{observation.kind} {' '.join(observation.points)}",
        tuple(
            (
                said(plan.harness, observation, float(np.median(values[rows, place]))),
                tuple(specs[row] for row in sorted(rows)),
            )
            for rows in levels
        ),
    )
