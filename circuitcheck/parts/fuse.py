"""A fuse: a small resistance that opens for good when the current is far over its rating."""

from typing import ClassVar

from circuitcheck.parts.fault import Failing, FaultMode, take_out
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Ohms
from circuitcheck.physics.branch import Branch, Conductor, Threshold

OPENS_AT = 1.6
"""Times its rating at which a blade fuse is sure to open within a minute (ISO 8820-3 limit of 50 s
at 160 %; from memory)."""


def cold_resistance(rating: float) -> float:
    """Usual cold resistance of a blade fuse [ohm] for its rating [A].

    About 80 mV at the rated current over the catalogue values of ISO 8820-3 type C fuses
    (5 A 17 mohm, 10 A 7.6, 20 A 3.3, 30 A 1.9; from memory, within a fifth).
    """
    return float(0.103 * rating**-1.15)


class Fuse(Part):
    """Terminals ``in`` (battery side) and ``out``."""

    kind_name: ClassVar[str] = "fuse"
    letters: ClassVar[str] = "F"
    summary: ClassVar[str] = "fuse; 'in' on the battery side, 'out' on the load side"

    rating: Amp
    ohms: Ohms | None = None

    def pins(self) -> tuple[str, ...]:
        """Battery side first."""
        return ("in", "out")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """One element that conducts until it has blown."""
        ohm = cold_resistance(self.rating) if self.ohms is None else self.ohms
        whole = ((f"{name} blown", False),)
        return {
            f"{name}:element": Conductor(
                self.own(name, "in"), self.own(name, "out"), ohm, 0.15, closed_when=(whole,)
            )
        }

    def thresholds(self, name: str) -> dict[str, Threshold]:
        """Blown, once it has carried too much."""
        limit = OPENS_AT * self.rating
        return {f"{name} blown": Threshold(f"{name}:element", limit, limit, latching=True)}

    def faults(self, name: str) -> list[FaultMode]:
        """A fuse does one thing."""
        fuse = Failing(name, "fuse", f"renew fuse {name}, once you know why it blew")
        return [fuse.mode("blown", f"fuse {name} has blown", take_out(f"{name}:element"))]
