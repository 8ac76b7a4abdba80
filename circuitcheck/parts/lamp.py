"""A lamp that is part of the circuit: a warning or indicator lamp."""

from typing import ClassVar

from circuitcheck.parts.fault import Failing, FaultMode, scale
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Volts, Watts
from circuitcheck.physics.branch import Branch
from circuitcheck.physics.lamp import Filament


class Lamp(Part):
    """Terminals 1 and 2; either way round."""

    kind_name: ClassVar[str] = "lamp"
    letters: ClassVar[str] = "EHP"
    summary: ClassVar[str] = "filament lamp"

    watts: Watts
    volts: Volts = 12.0

    def pins(self) -> tuple[str, ...]:
        """Two ends."""
        return ("1", "2")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """One curve."""
        return {
            f"{name}:lamp": Filament(
                self.own(name, "1"),
                self.own(name, "2"),
                self.volts,
                self.watts / self.volts,
                spreads=(0.0, 0.06, 0.0),
            )
        }

    def faults(self, name: str) -> list[FaultMode]:
        """A filament breaks."""
        lamp = Failing(name, "lamp", f"renew lamp {name}")
        return [lamp.mode("blown", f"lamp {name} has blown", scale(f"{name}:lamp", strength=0.0))]
