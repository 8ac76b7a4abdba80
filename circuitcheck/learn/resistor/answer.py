"""What is asked of a resistor, and the answer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

from circuitcheck.harness.model import Harness
from circuitcheck.inspect.rule import Finding, rounded
from circuitcheck.inspect.words import listed
from circuitcheck.learn.resistor import heat
from circuitcheck.learn.resistor.compared import Compared, compare
from circuitcheck.learn.resistor.effects import ContactLoad, FuseLoad
from circuitcheck.learn.resistor.layout import Layout
from circuitcheck.learn.resistor.rig import Wish
from circuitcheck.learn.resistor.warnings import cures, hard_start, near_steps, overloads
from circuitcheck.parts.resistor import Resistor


@dataclass(frozen=True)
class Ask:
    """What is asked; of ``rpm``, ``share`` and ``amps`` one at the most, else the speed it has now.

    :param rpm: wanted speed [rpm]
    :param share: the same as a share of full speed [1]
    :param amps: wanted current of the fan [A]
    :param motor: the fan that this is wanted of; the first one unless told
    :param resistors: those to be sized; those of the slowest speed unless told
    :param into: a wire that a new resistor is put into
    :param one: one resistor for all fans that run slowly together
    :param outside: new ones outside the fans, in place of their own that have failed
    :param take: the ohms to take [ohm]; the nearest standard value unless told
    :param margin: times the running watts that it is rated for
    :param thermal: thermal resistance from its surface to the air [K/W]; assumed unless told
    :param ambient: air around it [degC]; as for ``inspect`` unless told
    :param cut_out: where a thermal cut-out in it opens [degC]
    """

    rpm: float | None = None
    share: float | None = None
    amps: float | None = None
    motor: str | None = None
    resistors: tuple[str, ...] = ()
    into: str | None = None
    one: bool = False
    outside: bool = False
    take: float | None = None
    margin: float = heat.MARGIN
    thermal: float | None = None
    ambient: float | None = None
    cut_out: float | None = None


@dataclass(frozen=True, slots=True)
class Fan:
    """A fan as it runs with some resistance: speed, share of its full speed, current."""

    motor: str
    rpm: float
    share: float
    amps: float


@dataclass(frozen=True)
class Outcome:
    """What one value gives.

    :param series: those of IEC 60063 that have it; empty for one that is not looked up
    :param watts: of the hottest resistor while the fans run [W]
    :param locked_watts: the same with the worst rotor held [W]
    :param locked: the motor held
    """

    ohms: float
    series: tuple[str, ...]
    fans: tuple[Fan, ...]
    watts: float
    locked_watts: float
    locked: str


@dataclass(frozen=True)
class Arrangement:
    """One way to place the resistors, for comparison.

    :param count: how many resistors
    :param ohms: of each [ohm]
    :param watts: of each while the fans run [W]
    :param locked_watts: of the hottest with one rotor held [W]
    :param left_alone: speed of another fan when one has gone open [rpm]; None with a single fan
    """

    words: str
    count: int
    ohms: float
    watts: float
    locked_watts: float
    left_alone: float | None


@dataclass(frozen=True)
class Sizing:
    """The answer.

    :param full: highest speed of each fan in any state of use [rpm]
    :param now: the resistors as the harness has them; None where they are new
    :param exact: at the ohms that give just what is wanted
    :param standard: at the standard values around it, ascending
    :param taken: at the value that all that follows is for
    :param burns: what ``inspect`` says of a resistor rated for running alone; empty if a fuse or a
        cut-out ends a locked fan, or the rating bears it
    :param own_fuse: rating of a fuse of its own that would do [A]; None if there is none
    """

    harness: Harness
    layout: Layout
    wish: Wish
    scene: str
    full: Mapping[str, float]
    now: Outcome | None
    exact: Outcome
    standard: tuple[Outcome, ...]
    taken: Outcome
    margin: float
    ambient: float
    rating: heat.Rating
    surface: heat.Surface
    fuses: tuple[FuseLoad, ...]
    contacts: tuple[ContactLoad, ...]
    burns: tuple[Finding, ...]
    own_fuse: float | None
    arrangements: tuple[Arrangement, ...]
    cut_out: float | None = None

    @property
    def changed(self) -> Harness:
        """The harness with the resistors as sized."""
        return self.layout.fitted(self.taken.ohms, self.rating.take, self.cut_out)

    @property
    def opens_at(self) -> float | None:
        """Where the first cut-out of the resistors opens [degC]; None if they have none."""
        parts = [self.changed.parts[name] for name in self.layout.resistors]
        return min(
            (one.cut_out.opens for one in parts if isinstance(one, Resistor) and one.cut_out),
            default=None,
        )

    @cached_property
    def inspected(self) -> Compared:
        """What ``inspect`` finds in the changed harness against the old one."""
        return compare(self.harness, self.changed)

    @property
    def trips(self) -> bool:
        """Whether a cut-out would open while the fan runs as it should, its wind left out of account."""
        return self.opens_at is not None and self.opens_at <= self.surface.running

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Loads above a rating, steps that are hardly two any more, and resistors inside a unit."""
        held = self.taken.locked
        return (
            *overloads(self.fuses, self.contacts, held),
            *self._hard_start(),
            *near_steps(self.harness, self.changed, self.scene, self.wish.motor),
            *self._inside(),
        )

    def _hard_start(self) -> tuple[str, ...]:
        held = math.sqrt(self.taken.locked_watts / self.taken.ohms) if self.taken.ohms else math.inf
        return hard_start(self.changed, self.taken.locked, held)

    def _inside(self) -> tuple[str, ...]:
        units = {self.changed.parts[one].belongs_to for one in self.layout.resistors} - {None}
        if not units or self.now is None or self.now.ohms == self.taken.ohms:
            return ()
        inside = listed(sorted(str(one) for one in units))
        return (
            f"in place means inside the {inside}: another one may not fit there; --outside puts it "
            "outside",
        )

    @cached_property
    def cures(self) -> tuple[str, ...]:
        """What ends new serious findings of ``inspect``; only where the wiring is changed."""
        return cures(self.changed, self.inspected.come) if self.layout.steps else ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict; numbers to four digits, None for never."""
        return {
            "harness": self.harness.name,
            "resistors": list(self.layout.resistors),
            "layout": self.layout.words,
            "steps": list(self.layout.steps),
            "warnings": list(self.warnings),
            "cures": list(self.cures),
            "trips_running": self.trips,
            "dropped": list(self.layout.dropped),
            "wanted": plain(asdict(self.wish)),
            "state_of_use": self.scene,
            "full_rpm": plain(self.full),
            "now": plain(asdict(self.now)) if self.now else None,
            "exact": plain(asdict(self.exact)),
            "standard": plain([asdict(one) for one in self.standard]),
            "taken": plain(asdict(self.taken)),
            "rating": {
                **plain(asdict(self.rating)),
                "margin": self.margin,
                "margin_source": MARGIN_SOURCE if self.margin == heat.MARGIN else heat.GIVEN,
            },
            "surface": {
                **plain(asdict(self.surface)),
                "ambient": self.ambient,
                "wire_class_running": heat.wire_class(self.surface.running) or None,
                "wire_class_locked": heat.wire_class(self.surface.locked) or None,
            },
            "fuses": plain([asdict(one) for one in self.fuses]),
            "contacts": plain([asdict(one) for one in self.contacts]),
            "burns": [one.to_dict() for one in self.burns],
            "fuse_of_its_own": self.own_fuse,
            "cut_out": self.opens_at,
            "arrangements": plain([asdict(one) for one in self.arrangements]),
        }


MARGIN_SOURCE = "common practice, no source"


def plain(value: Any) -> Any:
    """Numbers to four significant digits, and None for infinite ones."""
    if isinstance(value, bool) or not isinstance(value, float | Mapping | list | tuple):
        return value
    if isinstance(value, float):
        return rounded(value)
    if isinstance(value, Mapping):
        return {key: plain(one) for key, one in value.items()}
    return [plain(one) for one in value]
