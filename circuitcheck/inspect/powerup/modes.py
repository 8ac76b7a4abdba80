"""What can be asked of a loom: ignition on, a stage of a temperature switch, a position of a switch."""

from __future__ import annotations

from dataclasses import dataclass, field

from circuitcheck.harness.model import Harness
from circuitcheck.parts.ignition import Ignition
from circuitcheck.parts.switch import Switch
from circuitcheck.parts.thermoswitch import Thermoswitch

Pair = tuple[str, str]
IGNITION = "ignition-on"
"""The name of the mode with nothing but the ignition on."""


@dataclass(frozen=True)
class Mode:
    """One thing asked of the loom.

    :param name: for the name of a step: ``ignition-on``, ``S1-low``
    :param words: what a person does
    :param by: the part that asks; empty at rest
    :param bridge: terminals joined at the undone plug of that part, in place of its contacts
    """

    name: str
    words: str
    by: str = ""
    ignition: str = "off"
    switches: dict[str, str] = field(default_factory=dict)
    bridge: tuple[Pair, ...] = ()


def modes_of(harness: Harness) -> list[Mode]:
    """At rest first, then the ignition, then what each switch can ask for, the least first."""
    found = [Mode("rest", "ignition off")]
    ignition = next((n for n, part in harness.parts.items() if isinstance(part, Ignition)), "")
    key = "on" if ignition else "off"
    if ignition:
        found.append(Mode(IGNITION, "ignition on", ignition, key))
    for name, part in harness.parts.items():
        if isinstance(part, Thermoswitch):
            found += _stages(name, part, key)
        if isinstance(part, Switch):
            found += [
                Mode(f"{name}-{position}", f"{name} in position {position}", name, key, {name: position})
                for position in part.positions
                if position != part.at_rest
            ]
    return found


def _stages(name: str, part: Thermoswitch, key: str) -> list[Mode]:
    """Each stage bridged at the plug of the switch, those below it with it, as a hot engine has them."""
    found: list[Mode] = []
    pairs: tuple[Pair, ...] = ()
    for stage, pin in (("low", "1"), ("high", "3")):
        if getattr(part, stage) is None:
            continue
        pairs = (*pairs, (f"{name}.2", f"{name}.{pin}"))
        joined = " and ".join(f"{one} to {other}" for one, other in pairs)
        words = f"{joined} bridged at the plug of {name}"
        found.append(Mode(f"{name}-{stage}", words, name, key, {}, pairs))
    return found


def undone_to_ask(harness: Harness) -> list[str]:
    """The switches whose plug stays undone while their contacts are bridged."""
    return [
        name for name, part in harness.parts.items() if isinstance(part, Thermoswitch) and part.plugged
    ]
