"""An in-line plug between two lengths of loom."""

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.fault import FaultMode, joint_faults
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Count, Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Connector(Part):
    """Cavity 1 joins ``X1.1a`` on the one half with ``X1.1b`` on the other, and so on."""

    kind_name: ClassVar[str] = "plug"
    letters: ClassVar[str] = "X"
    summary: ClassVar[str] = "in-line plug; cavity 1 joins terminals 1a and 1b, and so on"
    has_plug: ClassVar[bool] = False

    cavities: Count = Field(2, description="how many wires it carries")
    pin: Ohm = 0.0015

    def _numbers(self) -> range:
        return range(1, int(self.cavities) + 1)

    def pins(self) -> tuple[str, ...]:
        """Half a, half b, cavity by cavity."""
        return tuple(f"{number}{half}" for number in self._numbers() for half in "ab")

    def contacts(self, name: str) -> dict[str, Conductor]:
        """One contact a cavity; all of them open when it is undone."""
        return {
            f"{name}.{number}": Conductor(f"{name}.{number}a", f"{name}.{number}b", self.pin, 0.3)
            for number in self._numbers()
        }

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """Nothing but its contacts."""
        return {}

    @property
    def plugged(self) -> bool:
        """It is a plug."""
        return True

    def own(self, name: str, pin: str) -> str:
        """Both halves belong to the loom."""
        return f"{name}.{pin}"

    def nodes(self, name: str) -> tuple[str, ...]:
        """Both halves of each cavity."""
        return tuple(f"{name}.{pin}" for pin in self.pins())

    def all_faults(self, name: str) -> list[FaultMode]:
        """Cavity by cavity."""
        return [
            fault
            for number in self._numbers()
            for fault in joint_faults(f"{name}.{number}", f"cavity {number} of plug {name}", "plug")
        ]

    def check(self) -> list[tuple[str, str, str]]:
        """A whole number of cavities."""
        if self.cavities == int(self.cavities) and 1 <= self.cavities <= 120:
            return []
        return [("cavities", f"{self.cavities:g}", "must be a whole number from 1 to 120")]
