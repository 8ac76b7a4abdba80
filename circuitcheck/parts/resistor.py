"""A series resistor that slows a fan, with or without a thermal cut-out."""

import math
from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from circuitcheck.parts.fault import Failing, FaultMode, Severity, set_ohm, take_out
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Celsius, Ohms, Percent, Watts
from circuitcheck.physics.branch import Branch, Conductor


class CutOut(BaseModel):
    """A thermal link in series with the resistor; it opens once and stays open."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)

    opens: Celsius
    ohms: Ohms = 0.003


class Resistor(Part):
    """Terminals 1 and 2; either way round."""

    kind_name: ClassVar[str] = "resistor"
    letters: ClassVar[str] = "R"
    summary: ClassVar[str] = "series resistor, perhaps with a thermal cut-out"

    ohms: Ohms
    tolerance: Percent = 0.05
    watts: Watts | None = None
    cut_out: CutOut | None = Field(None, description="the thermal link, if it has one")

    def pins(self) -> tuple[str, ...]:
        """Two ends."""
        return ("1", "2")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """The resistance, behind the thermal link if there is one."""
        start, end = self.own(name, "1"), self.own(name, "2")
        # A tolerance is a rectangular distribution: u = a / sqrt(3) (JCGM 100:2008, 4.3.7).
        spread = self.tolerance / math.sqrt(3)
        if self.cut_out is None:
            return {f"{name}:element": Conductor(start, end, self.ohms, spread)}
        middle = f"{name}:link"
        return {
            f"{name}:cut-out": Conductor(start, middle, self.cut_out.ohms, 0.3),
            f"{name}:element": Conductor(middle, end, self.ohms, spread),
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Burnt through, drifted either way, shorted, cut-out gone."""
        key, resistor = f"{name}:element", Failing(name, "resistor", f"renew resistor {name}")
        drift = Severity(self.ohms * 0.1, self.ohms * 20, "ohm")
        found = [
            resistor.mode("open", f"resistor {name} is burnt through", take_out(key)),
            resistor.mode(
                "drifted",
                f"resistor {name} has changed its value",
                set_ohm(key),
                drift,
                overloads=True,
            ),
            resistor.mode(
                "shorted",
                f"resistor {name} is bridged inside",
                lambda branches, _: set_ohm(key)(branches, 0.005),
                overloads=True,
            ),
        ]
        if self.cut_out is not None:
            words = f"the thermal cut-out of {name} has opened"
            why = f"{resistor.remedy}, once you know why it overheated"
            found.append(resistor.mode("cut-out open", words, take_out(f"{name}:cut-out"), remedy=why))
        return found
