"""A splice: wires joined inside the wrapping of the loom."""

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.fault import FaultMode, joint_faults
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Count, Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Splice(Part):
    """Terminals 1, 2, 3, ...: one for each wire that is joined."""

    kind_name: ClassVar[str] = "splice"
    letters: ClassVar[str] = "X"
    summary: ClassVar[str] = "wires joined in the loom; one terminal a wire"
    has_plug: ClassVar[bool] = False
    joins_wires: ClassVar[bool] = True

    wires: Count = Field(3, description="how many wires it joins")
    joint: Ohm = 0.0005

    def pins(self) -> tuple[str, ...]:
        """One a wire."""
        return tuple(str(number + 1) for number in range(int(self.wires)))

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """A joint from each wire to the middle."""
        return {
            f"{name}.{pin}": Conductor(f"{name}.{pin}", f"{name}:middle", self.joint, 0.4)
            for pin in self.pins()
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Each joint on its own."""
        return [
            fault
            for pin in self.pins()
            for fault in joint_faults(f"{name}.{pin}", f"joint {pin} of splice {name}", "splice")
        ]

    def check(self) -> list[tuple[str, str, str]]:
        """A whole number of wires, two or more."""
        if self.wires == int(self.wires) and 2 <= self.wires <= 24:
            return []
        return [("wires", f"{self.wires:g}", "must be a whole number from 2 to 24")]
