"""The whole description as immutable models: supply, parts, wires, tests, access."""

import re
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.part import Part
from circuitcheck.parts.quantity import CELSIUS, Amps, Celsius, Minute, Volt, Watts, YesNo
from circuitcheck.parts.wire import Wire
from circuitcheck.physics.meter import VOLTMETER_OHM


class _Strict(BaseModel):
    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True, populate_by_name=True)


class Supply(_Strict):
    """The battery that feeds the loom, at rest and while the engine charges it."""

    battery: str
    resting: Volt
    running: Volt


class Access(_Strict):
    """Something to be opened before a part can be reached; paid once."""

    minutes: Minute
    note: str | None = None


class Engine(_Strict):
    """Coolant temperature, and which way it is going."""

    celsius: float
    warming: bool


def _parse_engine(given: Any) -> Any:
    match = re.fullmatch(r"(.+?)\s+(warming|cooling)", str(given).strip())
    if match is None:
        must = "must be a temperature and a direction, such as '95 degC warming'"
        raise PydanticCustomError("quantity", "{must}", {"must": must, "found": str(given)})
    return {"celsius": CELSIUS.parse(match[1]), "warming": match[2] == "warming"}


EngineText = Annotated[
    Engine,
    BeforeValidator(_parse_engine),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^.+\s+(warming|cooling)$",
            "description": "coolant temperature and direction, such as '95 degC warming'",
        }
    ),
]

Pair = tuple[str, str]


class Through(_Strict):
    """What the loom is fed through, so that a mistake cannot burn: a lamp, or a limited supply."""

    lamp: Watts | None = Field(
        None, description="a lamp of the vehicle's volts, between the plus post and its clamp"
    )
    at: str | None = Field(None, description="a fuse that is taken out, with the lamp in its place")
    limit: Amps | None = Field(
        None, description="a supply in place of the battery that gives no more than this"
    )


THROUGH = "through"
"""What the lead of a :class:`Through` is called, and the lamp in it."""


class Setup(_Strict):
    """What is done to the vehicle before anything is observed."""

    ignition: Literal["on", "off"] = "off"
    running: YesNo = False
    engine: EngineText = Engine.model_construct(celsius=20.0, warming=True)
    switches: dict[str, str] = Field({}, description="position of each hand switch")
    pull: list[str] = Field([], description="fuses and relays taken out")
    unplug: list[str] = Field([], description="parts whose plug is undone")
    bridge: list[Pair] = Field([], description="terminals joined by a fused lead")
    feed: list[str] = Field([], description="terminals fed from battery plus by a fused lead")
    ground: list[str] = Field([], description="terminals joined to battery minus by a lead")
    battery: Literal["connected", "disconnected"] = "connected"
    through: Through | None = Field(None, description="what the loom is fed through")
    swap: list[str] = Field([], description="parts replaced by known good ones")


KINDS_OF_OBSERVATION = (
    "volts",
    "drop",
    "amps",
    "ohms",
    "speed",
    "lamp",
    "click",
    "hear",
    "turn",
    "fuse",
)


class Observation(_Strict):
    """One thing to look at. Exactly one of its keys but ``inline``."""

    volts: Pair | None = Field(None, description="volts from the first point to the second")
    drop: Pair | None = Field(None, description="volts lost along the path between two points")
    ohms: Pair | None = Field(None, description="ohms between two points, battery disconnected")
    amps: str | None = Field(
        None,
        description="the wire, fuse or pin clamped, or a lead: 'bridge', 'feed', 'ground', 'through'",
    )
    speed: str | None = Field(None, description="the motor looked at")
    lamp: str | Pair | None = Field(
        None, description="a fitted lamp, two points for a test lamp, or 'through'"
    )
    click: str | None = Field(None, description="the relay listened to")
    hear: str | None = Field(None, description="the motor listened to, whatever its fan does")
    turn: str | None = Field(
        None, description="the motor whose fan is turned by hand, where it cannot start"
    )
    fuse: str | None = Field(
        None, description="the fuse looked at, or that of a lead: 'bridge', 'feed', 'ground'"
    )
    inline: YesNo = Field(False, description="amps by a meter in the lead instead of a clamp")

    @cached_property
    def kind(self) -> str:
        """Which of them it is."""
        return next(kind for kind in KINDS_OF_OBSERVATION if getattr(self, kind) is not None)

    @property
    def points(self) -> tuple[str, ...]:
        """The terminals, part or branch it looks at."""
        target = getattr(self, self.kind)
        return (target,) if isinstance(target, str) else tuple(target)


class Test(_Strict):
    """A set-up with things to observe."""

    __test__ = False  # not one of ours, pytest

    title: str
    setup: Setup = Setup.model_construct()
    observe: dict[str, Observation]
    minutes: Minute = 3.0
    access: list[str] = []
    note: str | None = None


class Header(_Strict):
    """The top level of a file, before the parts are checked by their kind."""

    harness: str = Field(description="the title")
    about: str | None = Field(None, description="what kind of circuit it is; invented or real")
    volts: Literal["12", "24"]
    supply: Supply
    ambient: Celsius = 20.0
    parts: dict[str, Any]
    wires: dict[str, Any]
    tests: dict[str, Any] = {}
    access: dict[str, Access] = {}
    frequencies: dict[str, Any] = Field(
        {},
        description="how often a fault, or a fault of all "
        "parts of a kind, occurs: 'R1 open': 12, 'resistor open': 12",
    )


class Harness(_Strict):
    """A checked description. Every name in it resolves.

    :param in_use: whether it has been in use; one that is fresh from the bench has blown no fuse yet,
        and may be wired or fitted wrong
    :param meter_ohm: input of the voltmeter that it is measured with [ohm]
    :param meter_within: share of a number by which the meter may be off, if that is more than usual
    """

    model_config = ConfigDict(defer_build=True, frozen=True, arbitrary_types_allowed=True)

    name: str
    title: str
    about: str
    volts: int
    supply: Supply
    ambient: float
    parts: dict[str, Part]
    wires: dict[str, Wire]
    tests: dict[str, Test]
    access: dict[str, Access]
    frequencies: dict[str, float]
    in_use: bool = True
    meter_ohm: float = VOLTMETER_OHM
    meter_within: float = 0.0

    def terminals(self) -> list[str]:
        """Every terminal of every part."""
        return [node for name, part in self.parts.items() for node in part.nodes(name)]

    def probe_points(self) -> list[str]:
        """Every point a probe can be put on: the terminals, and bare metal of the body if it is used."""
        grounded = any(one.kind_name == "ground" for one in self.parts.values())
        return [*self.terminals(), *([CHASSIS] if grounded else [])]
