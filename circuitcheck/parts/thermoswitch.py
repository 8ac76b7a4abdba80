"""The temperature switch in the radiator: one contact or two, each with its own hysteresis."""

from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from circuitcheck.parts.contact import contact_faults
from circuitcheck.parts.fault import Failing, FaultMode
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Celsius, Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Stage(BaseModel):
    """One contact: closes as the coolant warms to ``closes``, opens as it cools to ``opens``."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)

    closes: Celsius
    opens: Celsius

    def closed(self, celsius: float, warming: bool) -> bool:
        """Whether it is closed; between the two temperatures it is as it was."""
        if celsius >= self.closes:
            return True
        return celsius > self.opens and not warming


class Thermoswitch(Part):
    """Pin 2 is the common one, 1 low speed, 3 high speed; with one stage there is no pin 3."""

    kind_name: ClassVar[str] = "thermoswitch"
    letters: ClassVar[str] = "SB"
    summary: ClassVar[str] = "temperature switch; pin 2 common, 1 low speed, 3 high speed"

    low: Stage
    high: Stage | None = None
    contact: Ohm = Field(0.006, description="resistance of a closed contact")
    rating: Amp | None = Field(None, description="current that a contact is made for")

    def pins(self) -> tuple[str, ...]:
        """Three pins with two stages, two with one."""
        return ("1", "2", "3") if self.high else ("1", "2")

    def _stages(self) -> dict[str, tuple[Stage, str]]:
        stages = {"low": (self.low, "1")}
        return stages | ({"high": (self.high, "3")} if self.high else {})

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """The contacts that this coolant temperature, reached this way, has closed."""
        return {
            f"{name}:{label}": self._contact(name, pin)
            for label, (stage, pin) in self._stages().items()
            if stage.closed(situation.engine, situation.warming)
        }

    def _contact(self, name: str, pin: str) -> Conductor:
        return Conductor(self.own(name, "2"), self.own(name, pin), self.contact, 0.4)

    def faults(self, name: str) -> list[FaultMode]:
        """Each contact can stay open, stay closed, or be burnt."""
        switch, found = Failing(name, "thermoswitch", f"renew {name}"), []
        for label, (_, pin) in self._stages().items():
            contact, words = self._contact(name, pin), f"the {label} contact of {name}"
            found += contact_faults(switch, f"{name}:{label}", contact, label=label, words=words)
        return found

    def check(self) -> list[tuple[str, str, str]]:
        """Closing lies above opening, and the high stage above the low one."""
        wrong = [
            (
                f"{label}.opens",
                f"{stage.opens:g} degC",
                f"must be below the {stage.closes:g} degC at which it closes",
            )
            for label, (stage, _) in self._stages().items()
            if stage.opens >= stage.closes
        ]
        if self.high and self.high.closes <= self.low.closes:
            wrong.append(
                (
                    "high.closes",
                    f"{self.high.closes:g} degC",
                    f"must be above the {self.low.closes:g} degC of the low stage",
                )
            )
        return wrong
