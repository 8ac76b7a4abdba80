"""A hand switch with named positions, each of which joins some terminals."""

from typing import ClassVar

from pydantic import Field

from circuitcheck.parts.contact import contact_faults
from circuitcheck.parts.fault import Failing, FaultMode
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
        switch, found = Failing(name, "switch", f"renew {name}"), []
        for pair in self._pairs():
            contact, label = self._contact(name, pair), f"contact {pair[0]}-{pair[1]}"
            words = f"{label} of {name}"
            found += contact_faults(switch, self._key(name, pair), contact, label=label, words=words)
        return found

    def check(self) -> list[tuple[str, str, str]]:
        """The position at rest must be one of the positions."""
        if self.at_rest in self.positions:
            return []
        return [("at_rest", f"'{self.at_rest}'", f"must be one of {', '.join(self.positions)}")]
