"""What of a set-up is made already where the vehicle stands in another one, in minutes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from circuitcheck.harness.model import Harness, Setup
from circuitcheck.physics.branch import Array
from circuitcheck.plan.setups import closed_contacts, warmed

LOOK = 0.5
"""Minutes to begin a look; common practice, no source."""
_STEP = 1.0
"""Minutes for each plug, fuse or lead, and for the battery off; common practice, no source."""
SPARE = 3.0
"""Minutes to put a spare in and take it out again; common practice, no source."""
_WARM = 10.0
"""Minutes to bring the engine to a temperature; common practice, no source."""
Step = tuple[object, ...]
"""One thing that is done to the vehicle."""


def steps_of(harness: Harness, setup: Setup) -> dict[Step, float]:
    """What is done to the vehicle for a set-up, with the minutes of each step."""
    undone = (*setup.pull, *setup.unplug)
    leads = (*setup.bridge, *setup.feed, *setup.ground)
    steps: dict[Step, float] = {("undone", one): _STEP for one in undone}
    steps |= {("lead", one): _STEP for one in leads}
    steps |= {("swapped", one): SPARE for one in setup.swap}
    if warmed(setup):
        steps["warm", closed_contacts(harness, setup)] = _WARM
    if setup.battery == "disconnected":
        steps["battery off",] = _STEP
    return steps


def minutes_of(steps: Mapping[Step, float]) -> float:
    """Minutes until something can be looked at."""
    return LOOK + sum(steps.values())


def in_common(before: Sequence[Mapping[Step, float]], then: Sequence[Mapping[Step, float]]) -> Array:
    """Minutes of the steps that each of some set-ups shares with each of some others (before, then)."""
    known: dict[Step, int] = {}
    for steps in (*before, *then):
        for one in steps:
            known.setdefault(one, len(known))

    def table(setups: Sequence[Mapping[Step, float]], *, timed: bool) -> Array:
        found = np.zeros((len(setups), len(known)))
        for number, steps in enumerate(setups):
            for one, minutes in steps.items():
                found[number, known[one]] = minutes if timed else 1.0
        return found

    shared: Array = table(before, timed=False) @ table(then, timed=True).T
    return shared
