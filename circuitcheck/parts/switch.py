"""A hand switch with named positions, each of which joins some terminals."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.fault import (
    HIGH_RESISTANCE,
    FaultMode,
    add_ohm,
    close_between,
    comes_and_goes,
    take_out,
)
from circuitcheck.parts.frequency import usual
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Ohm
from circuitcheck.physics.branch import Branch, Conductor


class Switch(Part):
    """``positions: {off: [], low: [[B, 1]]}``; the terminals are those the positions name."""

    kind_name: ClassVar[str] = "switch"
    letters: ClassVar[str] = "S"
    summary: ClassVar[str] = "hand switch; 'positions' says which terminals each position joins"

    positions: dict[str, list[tuple[str, str]]]
    at_rest: str = Field(description="its position unless a test says otherwise")
    contact: Ohm = 0.004
    rating: Amp | None = Field(None, description="current that a contact is made for")

    def pins(self) -> tuple[str, ...]:
        """Every terminal that a position names, in the order they appear."""
        return tuple(dict.fromkeys(pin for pair in self._pairs() for pin in pair))

    def _pairs(self) -> list[tuple[str, str]]:
        return list(dict.fromkeys(pair for joined in self.positions.values() for pair in joined))

    def _key(self, name: str, pair: tuple[str, str]) -> str:
        return f"{name}:{pair[0]}-{pair[1]}"

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """The contacts of the present position."""
        joined = self.positions[situation.positions.get(name, self.at_rest)]
        return {self._key(name, pair): self._contact(name, pair) for pair in joined}

    def _contact(self, name: str, pair: tuple[str, str]) -> Conductor:
        return Conductor(self.own(name, pair[0]), self.own(name, pair[1]), self.contact, 0.4)

    def faults(self, name: str) -> list[FaultMode]:
        """Each contact can stay open, stay closed, or be burnt."""
        found = []
        for pair in self._pairs():
            key, label = self._key(name, pair), f"contact {pair[0]}-{pair[1]}"
            ends = self.own(name, pair[0]), self.own(name, pair[1])
            stuck = FaultMode(
                name,
                f"{label} stuck open",
                usual("switch", "contact stuck open"),
                f"{label} of {name} does not close",
                f"renew {name}",
                take_out(key),
            )
            found += [
                stuck,
                comes_and_goes(stuck, f"{label} of {name} closes now and then", "switch"),
                FaultMode(
                    name,
                    f"{label} welded",
                    usual("switch", "contact welded"),
                    f"{label} of {name} does not open",
                    f"renew {name}",
                    close_between(key, *ends, self.contact),
                    overloads=True,
                ),
                FaultMode(
                    name,
                    f"{label} high resistance",
                    usual("switch", "contact high resistance"),
                    f"{label} of {name} is burnt",
                    f"renew {name}",
                    add_ohm(key),
                    HIGH_RESISTANCE,
                ),
            ]
        return found

    def check(self) -> list[tuple[str, str, str]]:
        """The position at rest must be one of the positions."""
        if self.at_rest in self.positions:
            return []
        return [("at_rest", f"'{self.at_rest}'", f"must be one of {', '.join(self.positions)}")]
