"""Contacts of relays, switches and modules: carrying, closing on a start, breaking a locked motor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from circuitcheck.inspect.design import Design
from circuitcheck.inspect.feeds import shortest_opening
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import number
from circuitcheck.parts.ignition import Ignition
from circuitcheck.parts.module import Module
from circuitcheck.parts.relay import Relay
from circuitcheck.parts.switch import Switch
from circuitcheck.parts.thermoswitch import Thermoswitch


@dataclass(frozen=True, slots=True)
class Contact:
    """One contact.

    :param place: as a person names it: ``K1 30-87``
    :param rating: [A]
    :param stated: whether the description states it, or it is the usual one
    """

    key: str
    place: str
    rating: float
    stated: bool

    @property
    def made_for(self) -> str:
        """Its rating in words."""
        return f"made for {self.rating:g} A" + ("" if self.stated else " (none stated; the usual one)")


def contacts_of(design: Design) -> Iterator[Contact]:
    """Every contact that the circuit can close."""
    usual = design.limits["switch-amps"]
    found: list[tuple[str, str, float | None]] = []
    for name, relay in design.parts(Relay):
        share = design.limits["break-contact-share"] if relay.contacts_are == "change-over" else 1.0
        found.append((name, "30-87", relay.rating))
        found.append((name, "30-87a", share * relay.rating))
    for name, thermo in design.parts(Thermoswitch):
        found += [(name, stage, thermo.rating) for stage in ("low", "high")]
    for name, switch in design.parts(Switch):
        pairs = dict.fromkeys(pair for joined in switch.positions.values() for pair in joined)
        found += [(name, "-".join(pair), switch.rating) for pair in pairs]
    found += [(name, "30-15", ignition.rating) for name, ignition in design.parts(Ignition)]
    for name, module in design.parts(Module):
        found += [(name, label, output.rating) for label, output in module.outputs.items()]
    for name, label, rating in found:
        yield Contact(
            f"{name}:{label}", f"{name} {label}", usual if rating is None else rating, rating is not None
        )


_RELIEF = "Have it switch a relay, or fit one that is made for that."
"""What is done for a contact that has too much to do; common practice, no source."""


@rule(
    "contact-running",
    Severity.serious,
    "A contact carries, and breaks, no more running current than it is made for.",
    source="the rating stated for the part; where there is none, common practice, no source",
    limits=("switch-amps", "break-contact-share"),
)
def contact_running(design: Design) -> Iterator[Finding]:
    """Contacts over their rating in a sound circuit."""
    for one in contacts_of(design):
        amps, scene = design.most(one.key)
        if amps > one.rating:
            yield Finding(
                "contact-running",
                one.place,
                Severity.serious if one.stated else Severity.doubtful,
                f"carries {number(amps)} A ({scene}) and is {one.made_for}. {_RELIEF}",
                amps,
                one.rating,
                "A",
            )


@rule(
    "contact-making",
    Severity.doubtful,
    "A contact can close on the starting current of the motors behind it.",
    source="common practice, no source",
    limits=("making-times", "switch-amps", "break-contact-share"),
)
def contact_making(design: Design) -> Iterator[Finding]:
    """Contacts that close on more than so many times their rating; they weld."""
    times = design.limits["making-times"]
    for one in contacts_of(design):
        amps, scene = design.most(one.key, design.starting)
        if amps > times * one.rating:
            yield Finding(
                "contact-making",
                one.place,
                Severity.doubtful,
                f"closes onto {number(amps)} A as the motors start ({scene}), "
                f"{number(amps / one.rating)} "
                f"times its rating, and is {one.made_for}. It may weld. "
                f"{_RELIEF}",
                amps,
                times * one.rating,
                "A",
            )


@rule(
    "contact-breaking",
    Severity.doubtful,
    "A contact can break the current of a locked motor that no fuse ends.",
    source="common practice, no source",
    limits=("breaking-times", "switch-amps", "break-contact-share", "locked-time"),
)
def contact_breaking(design: Design) -> Iterator[Finding]:
    """Contacts that break more than so many times their rating with one motor locked."""
    times = design.limits["breaking-times"]
    held = tuple(
        one
        for pairs in design.locked.values()
        for _, one in pairs
        if shortest_opening(design, one) > design.limits["locked-time"]
    )
    for one in contacts_of(design):
        amps, scene = design.most(one.key, held)
        if amps > times * one.rating:
            yield Finding(
                "contact-breaking",
                one.place,
                Severity.doubtful,
                f"must break {number(amps)} A with a motor locked ({scene}), "
                f"{number(amps / one.rating)} "
                f"times its rating, and is {one.made_for}. Its arc may not go "
                f"out. {_RELIEF}",
                amps,
                times * one.rating,
                "A",
            )
