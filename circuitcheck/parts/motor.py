"""A permanent-magnet fan motor."""

from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from circuitcheck.parts.fault import (
    Branches,
    Change,
    ChangeRule,
    Failing,
    FaultMode,
    Severity,
    Value,
    comes_and_goes,
    scale,
    scale_by_value,
)
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Amps, Ohm, Rpm, Volts
from circuitcheck.physics.branch import Branch
from circuitcheck.physics.motor import FanMotor

#: One sound motor from another: winding and brushes (warm or cold), magnet, fan, friction.
#: Common practice, no source; the winding's 6 % is 15 K of copper.
SPREADS = (0.06, 0.025, 0.05, 0.25, 0.0, 0.0)
#: A wheel that slips: its speed as a share of the shaft's. One that keeps more of it grips harder
#: than brushes and bearings hold, and turns the motor under a hand. Common practice, no source.
SLIPS = Severity(0.02, 0.25, "of the shaft's speed")


class Rated(BaseModel):
    """The point on the name plate: running with its fan."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)

    volts: Volts
    amps: Amps
    rpm: Rpm


class Motor(Part):
    """Terminals ``+`` and ``-``. Give the winding or the locked-rotor current, not both."""

    kind_name: ClassVar[str] = "motor"
    letters: ClassVar[str] = "M"
    summary: ClassVar[str] = "permanent-magnet motor with its fan"

    rated: Rated
    winding: Ohm | None = Field(None, description="winding and brushes, cold")
    locked: Amp | None = Field(None, description="current at the rated volts, rotor held")

    def pins(self) -> tuple[str, ...]:
        """Plus first."""
        return ("+", "-")

    @property
    def resistance(self) -> float:
        """Winding and brushes [ohm]."""
        if self.winding is not None:
            return float(self.winding)
        assert self.locked is not None
        return float(self.rated.volts / self.locked)

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """One curve."""
        return {
            f"{name}:motor": FanMotor.from_rated_point(
                self.own(name, "+"),
                self.own(name, "-"),
                volts=self.rated.volts,
                amps=self.rated.amps,
                rpm=self.rated.rpm,
                resistance=self.resistance,
                spreads=SPREADS,
            )
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Of its circuit: open, now and then or for good, worn brushes; and those of its shaft."""
        key, motor = f"{name}:motor", Failing(name, "motor", f"renew motor {name}")
        words = f"motor {name} is open (worn brushes, burnt winding)"
        open_ = motor.mode("open", words, scale(key, strength=0.0))
        return [
            open_,
            comes_and_goes(open_, f"the brushes of motor {name} stick now and then", "motor"),
            *_of_the_shaft(motor, key),
            motor.mode(
                "worn brushes",
                f"the brushes of motor {name} make poor contact",
                scale_by_value(key, "resistance"),
                Severity(2.0, 40.0, "times its winding"),
            ),
        ]

    def check(self) -> list[tuple[str, str, str]]:
        """Exactly one of the two ways to give the winding, and room for a back EMF."""
        if (self.winding is None) == (self.locked is None):
            found = "neither" if self.winding is None else "both"
            return [
                (
                    "winding",
                    f"{found} of winding and locked",
                    "must give one: winding: 0.18 ohm, or locked: 72 A",
                )
            ]
        drop = self.rated.amps * self.resistance
        if drop < 0.9 * self.rated.volts:
            return []
        limit = 0.9 * self.rated.volts / self.rated.amps
        return [
            (
                "winding" if self.winding else "locked",
                f"{self.resistance:.3g} ohm",
                f"must be below {limit:.3g} ohm to leave the motor its back EMF at "
                f"{self.rated.amps:g} A",
            )
        ]


def _of_the_shaft(motor: Failing, key: str) -> list[FaultMode]:
    """Held, hard to turn, the fan loose on it: what a hand tells from all that is electrical."""
    name = motor.where
    return [
        motor.mode(
            "seized",
            f"motor {name} is seized, or something holds its fan",
            scale(key, back_emf=0.0),
            remedy=f"free the fan of motor {name} if something holds it, else renew the motor",
            overloads=True,
        ),
        motor.mode(
            "stiff",
            f"motor {name} turns hard, or its fan scrapes",
            scale_by_value(key, "friction"),
            Severity(3.0, 14.0, "times its friction"),
            remedy=f"free the fan of motor {name} if it scrapes, else renew the motor",
            overloads=True,
        ),
        motor.mode(
            "fan loose",
            f"the fan of motor {name} slips on its shaft",
            _slipping(key),
            SLIPS,
            remedy=f"fasten or renew the fan of motor {name}",
        ),
    ]


def _slipping(key: str) -> ChangeRule:
    """The wheel turns at a share of the shaft's speed and loads it as much less.

    What the wheel takes at ``s w`` is ``k (s w)**2``, and the shaft gives no more than it takes.
    """

    def rule(branches: Branches, share: Value) -> Change:
        return scale(key, fan=share**2, wheel=share)(branches, share)

    return rule
