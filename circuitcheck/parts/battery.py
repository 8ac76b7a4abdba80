"""The battery: an emf behind a resistance, and the two clamps on its posts."""

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.fault import Failing, FaultMode, Severity, add_ohm, joint_faults
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Ohm, Volt
from circuitcheck.physics.branch import Branch, Conductor, Source

EMF_SPREAD = 0.12
"""Standard uncertainty of the emf of a 12 V battery from one sound vehicle to the next [V]: a third
of the step from full to half charge in published state-of-charge tables (12.65 to 12.24 V)."""


class Battery(Part):
    """``G1.+`` and ``G1.-`` are the clamps; ``G1.post+`` and ``G1.post-`` the posts under them."""

    kind_name: ClassVar[str] = "battery"
    letters: ClassVar[str] = "G"
    summary: ClassVar[str] = "battery, with the clamps on its posts"
    has_plug: ClassVar[bool] = False

    internal: Ohm = 0.012
    resting: Volt | None = Field(None, description="if not the volts of the supply")
    clamp: Ohm = 0.0005

    def pins(self) -> tuple[str, ...]:
        """Clamps first, then posts."""
        return ("+", "-", "post+", "post-")

    def loom_ends(self, name: str) -> tuple[str, ...]:
        """The two clamps; the posts stay with the battery."""
        return (f"{name}.+", f"{name}.-")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """Cells between the posts and a clamp on each; nothing when it is disconnected."""
        if not situation.battery_connected:
            return {}
        resting = situation.resting if self.resting is None else self.resting
        emf = situation.charging if situation.running else resting
        spread = EMF_SPREAD * situation.volts / 12.0
        return {
            f"{name}:cells": Source(f"{name}.post+", f"{name}.post-", emf, self.internal, spread, 0.3),
            f"{name}.+": Conductor(f"{name}.post+", f"{name}.+", self.clamp, 0.4),
            f"{name}.-": Conductor(f"{name}.-", f"{name}.post-", self.clamp, 0.4),
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Bad clamps, and cells that sag under load."""
        weak = Failing(name, "battery", f"charge or renew {name}").mode(
            "weak",
            f"battery {name} sags under load",
            add_ohm(f"{name}:cells"),
            Severity(0.05, 2.0, "ohm"),
        )
        plus = joint_faults(f"{name}.+", f"plus clamp {name}.+", "clamp")
        minus = joint_faults(f"{name}.-", f"minus clamp {name}.-", "clamp")
        return [weak, *plus, *minus]
