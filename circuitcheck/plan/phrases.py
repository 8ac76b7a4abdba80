"""Readings and names as they stand on a page that is carried to the vehicle."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import BUZZES

_KINDS = {
    "thermoswitch": "temperature switch",
    "ignition": "ignition switch",
    "module": "control module",
}
"""Kinds of part that are not called by the word that the file has for them."""
LEADS = ("bridge", "feed", "ground", "through")


def where(harness: Harness, observation: Observation) -> str:
    """What to read and where: ``volts at S1.2``, ``volts lost X3.3b to G1.-``, ``left fan``."""
    kind, points = observation.kind, observation.points
    if kind in ("speed", "click") or (kind == "lamp" and len(points) == 1):
        return tag(harness, observation)
    if kind in ("hear", "turn"):
        return f"{tag(harness, observation)} {'by ear' if kind == 'hear' else 'by hand'}"
    if kind == "fuse":
        return f"fuse of {tag(harness, observation)}" if points[0] in LEADS else points[0]
    if kind == "amps":
        return f"amps in {tag(harness, observation)}"
    what = {"volts": "volts", "drop": "volts lost", "ohms": "ohms", "lamp": "test lamp"}[kind]
    if kind == "volts" and points[1] == f"{harness.supply.battery}.-":
        return f"volts at {points[0]}"
    return f"{what} {points[0]} to {points[1]}"


def tag(harness: Harness, observation: Observation) -> str:
    """What tells a reading from the others of its test: where it is taken, the battery left out.

    Volts at a point and volts lost on the way to it are two things: ``S1.2``, ``lost to S1.2``.
    """
    points = observation.points
    if len(points) == 2:
        plus, minus = (f"{harness.supply.battery}.{post}" for post in "+-")
        named = [one for one in points if one not in (plus, minus)]
        if observation.kind == "drop":
            way = {plus: "to", minus: "from"}
            ways = [way[one] for one in points if one in way]
            return f"lost {ways[0]} {named[0]}" if len(named) == 1 else f"lost {' to '.join(points)}"
        return " to ".join(named or points)
    (name,) = points
    if name in LEADS:
        return "the lead"
    part = harness.parts.get(name)
    return (part.belongs_to if part and observation.kind in ("speed", "hear", "turn") else None) or name


def finding(name: str, read: str) -> str:
    """What was read: ``left fan slow``, ``S1.2 about 12.4 V``; a buzzing relay upsets them all."""
    return "a relay buzzes" if read == BUZZES else f"{name} {read}"


def names_in(harness: Harness, texts: Iterable[str]) -> list[str]:
    """What each part and wire is that some texts name, in the order of the description."""
    used = {word.partition(".")[0] for text in texts for word in re.findall(r"[\w.+/-]+", text)}
    return list(_explained(harness, used))


def _explained(harness: Harness, used: set[str]) -> Iterator[str]:
    for name, part in harness.parts.items():
        if name in used:
            what = _KINDS.get(part.kind, part.kind)
            at = part.where or (f"in the {part.belongs_to}" if part.belongs_to else "")
            yield f"{name} {what}{f', {at}' if at else ''}"
    for name, wire in harness.wires.items():
        if name in used:
            yield f"{name} {f'{wire.colour} ' if wire.colour else ''}wire {wire.start} to {wire.end}"
