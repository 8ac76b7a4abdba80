"""What the set-up in which the vehicle stands spares of the next one, in minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.harness.model import Harness, Setup
from circuitcheck.harness.readings import Sheet
from circuitcheck.physics.branch import Array
from circuitcheck.plan.candidates import LOOKS, Candidate, tool_of
from circuitcheck.plan.made import LOOK, in_common, steps_of
from circuitcheck.plan.symptom import from_customer


@dataclass(frozen=True)
class Stand:
    """The vehicle in a set-up.

    :param metered: whether a tool was used in it, so that what it is used at has been got at
    """

    setup: Setup
    metered: bool


@dataclass(frozen=True)
class Wanted:
    """Some readings of a candidate: their places."""

    candidate: Candidate
    places: Sequence[int]

    @property
    def metered(self) -> bool:
        """Whether they take a tool."""
        observations = self.candidate.observations
        return any(tool_of(observations[place][1]) not in LOOKS for place in self.places)

    @property
    def stand(self) -> Stand:
        """How the vehicle stands once they have been taken."""
        return Stand(self.candidate.setup, self.metered)


def stand_of(sheet: Sheet) -> Stand | None:
    """How the vehicle stands after the last reading of a sheet; None if only the customer has spoken."""
    last = next((one for one in reversed(sheet.readings) if not from_customer(one.test)), None)
    if last is None:
        return None
    setup = sheet.setups[last.test].setup
    metered = (
        tool_of(one.observation) not in LOOKS
        for one in sheet.readings
        if not from_customer(one.test) and sheet.setups[one.test].setup == setup
    )
    return Stand(setup, any(metered))


def spared(harness: Harness, before: Sequence[Stand | None], then: Sequence[Wanted]) -> Array:
    """Minutes that each of some set-ups spares each of some tests, if it stands (before, tests).

    In the same set-up only the places are left to be found and the readings to be taken; of another
    one, the engine's heat, the plugs and fuses that are out, the leads and the battery's clamp are as
    they must be. A test of the harness states its minutes as a whole: what is left of them is no less
    than its other steps take.
    """
    beginning = np.array([one.candidate.minutes for one in then])
    probing = np.array([one.candidate.probing * one.metered for one in then])
    setups = [one.candidate.setup for one in then]
    steps = {repr(one): steps_of(harness, one) for one in setups}
    stood = [{} if one is None else steps_of(harness, one.setup) for one in before]
    common = in_common(stood, [steps[repr(one)] for one in setups])
    same = np.array([[one is not None and one.setup == setup for setup in setups] for one in before])
    metered = np.array([one is not None and one.metered for one in before])
    other = np.array([sum(steps[repr(one)].values()) for one in setups]) - common
    in_another = np.minimum(common, np.maximum(beginning - LOOK - other, 0.0))
    in_the_same = np.maximum(beginning - LOOK, 0.0) + probing * metered[:, None]
    found: Array = np.where(same, in_the_same, in_another)
    return found


def minutes_now(
    harness: Harness, stand: Stand | None, candidate: Candidate, places: Sequence[int]
) -> float:
    """Minutes of some readings from how the vehicle stands, opening left out."""
    if not places:
        return 0.0
    less = spared(harness, [stand], [Wanted(candidate, places)])[0, 0]
    return candidate.minutes_for(places) - float(less)
