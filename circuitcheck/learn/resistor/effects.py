"""What a resistor makes of the fuses ahead of it and of the contact that switches it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from circuitcheck.expect.cautions import CONTINUOUS_SHARE, STANDARD_FUSES
from circuitcheck.inspect.contacts import contacts_of
from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.tables import opens_at_latest, opens_not_before
from circuitcheck.learn.resistor.rig import Rig

IN_THE_WAY = 0.5
"""Share of the resistor's current from which a fuse or contact counts as in its way."""


@dataclass(frozen=True, slots=True)
class FuseLoad:
    """A fuse in the way of the current.

    :param running: [A]; ``before`` as the harness was, None where it did not run then
    :param locked: with the rotor held that heats the resistor most [A]
    :param opens: time by which it must have opened then [s]; infinite where it need not
    :param soonest: time before which it does not open then [s]; infinite where nothing says so
    """

    fuse: str
    rating: float
    running: float
    locked: float
    opens: float
    before: float | None
    soonest: float = math.inf

    @property
    def over(self) -> bool:
        """Whether it carries more than its rating."""
        return max(self.running, self.locked) > self.rating


@dataclass(frozen=True, slots=True)
class ContactLoad:
    """A contact in the way of the current.

    :param stated: whether the description states its rating, or it is the usual one
    :param starting: the instant it closes, every rotor still at rest [A]
    """

    contact: str
    rating: float
    stated: bool
    running: float
    starting: float
    locked: float
    before: float | None


@dataclass(frozen=True)
class Cases:
    """A stage with its resistor at one value: running, starting, locked; and the harness as it was."""

    rig: Rig
    running: Live
    starting: Live
    locked: Live
    before: Live | None

    @classmethod
    def of(cls, rig: Rig, ohms: float, original: Design) -> Cases:
        """Solved."""
        words = rig.stage.scene.words
        before = next((one for one in original.running if one.words == words), None)
        return cls(
            rig, rig.at(ohms), rig.locked(ohms, *rig.stage.motors), rig.worst_locked(ohms)[1], before
        )

    def in_the_way(self, key: str) -> bool:
        """Whether a branch carries a good part of what the resistors carry."""
        return self.running.amps(key) >= IN_THE_WAY * self.rig.most_amps(self.running)

    def now(self, key: str) -> float | None:
        """The current of a branch in the harness as it was [A]."""
        return None if self.before is None else self.before.amps(key)


def fuse_loads(cases: Cases) -> tuple[FuseLoad, ...]:
    """Every fuse in the way, in the order of the description."""
    found = []
    for name, rating in cases.rig.design.fuses.items():
        key = f"{name}:element"
        if cases.in_the_way(key):
            locked = cases.locked.amps(key)
            found.append(
                FuseLoad(
                    name,
                    rating,
                    cases.running.amps(key),
                    locked,
                    opens_at_latest(rating, locked),
                    cases.now(key),
                    opens_not_before(rating, locked),
                )
            )
    return tuple(found)


def contact_loads(cases: Cases) -> tuple[ContactLoad, ...]:
    """Every contact in the way."""
    return tuple(
        ContactLoad(
            one.place,
            one.rating,
            one.stated,
            cases.running.amps(one.key),
            cases.starting.amps(one.key),
            cases.locked.amps(one.key),
            cases.now(one.key),
        )
        for one in contacts_of(cases.rig.design)
        if cases.in_the_way(one.key)
    )


def fuse_of_its_own(running: float, locked: float, within: float) -> float | None:
    """The smallest blade fuse that carries one current for good and ends the other in time [A].

    :param within: [s]
    :returns: None if there is none: a resistor keeps the two too near to each other

    >>> fuse_of_its_own(8.0, 40.0, 60.0), fuse_of_its_own(9.0, 17.0, 60.0)
    (10, None)
    """
    fits: Callable[[float], bool] = lambda rating: (  # noqa: E731
        running <= CONTINUOUS_SHARE * rating and opens_at_latest(rating, locked) <= within
    )
    return next((one for one in STANDARD_FUSES if fits(one)), None)


def first_to_open(loads: tuple[FuseLoad, ...]) -> FuseLoad | None:
    """The fuse that must open soonest with the rotor held; None if none need."""
    soonest = min(loads, key=lambda one: one.opens, default=None)
    return None if soonest is None or math.isinf(soonest.opens) else soonest
