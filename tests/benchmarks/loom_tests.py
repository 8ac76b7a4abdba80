"""Twenty tests for a loom of ``big_loom.py``: six kinds of set-up, each time on another circuit."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

TESTS = 20
Entry = dict[str, Any]


@dataclass(frozen=True)
class Load:
    """What a test needs to know of a circuit.

    :param name: the part that does the work
    :param look: how to see that it works: ``{"speed": "M3"}``
    :param on: the part of a set-up that turns it on
    :param contact: the two terminals between which it is switched
    :param wire: the last one before it
    """

    name: str
    look: dict[str, str]
    on: Entry
    fuse: str
    contact: tuple[str, str]
    wire: str

    @property
    def ends(self) -> tuple[str, str]:
        """Its plus and minus terminals."""
        plus, minus = ("+", "-") if self.name.startswith("M") else ("1", "2")
        return f"{self.name}.{plus}", f"{self.name}.{minus}"


def tests_of(loads: Sequence[Load], draw: random.Random) -> dict[str, Entry]:
    """The tests by name; each of them also looks at a second circuit."""
    shapes = (running, lost_under_load, bridged, at_its_plug, at_rest, unpowered)
    found: dict[str, Entry] = {}
    for number in range(TESTS):
        one, beside = loads[number * len(loads) // TESTS], draw.choice(loads)
        shape = shapes[number % len(shapes)]
        test = shape(one, beside)
        found[f"{shape.__name__.replace('_', '-')}-{number + 1}"] = {
            "title": f"{test.pop('title')} {one.name}",
            **test,
        }
    return found


def running(one: Load, beside: Load) -> Entry:
    """Both turned on."""
    on = {"switches": {}, "running": "yes", "ignition": "on", **beside.on}
    on = {**on, **one.on, "switches": {**on["switches"], **one.on.get("switches", {})}}
    return {
        "title": "With the engine running:",
        "setup": on,
        "observe": {
            "battery": {"volts": ["G1.+", "G1.-"]},
            "looks": one.look,
            "beside": beside.look,
            "plus": {"volts": [one.ends[0], "G1.-"]},
            "amps": {"amps": one.wire},
            "amps-beside": {"amps": beside.wire},
        },
    }


def lost_under_load(one: Load, beside: Load) -> Entry:
    """Volts lost on the way there, over the contact, and on the way back."""
    return {
        "title": "Volts lost under load:",
        "setup": {"ignition": "on", **one.on},
        "observe": {
            "feed": {"drop": ["G1.+", one.contact[0]]},
            "contact": {"drop": list(one.contact)},
            "line": {"drop": [one.contact[1], one.ends[0]]},
            "ground": {"drop": [one.ends[1], "G1.-"]},
            "feed-beside": {"drop": ["G1.+", beside.fuse]},
        },
    }


def bridged(one: Load, beside: Load) -> Entry:
    """Relay or switch out, its contact bridged."""
    out = one.contact[0].partition(".")[0]
    return {
        "title": "Bridged at its relay or switch:",
        "setup": {"unplug": [out], "bridge": [list(one.contact)]},
        "observe": {
            "looks": one.look,
            "amps": {"amps": "bridge"},
            "plus": {"volts": [one.ends[0], "G1.-"]},
            "minus": {"volts": [one.ends[1], "G1.-"]},
            "beside": beside.look,
        },
    }


def at_its_plug(one: Load, beside: Load) -> Entry:
    """Its plug undone: what stands there for a meter and for a test lamp."""
    return {
        "title": "At the open plug of",
        "setup": {"ignition": "on", "unplug": [one.name], **one.on},
        "observe": {
            "plus": {"volts": [one.ends[0], "G1.-"]},
            "both": {"volts": list(one.ends)},
            "test-lamp": {"lamp": list(one.ends)},
            "fuse": {"volts": [one.fuse, "G1.-"]},
            "fuse-beside": {"volts": [beside.fuse, "G1.-"]},
        },
    }


def at_rest(one: Load, beside: Load) -> Entry:
    """Everything off; the other one fed by a lead."""
    return {
        "title": "At rest:",
        "setup": {"feed": [beside.ends[0]]},
        "observe": {
            "looks": one.look,
            "plus": {"volts": [one.ends[0], "G1.-"]},
            "fuse": {"volts": [one.fuse, "G1.-"]},
            "lead": {"amps": "feed"},
            "beside": {"volts": [beside.ends[0], "G1.-"]},
        },
    }


def unpowered(one: Load, beside: Load) -> Entry:
    """Ohms of the part, its line, and both returns."""
    own = [f"{end}/part" for end in one.ends]
    return {
        "title": "Ohms, battery disconnected:",
        "setup": {"battery": "disconnected", "unplug": [one.name]},
        "observe": {
            "part": {"ohms": own},
            "line": {"ohms": [one.contact[1], one.ends[0]]},
            "ground": {"ohms": [one.ends[1], "G1.-"]},
            "ground-beside": {"ohms": [beside.ends[1], "G1.-"]},
        },
    }
