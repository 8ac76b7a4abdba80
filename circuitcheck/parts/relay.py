"""A relay with a make contact, a break contact or both, and its coil."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from circuitcheck.parts.fault import (
    HIGH_RESISTANCE,
    Branches,
    Change,
    ChangeRule,
    FaultMode,
    Severity,
    Value,
    add_ohm,
    bridge,
    close_between,
    comes_and_goes,
    rejoined,
    set_ohm,
    take_out,
)
from circuitcheck.parts.frequency import usual
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
        plus, minus, common = (self.own(name, pin) for pin in ("86", "85", "30"))
        found: dict[str, Branch] = {
            f"{name}:coil": Conductor(plus, minus, self.coil, 0.05, COPPER_COEFFICIENT)
        }
        if self.across_coil == "resistor":
            found[f"{name}:damping"] = Conductor(plus, minus, self.damping, 0.03)
        if self.across_coil == "diode":
            found[f"{name}:diode"] = Junction(minus, plus, 0.7, 0.05)
        for pin, wanted in self._throws():
            state = ((f"{name} pulled in", wanted),)
            found[f"{name}:30-{pin}"] = Conductor(
                common, self.own(name, pin), self.contact, 0.4, closed_when=(state,)
            )
        return found

    def thresholds(self, name: str) -> dict[str, Threshold]:
        """Pulled in from the pick-up current until the drop-out current."""
        rated = float(self.coil_volts) / self.coil
        return {
            f"{name} pulled in": Threshold(f"{name}:coil", self.pick_up * rated, self.drop_out * rated)
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Coil open or shorted; each contact stuck open, welded or burnt; damping diode shorted."""
        plus, minus, common = (self.own(name, pin) for pin in ("86", "85", "30"))
        renew = f"renew relay {name}"
        found = [
            FaultMode(
                name,
                "coil open",
                usual("relay", "coil open"),
                f"the coil of {name} is open",
                renew,
                take_out(f"{name}:coil"),
            )
        ]
        for pin, _ in self._throws():
            key, label = f"{name}:30-{pin}", f"30-{pin}"
            stuck = FaultMode(
                name,
                f"{label} stuck open",
                usual("relay", "contact stuck open"),
                f"contact {label} of {name} does not close",
                renew,
                take_out(key),
            )
            found += [
                stuck,
                comes_and_goes(stuck, f"contact {label} of {name} closes now and then", "relay"),
                FaultMode(
                    name,
                    f"{label} welded",
                    usual("relay", "contact welded"),
                    f"contact {label} of {name} does not open",
                    renew,
                    close_between(key, common, self.own(name, pin), self.contact),
                    overloads=True,
                ),
                FaultMode(
                    name,
                    f"{label} high resistance",
                    usual("relay", "contact high resistance"),
                    f"contact {label} of {name} is burnt",
                    renew,
                    add_ohm(key),
                    HIGH_RESISTANCE,
                ),
            ]
        if self.across_coil == "diode":
            found.append(
                FaultMode(
                    name,
                    "diode shorted",
                    usual("relay", "diode shorted"),
                    f"the diode across the coil of {name} is shorted",
                    renew,
                    bridge(f"{name}:diode", plus, minus),
                    overloads=True,
                )
            )
        return found

    def misfits(self, name: str) -> list[FaultMode]:
        """A relay of another kind in this socket; common practice, no source.

        Two arrangements of the pins are sold in one housing, with 30 and 86 in each other's place.
        """
        return [*self._wrong_contacts(name), self._exchanged(name), self._other_coil(name)]

    def _wrong_contacts(self, name: str) -> list[FaultMode]:
        """Closed at rest where it should be open, or with no contact there at all."""
        fit = f"fit a relay with {self.contacts_are} contact as {name}"
        make, at_rest = f"{name}:30-87", f"{name}:30-87a"
        found = []
        if self.contacts_are != "break":
            gone = (at_rest,) if self.contacts_are == "change-over" else ()
            rule = _fitted(gone, make, self.own(name, "30"), self.own(name, "87"), self.contact)
            found.append(
                FaultMode(
                    name,
                    "with a break contact",
                    usual("relay", "with a break contact"),
                    f"{name} is a relay that is closed at rest between 30 and 87",
                    fit,
                    rule,
                )
            )
        if self.contacts_are != "make":
            found.append(
                FaultMode(
                    name,
                    "with a make contact",
                    usual("relay", "with a make contact"),
                    f"{name} is a plain relay, without a contact at 87a",
                    fit,
                    take_out(at_rest),
                )
            )
        return found

    def _exchanged(self, name: str) -> FaultMode:
        """The other arrangement of the pins."""
        one, other = self.own(name, "30"), self.own(name, "86")

        def rule(branches: Branches, _: Value) -> Change:
            mine = {key: branch for key, branch in branches.items() if key.startswith(f"{name}:")}
            return {key: rejoined(branch, {one: other, other: one}) for key, branch in mine.items()}

        return FaultMode(
            name,
            "with 30 and 86 exchanged",
            usual("relay", "with 30 and 86 exchanged"),
            f"{name} is a relay of the other pin arrangement, 30 and 86 exchanged",
            f"fit a relay with the arrangement of the socket as {name}",
            rule,
        )

    def _other_coil(self, name: str) -> FaultMode:
        """A coil for other volts: from 5 ohm to 2 kohm; common practice, no source."""
        return FaultMode(
            name,
            "with another coil",
            usual("relay", "with another coil"),
            f"the coil of {name} is of another kind",
            f"fit a relay with a coil of {self.coil:g} ohm as {name}",
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
