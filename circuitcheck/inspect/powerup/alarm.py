"""Too much current in a step: which faults do that there, each put in and solved.

The readings as a whole may still speak for a sound loom, where one lamp says one thing and all else
another. Whoever stands before a lamp that is too bright wants to know what can light it all the same,
not the likeliest account of the whole sheet.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.words import LAMP
from circuitcheck.harness.readings import BUZZES
from circuitcheck.inspect.powerup.plan import PowerupPlan, Step
from circuitcheck.inspect.powerup.signs import Signs, Sweep
from circuitcheck.solve.wiring import Bool


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
