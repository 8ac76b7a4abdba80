"""What may come next in a student's line: only what makes sense after the words that stand there."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from circuitcheck.circuit.build import all_faults
from circuitcheck.learn.session import TALK, Session
from circuitcheck.learn.spoken import WORDS
from circuitcheck.learn.workshop import Workshop

Choices = Callable[[Workshop], Iterable[str]]


def _of_kind(*kinds: str) -> Choices:
    return lambda shop: [name for name, part in shop.harness.parts.items() if part.kind_name in kinds]


def _plugged(shop: Workshop) -> Iterable[str]:
    return [name for name, part in shop.harness.parts.items() if part.plugged]


def _positions(shop: Workshop) -> Iterable[str]:
    """Each hand switch with each of its positions."""
    return [
        f"{name} {position}"
        for name, part in shop.harness.parts.items()
        for position in getattr(part, "positions", None) or ()
    ]


def _points(shop: Workshop) -> Iterable[str]:
    return shop.harness.probe_points()


def _faults(shop: Workshop) -> Iterable[str]:
    return ["none", "forget", *(one.spec for one in all_faults(shop.harness))]


def _units(shop: Workshop) -> Iterable[str]:
    return dict.fromkeys(one.replace for one in all_faults(shop.harness))


def _listed(section: str) -> Choices:
    return lambda shop: shop.state.get(section, [])


_LAST: dict[str, Choices] = {
    "volts": _points,
    "drop": _points,
    "ohms": _points,
    "lamp": _points,
    "lead": lambda shop: ["off", "also", *shop.harness.terminals(), "bare"],
    "amps": lambda shop: [*shop.harness.wires, *shop.harness.parts, "lead"],
    "look": _of_kind("motor", "lamp"),
    "hear": _of_kind("relay", "motor"),
    "turn": _of_kind("motor"),
    "fuse": lambda shop: [*_of_kind("fuse")(shop), "lead"],
    "pull": _of_kind("fuse", "relay"),
    "undo": _plugged,
    "swap": lambda shop: shop.harness.parts,
    "join": _listed("unplug"),
    "refit": _listed("pull"),
    "wires": lambda shop: shop.harness.parts,
    "ignition": lambda shop: ("on", "off"),
    "engine": lambda shop: ("run", "stop"),
    "battery": lambda shop: ("off", "on"),
    "coolant": lambda shop: ("warming", "cooling"),
}
"""What the last word may be, by the first."""
_REST: dict[str, Choices] = {"fault": _faults, "renew": _units, "switch": _positions}
"""What all that follows the first word may be."""


def completions(session: Session, line: str) -> tuple[list[str], int]:
    """What the line may go on with, and how many of its last letters that replaces."""
    begun = line.lstrip()
    first, blank, rest = begun.partition(" ")
    if not blank:
        return _fitting([*WORDS, *TALK], first), len(first)
    word = first.casefold()
    if word in _REST:
        return _fitting(_REST[word](session.workshop), rest), len(rest)
    last = begun.rpartition(" ")[2]
    return _fitting(_LAST[word](session.workshop) if word in _LAST else [], last), len(last)


def _fitting(choices: Iterable[str], typed: str) -> list[str]:
    return [one for one in choices if one.casefold().startswith(typed.casefold())]
