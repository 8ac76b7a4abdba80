"""The ignition switch, as far as a fan circuit sees it."""

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.fault import (
    HIGH_RESISTANCE,
    Failing,
    FaultMode,
    add_ohm,
    close_between,
    comes_and_goes,
    take_out,
)
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Ignition(Part):
    """Ignition switch: 30 from the battery, 15 live while it is on."""

    kind_name: ClassVar[str] = "ignition"
    letters: ClassVar[str] = "S"
    summary: ClassVar[str] = "ignition switch; joins 30 and 15 while the ignition is on"

    contact: Ohm = 0.006
    rating: Amp | None = Field(None, description="current that a contact is made for")

    def pins(self) -> tuple[str, ...]:
        """Terminal numbers of DIN 72552."""
        return ("30", "15")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """One contact."""
        if situation.ignition != "on":
            return {}
        return {
            f"{name}:30-15": Conductor(self.own(name, "30"), self.own(name, "15"), self.contact, 0.4)
        }

    def faults(self, name: str) -> list[FaultMode]:
        """As a switch with one contact."""
        key, block = f"{name}:30-15", Failing(name, "ignition", f"renew the contact block of {name}")
        closed = close_between(key, self.own(name, "30"), self.own(name, "15"), self.contact)
        stuck = block.mode("stuck open", f"{name} does not feed terminal 15", take_out(key))
        return [
            stuck,
            comes_and_goes(stuck, f"{name} feeds terminal 15 now and then", "ignition"),
            block.mode("welded", f"{name} feeds terminal 15 when off", closed, overloads=True),
            block.mode(
                "high resistance",
                f"the contact of {name} is burnt",
                add_ohm(key),
                HIGH_RESISTANCE,
            ),
        ]
