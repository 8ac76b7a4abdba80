"""A set-up that has no name of its own, in a few words, to stand at the head of its readings."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from circuitcheck.harness.model import Setup

_WARM = 40.0
"""Coolant that somebody has warmed up [degC]; common practice, no source."""


def in_few_words(setup: Setup, taken: Collection[str] = ()) -> str:
    """What is done to the vehicle, without what goes without saying.

    :param taken: names that stand for something else

    >>> in_few_words(Setup.model_validate({"pull": ["K1"], "bridge": [["K1.30", "K1.87"]]}))
    'K1.30 to K1.87 bridged'
    >>> running = {"ignition": "on", "running": "yes", "engine": "92 degC warming"}
    >>> in_few_words(Setup.model_validate(running))
    'engine running, 92 degC'
    """
    words = ", ".join(_words(setup))
    number = 1
    while (name := words if number == 1 else f"{words} ({number})") in taken:
        number += 1
    return name


def _words(setup: Setup) -> Iterator[str]:
    touched = [*_taken_apart(setup), *_leads(setup)]
    warm = setup.engine.celsius > _WARM
    degrees = f"{setup.engine.celsius:g} degC{'' if setup.engine.warming else ' cooling'}"
    if setup.battery == "disconnected":
        yield "battery off"
    if setup.running:
        yield f"engine running, {degrees}" if warm else "engine running, cold"
    elif setup.ignition == "on" and not touched:
        yield "ignition on"
    elif not touched and setup.battery == "connected":
        yield "ignition off"
    if warm and not setup.running:
        yield degrees
    yield from (f"{name} in position {position}" for name, position in setup.switches.items())
    yield from touched


def _taken_apart(setup: Setup) -> Iterator[str]:
    """What is out; where a lead goes into its socket, the lead says so."""
    bridged = {point.partition(".")[0] for pair in setup.bridge for point in pair}
    yield from (f"{name} pulled" for name in setup.pull if name not in bridged)
    yield from (f"{name} undone" for name in setup.unplug if name not in bridged)
    yield from (f"known good {name} put in" for name in setup.swap)


def _leads(setup: Setup) -> Iterator[str]:
    yield from (f"{one} to {other} bridged" for one, other in setup.bridge)
    yield from (f"{point} fed" for point in setup.feed)
    yield from (f"{point} grounded" for point in setup.ground)
    if setup.through is not None:
        yield "fed through a lamp" if setup.through.lamp else "fed from a limited supply"
