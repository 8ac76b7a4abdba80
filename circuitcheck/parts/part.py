"""What every kind of part is: terminals, branches, thresholds, fault modes, and words for them.

A part that has a plug stands behind pin contacts. ``S1.2`` is the loom's side of pin 2 of S1 and
``S1.2/part`` the part's own side; the contact between them is the branch ``S1.2``. Undoing the plug
opens all those branches. What is inside the part runs between its own sides.
"""

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from circuitcheck.parts.fault import FaultMode, joint_faults
from circuitcheck.parts.quantity import YesNo
from circuitcheck.physics.branch import Branch, Conductor, Threshold


@dataclass(frozen=True, slots=True)
class Situation:
    """What stands around the circuit in a test, as far as a part can notice it.

    :param volts: nominal system voltage [V]
    :param resting: battery emf with the engine off [V]
    :param charging: supply with the engine running [V]
    :param positions: position of each hand switch by the name of the part
    :param engine: coolant temperature [degC]
    :param warming: whether it is rising
    """

    volts: float = 12.0
    resting: float = 12.6
    charging: float = 14.2
    ignition: str = "off"
    running: bool = False
    engine: float = 20.0
    warming: bool = True
    battery_connected: bool = True
    positions: Mapping[str, str] = field(default_factory=dict)


class Part(BaseModel):
    """The fields that every kind shares; each kind is a subclass in a file of its own."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)
    kind_name: ClassVar[str]
    letters: ClassVar[str]
    summary: ClassVar[str]
    #: whether parts of this kind stand behind a plug or socket unless the file says otherwise
    has_plug: ClassVar[bool] = True
    #: resistance of one pin contact [ohm]; common practice, no source (2.8 to 6.3 mm blades)
    pin_ohm: ClassVar[float] = 0.0015
    #: whether any wire may be crimped or bolted to it beside the others (a splice, an eyelet)
    joins_wires: ClassVar[bool] = False

    kind: str = Field(description="which kind of part this is")
    note: str | None = Field(None, description="anything worth knowing about it")
    where: str | None = Field(None, description="where it sits on the vehicle")
    access: str | None = Field(None, description="which entry of 'access' must be opened to reach it")
    belongs_to: str | None = Field(None, description="the unit that is replaced as a whole")
    plug: YesNo | None = Field(None, description="no: it is wired in for good, without a plug")

    @property
    def plugged(self) -> bool:
        """Whether it has a plug or socket that can be undone."""
        return self.has_plug if self.plug is None else self.plug

    @abstractmethod
    def pins(self) -> tuple[str, ...]:
        """The names of its terminals."""

    @abstractmethod
    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """The branches inside the part, between :meth:`own` nodes."""

    def thresholds(self, name: str) -> dict[str, Threshold]:
        """The states it keeps, by name."""
        return {}

    def faults(self, name: str) -> list[FaultMode]:
        """How it fails, pin contacts not counted."""
        return []

    def misfits(self, name: str) -> list[FaultMode]:
        """How a wrong one, or the right one the wrong way round, comes to be fitted."""
        return []

    def check(self) -> list[tuple[str, str, str]]:
        """What its fields say against each other: (field, found, what it must be)."""
        return []

    # -- what follows is the same for all kinds ---------------------------------------------

    def own(self, name: str, pin: str) -> str:
        """The node on the part's own side of a pin."""
        return f"{name}.{pin}/part" if self.plugged else f"{name}.{pin}"

    def nodes(self, name: str) -> tuple[str, ...]:
        """Every point of it that a probe can be put on."""
        loom = tuple(f"{name}.{pin}" for pin in self.pins())
        return loom + (tuple(self.own(name, pin) for pin in self.pins()) if self.plugged else ())

    def loom_ends(self, name: str) -> tuple[str, ...]:
        """Where a probe gets at the loom once every plug is undone."""
        return tuple(f"{name}.{pin}" for pin in self.pins()) if self.plugged else ()

    def contacts(self, name: str) -> dict[str, Conductor]:
        """The pin contacts of its plug, by the name of the pin."""
        if not self.plugged:
            return {}
        return {
            f"{name}.{pin}": Conductor(f"{name}.{pin}", self.own(name, pin), self.pin_ohm, 0.3)
            for pin in self.pins()
        }

    def branches(self, name: str, situation: Situation) -> dict[str, Branch]:
        """Contacts and inside together."""
        return {**self.contacts(name), **self.inside(name, situation)}

    def all_faults(self, name: str) -> list[FaultMode]:
        """Its own fault modes and those of its pins."""
        pins = [fault for key in self.contacts(name) for fault in joint_faults(key, f"pin {key}")]
        return self.faults(name) + pins
