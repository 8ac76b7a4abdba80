"""A ground point: an eyelet bolted to the body."""

from dataclasses import replace
from typing import ClassVar

from circuitcheck.parts.fault import CHASSIS, FaultMode, joint_faults
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Ground(Part):
    """Terminal 31, the return of DIN 72552. Bare metal of the body is the point ``chassis``."""

    kind_name: ClassVar[str] = "ground"
    letters: ClassVar[str] = "EX"
    summary: ClassVar[str] = "ground point on the body; its terminal is 31"
    has_plug: ClassVar[bool] = False
    joins_wires: ClassVar[bool] = True

    joint: Ohm = 0.003

    def pins(self) -> tuple[str, ...]:
        """The eyelet."""
        return ("31",)

    def loom_ends(self, name: str) -> tuple[str, ...]:
        """The eyelet itself, bolted or not."""
        return (f"{name}.31",)

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """The bolted joint between eyelet and body."""
        return {f"{name}:joint": Conductor(f"{name}.31", CHASSIS, self.joint, 0.4)}

    def faults(self, name: str) -> list[FaultMode]:
        """Loose or corroded."""
        fresh = joint_faults(f"{name}:joint", f"ground point {name}", "ground")
        return [replace(one, where=name) for one in fresh]
