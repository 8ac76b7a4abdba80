"""A wire of the loom, with a crimp at each end."""

import re
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic_core import PydanticCustomError

from circuitcheck.parts.fault import (
    CHASSIS,
    HIGH_RESISTANCE,
    Failing,
    FaultMode,
    add_ohm,
    bridge,
    comes_and_goes,
    take_out,
)
from circuitcheck.parts.quantity import Metre, Section
from circuitcheck.physics.branch import Conductor
from circuitcheck.physics.copper import COPPER_COEFFICIENT, wire_resistance

CRIMP_OHM = 0.0004
"""One crimp [ohm]; common practice, no source."""

COLOURS = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
    "GNYE": "green-and-yellow",
}
"""Letter codes of IEC 60757."""


def nearest_colour(given: str) -> str:
    """The letters for a colour that was written otherwise; ``?`` if it could be more than one.

    >>> nearest_colour("red"), nearest_colour("YL"), nearest_colour("grn"), nearest_colour("BL")
    ('RD', 'YE', 'GN', '?')
    """
    said = given.casefold()
    known = {name: code for code, name in COLOURS.items() if len(code) == 2}
    known |= {"purple": "VT", "gray": "GY"}
    if given.upper() in COLOURS or said in known:
        return known.get(said, given.upper())
    pattern = re.compile(".*".join(map(re.escape, said)))
    found = {code for name, code in known.items() if said and pattern.match(name)}
    return found.pop() if len(found) == 1 else "?"


class Wire(BaseModel):
    """From one terminal to another; section, length and colour as on the loom drawing."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True, populate_by_name=True)

    start: str = Field(alias="from")
    end: str = Field(alias="to")
    size: Section
    length: Metre
    colour: str | None = Field(None, description="IEC 60757 letters, tracer after a stroke: RD/BK")
    belongs_to: str | None = None
    note: str | None = None
    access: str | None = None

    @field_validator("colour")
    @classmethod
    def _colour_is_known(cls, given: Any) -> Any:
        if given is None or all(one in COLOURS for one in given.split("/")):
            return given
        near = "/".join(nearest_colour(one.strip()) for one in given.split("/"))
        hint = "" if "?" in near else f" (nearest: {near})"
        must = f"must be IEC 60757 letters, perhaps two with a stroke: {', '.join(COLOURS)}{hint}"
        raise PydanticCustomError("quantity", "{must}", {"must": must, "found": given})

    @property
    def ohm(self) -> float:
        """Resistance at 20 degC with its crimps [ohm]."""
        return wire_resistance(self.length, self.size) + 2 * CRIMP_OHM

    def branch(self) -> Conductor:
        """The wire as a branch."""
        return Conductor(self.start, self.end, self.ohm, 0.05, COPPER_COEFFICIENT)

    def faults(self, name: str, positive: str) -> list[FaultMode]:
        """Broken, corroded, chafed through to the body or to a live wire.

        :param positive: the terminal that a live wire beside it comes from
        """
        colour = f" ({self.colour})" if self.colour else ""
        words = f"wire {name}{colour} from {self.start} to {self.end}"
        wire, chafed = Failing(name, "wire", f"repair {words}"), f"repair {words} where it chafes"
        broken = wire.mode("open", f"{words} is broken", take_out(name))
        return [
            broken,
            wire.mode(
                "high resistance",
                f"{words} or one of its crimps is corroded",
                add_ohm(name),
                HIGH_RESISTANCE,
                remedy=f"renew {words}",
            ),
            comes_and_goes(broken, f"{words} or one of its crimps makes contact now and then", "wire"),
            wire.mode(
                "short to ground",
                f"{words} touches the body",
                bridge(name, self.end, CHASSIS),
                remedy=chafed,
                overloads=True,
            ),
            wire.mode(
                "short to supply",
                f"{words} touches a live wire",
                bridge(name, self.end, positive),
                remedy=chafed,
                overloads=True,
            ),
        ]
