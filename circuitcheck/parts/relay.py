"""A relay with a make contact, a break contact or both, and its coil."""

from dataclasses import replace
from typing import ClassVar, Literal

from pydantic import Field

from circuitcheck.parts.contact import contact_faults
from circuitcheck.parts.fault import (
    Branches,
    Change,
    ChangeRule,
    Failing,
    FaultMode,
    Severity,
    Value,
    bridge,
    rejoined,
    set_ohm,
    take_out,
)
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Ohm, Percent
from circuitcheck.physics.branch import Branch, Conductor, Threshold
from circuitcheck.physics.copper import COPPER_COEFFICIENT
from circuitcheck.physics.diode import Junction


class Relay(Part):
    """Coil 85-86; contacts 30-87 (make) and 30-87a (break), numbered as plug-in relays are.

    Pick-up and drop-out are shares of the coil's rated volts at 20 degC.
    """

    kind_name: ClassVar[str] = "relay"
    letters: ClassVar[str] = "KQ"
    summary: ClassVar[str] = "relay; coil 85-86, contacts 30-87 (make) and 30-87a (break)"

    contacts_are: Literal["make", "break", "change-over"] = Field(
        "make", alias="contacts", description="make: 30-87; break: 30-87a; change-over: both"
    )
    coil: Ohm = 80.0
    pick_up: Percent = 0.6
    drop_out: Percent = 0.2
    coil_volts: Literal["12", "24"] = "12"
    across_coil: Literal["nothing", "resistor", "diode"] = Field(
        "nothing", description="what damps the coil; the diode's cathode is at 86"
    )
    damping: Ohm = Field(680.0, description="the resistor across the coil, if there is one")
    contact: Ohm = 0.005
    rating: Amp = 30.0

    def pins(self) -> tuple[str, ...]:
        """Coil, common, then the contacts it has."""
        return ("85", "86", "30", *(pin for pin, _ in self._throws()))

    def _throws(self) -> list[tuple[str, bool]]:
        """Each contact's pin with the coil state that closes it."""
        both = {"make": [("87", True)], "break": [("87a", False)]}
        return both.get(self.contacts_are, [("87", True), ("87a", False)])

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """Coil, what damps it, and contacts that follow the coil."""
        plus, minus = self.own(name, "86"), self.own(name, "85")
        found: dict[str, Branch] = {
            f"{name}:coil": Conductor(plus, minus, self.coil, 0.05, COPPER_COEFFICIENT)
        }
        if self.across_coil == "resistor":
            found[f"{name}:damping"] = Conductor(plus, minus, self.damping, 0.03)
        if self.across_coil == "diode":
            found[f"{name}:diode"] = Junction(minus, plus, 0.7, 0.05)
        for pin, wanted in self._throws():
            state = ((f"{name} pulled in", wanted),)
            contact = self._contact(name, pin)
            found[f"{name}:30-{pin}"] = replace(contact, closed_when=(state,))
        return found

    def _contact(self, name: str, pin: str) -> Conductor:
        return Conductor(self.own(name, "30"), self.own(name, pin), self.contact, 0.4)

    def thresholds(self, name: str) -> dict[str, Threshold]:
        """Pulled in from the pick-up current until the drop-out current."""
        rated = float(self.coil_volts) / self.coil
        return {
            f"{name} pulled in": Threshold(f"{name}:coil", self.pick_up * rated, self.drop_out * rated)
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Coil open or shorted; each contact stuck open, welded or burnt; damping diode shorted."""
        relay = Failing(name, "relay", f"renew relay {name}")
        found = [relay.mode("coil open", f"the coil of {name} is open", take_out(f"{name}:coil"))]
        for pin, _ in self._throws():
            contact, label = self._contact(name, pin), f"30-{pin}"
            words = f"contact {label} of {name}"
            found += contact_faults(relay, f"{name}:{label}", contact, label=label, words=words)
        if self.across_coil == "diode":
            across = bridge(f"{name}:diode", self.own(name, "86"), self.own(name, "85"))
            words = f"the diode across the coil of {name} is shorted"
            found.append(relay.mode("diode shorted", words, across, overloads=True))
        return found

    def misfits(self, name: str) -> list[FaultMode]:
        """A relay of another kind in this socket; common practice, no source.

        Two arrangements of the pins are sold in one housing, with 30 and 86 in each other's place.
        """
        return [*self._wrong_contacts(name), self._exchanged(name), self._other_coil(name)]

    def _wrong_contacts(self, name: str) -> list[FaultMode]:
        """Closed at rest where it should be open, or with no contact there at all."""
        misfit = Failing(name, "relay", f"fit a relay with {self.contacts_are} contact as {name}")
        make, at_rest = f"{name}:30-87", f"{name}:30-87a"
        found = []
        if self.contacts_are != "break":
            gone = (at_rest,) if self.contacts_are == "change-over" else ()
            rule = _fitted(gone, make, self.own(name, "30"), self.own(name, "87"), self.contact)
            words = f"{name} is a relay that is closed at rest between 30 and 87"
            found.append(misfit.mode("with a break contact", words, rule))
        if self.contacts_are != "make":
            words = f"{name} is a plain relay, without a contact at 87a"
            found.append(misfit.mode("with a make contact", words, take_out(at_rest)))
        return found

    def _exchanged(self, name: str) -> FaultMode:
        """The other arrangement of the pins."""
        one, other = self.own(name, "30"), self.own(name, "86")

        def rule(branches: Branches, _: Value) -> Change:
            mine = {key: branch for key, branch in branches.items() if key.startswith(f"{name}:")}
            return {key: rejoined(branch, {one: other, other: one}) for key, branch in mine.items()}

        fit = f"fit a relay with the arrangement of the socket as {name}"
        return Failing(name, "relay", fit).mode(
            "with 30 and 86 exchanged",
            f"{name} is a relay of the other pin arrangement, 30 and 86 exchanged",
            rule,
        )

    def _other_coil(self, name: str) -> FaultMode:
        """A coil for other volts: from 5 ohm to 2 kohm; common practice, no source."""
        fit = f"fit a relay with a coil of {self.coil:g} ohm as {name}"
        return Failing(name, "relay", fit).mode(
            "with another coil",
            f"the coil of {name} is of another kind",
            set_ohm(f"{name}:coil"),
            Severity(5.0, 2000.0, "ohm"),
        )

    def check(self) -> list[tuple[str, str, str]]:
        """It must drop out below where it picks up."""
        if self.drop_out < self.pick_up:
            return []
        return [
            (
                "drop_out",
                f"{self.drop_out:.0%}",
                f"must be below the {self.pick_up:.0%} at which it picks up",
            )
        ]


def _fitted(gone: tuple[str, ...], key: str, tail: str, head: str, ohm: float) -> ChangeRule:
    """Some contacts are not there, and another is closed at rest."""

    def rule(branches: Branches, _: Value) -> Change:
        change: dict[str, Branch | None] = {one: None for one in gone if one in branches}
        return {**change, key: Conductor(tail, head, ohm)}

    return rule
