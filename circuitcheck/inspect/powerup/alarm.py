"""Too much current in a step: which faults do that there, each put in and solved.

The readings as a whole may still speak for a sound loom, where one lamp says one thing and all else
another. Whoever stands before a lamp that is too bright wants to know what can light it all the same,
not the likeliest account of the whole sheet. All readings taken so far say which of them is likeliest.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.words import LAMP
from circuitcheck.harness.readings import BUZZES, Sheet
from circuitcheck.inspect.powerup.plan import PowerupPlan, Step
from circuitcheck.inspect.powerup.signs import Signs, Sweep
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.conclude import merged
from circuitcheck.locate.evidence import lay_out
from circuitcheck.locate.summary import percent
from circuitcheck.locate.suspects import single_suspects
from circuitcheck.locate.weighing import both_looks
from circuitcheck.solve.wiring import Bool


@dataclass(frozen=True, slots=True)
class Cause:
    """A unit that makes too much current flow in a step.

    :param unit: what to put right
    :param chance: by all readings taken so far, if one of the causes does it
    :param faults: what can be wrong with it, likeliest first
    """

    unit: str
    chance: float
    faults: tuple[str, ...]

    @property
    def words(self) -> str:
        """``W1 short to ground (34 %)``; of a part of a whole, ``fan: M1 seized (9 %)``."""
        of_unit = all(one.split()[0] == self.unit for one in self.faults)
        head = "" if of_unit else f"{self.unit}: "
        return f"{head}{', '.join(self.faults)} ({percent(self.chance)})"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"unit": self.unit, "chance": round(self.chance, 4), "faults": list(self.faults)}


def causes(plan: PowerupPlan, step: Step, readings: Sequence[str], sheet: Sheet) -> tuple[Cause, ...]:
    """The units with which readings of a step show more than a sound loom does, likeliest first.

    :param readings: the names of readings that show too much: the lamp, currents
    :param sheet: all readings up to that step
    """
    named = overloading(plan, step, readings)
    weighed = _chances(plan, named, sheet)
    units = {one.mode.spec: one.mode.replace for one in plan.faults}
    found: dict[str, list[str]] = {}
    for spec in sorted(named, key=lambda one: -weighed.get(one, 0.0)):
        found.setdefault(units[spec], []).append(spec)
    return tuple(
        sorted(
            (
                Cause(unit, sum(weighed.get(one, 0.0) for one in specs), tuple(specs))
                for unit, specs in found.items()
            ),
            key=lambda one: -one.chance,
        )
    )


def _chances(plan: PowerupPlan, specs: Collection[str], sheet: Sheet) -> dict[str, float]:
    """How likely each of some faults is, if it is one of them; hopeless ones are left out."""
    suspects = [one for one in single_suspects(plan.harness) if one.spec in specs]
    if not suspects:
        return {}
    evidence, coarse = lay_out(plan.harness, sheet, {}), Coarse(plan.harness, suspects)
    standings = merged(both_looks(evidence, coarse))
    logs = np.array([one.log_weight for one in standings])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    return {one.suspect.spec: float(share) for one, share in zip(standings, shares, strict=True)}


def overloading(plan: PowerupPlan, step: Step, readings: Sequence[str]) -> tuple[str, ...]:
    """The faults with which a reading of a step shows more than a sound loom does, most usual first.

    A fault of a part that is still out moves nothing there, so that it is not among them.

    :param readings: the names of readings that show too much: the lamp, currents
    """
    chosen = [(name, step.test.observe[name]) for name in readings]
    sweep = Signs(plan.harness, plan.faults).sweep(Bench(plan.harness, step.test.setup, tuple(chosen)))
    each = [_more(sweep, place) for place in range(len(chosen))]
    found = np.logical_and.reduce(each)
    if not found.any():  # no one fault does all of it
        found = np.logical_or.reduce(each)
    order = sorted(np.flatnonzero(found).tolist(), key=lambda n: -plan.faults[n].mode.weight)
    return tuple(plan.faults[n].mode.spec for n in order)


def _more(sweep: Sweep, place: int) -> Bool:
    """The faults with which one reading shows more: a brighter lamp, or one that flickers."""
    words = LAMP.words[1:]
    moved = [faults for what, faults in sweep.moved[place] if what in ("higher", BUZZES, *words)]
    return np.any(moved, axis=0) if moved else np.zeros_like(sweep.shows(place))
