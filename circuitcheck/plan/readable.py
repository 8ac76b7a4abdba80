"""What could be read in a set-up: volts and losses, currents, ohms; what is seen, heard and felt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

from circuitcheck.circuit.build import lead_keys
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.parts.fault import CHASSIS

_LOST = (0.0005, 1.0)
"""Volts lost on the way in a sound circuit between which they are worth measuring [V]."""
Target = tuple[str, tuple[str, ...]]
"""A kind of observation and its points."""


def observations(
    harness: Harness, setup: Setup, listed: Iterable[Observation], volts: Mapping[str, float]
) -> dict[str, Observation]:
    """What else could be read in a set-up; named as in a sheet of readings.

    :param listed: what the harness's own test lists, and is not to be found again
    :param volts: of each node in a sound circuit [V]; they decide which losses are worth measuring
    """
    known = {repr(one) for one in listed}
    found: dict[str, Observation] = {}
    for kind, points in _targets(harness, setup, volts):
        target = points[0] if len(points) == 1 else points
        one = Observation.model_validate({kind: target})
        if repr(one) not in known:
            found[f"{kind} {' '.join(points)}"] = one
    return found


def _targets(harness: Harness, setup: Setup, volts: Mapping[str, float]) -> Iterator[Target]:
    undone = [*setup.unplug, *setup.pull]
    yield from _by_hand(harness, setup)
    if setup.battery == "disconnected":
        for name in undone:
            yield from _ohms(harness, name)
        return
    for name, part in harness.parts.items():
        if part.plugged or part.kind in ("ground", "battery"):  # else no place for a probe
            yield from _volts(harness, [f"{name}.{pin}" for pin in part.pins()], volts)
        if part.kind == "ground":
            yield from _joint(f"{name}.31", volts)
        if part.kind == "fuse" and part.plugged and name not in undone:
            # the back of a blade fuse shows both its blades; common practice, no source
            yield from _volts(harness, [part.own(name, pin) for pin in part.pins()], volts)
        if part.kind == "fuse" and name not in undone:
            yield "amps", (name,)
        if part.kind == "fuse" and name in (*undone, *setup.swap):
            yield "fuse", (name,)  # one sees through a plug-in fuse; common practice, no source
        look = {"motor": "speed", "relay": "click", "lamp": "lamp"}.get(part.kind)
        if look and name not in undone:
            yield look, (name,)
    for key in lead_keys(setup):
        yield "fuse", (key,)
        yield "amps", (key,)


def _by_hand(harness: Harness, setup: Setup) -> Iterator[Target]:
    """Fans that cannot start: all with the battery off and nothing undone, and one that is undone."""
    all_off = setup.battery == "disconnected" and not (setup.unplug or setup.pull)
    for name, part in harness.parts.items():
        if part.kind == "motor" and (all_off or name in setup.unplug):
            yield "turn", (name,)


def _ohms(harness: Harness, name: str) -> Iterator[Target]:
    """Between the part's own terminals, and from its plug to battery minus."""
    part = harness.parts[name]
    own = [part.own(name, pin) for pin in part.pins()]
    for pair in combinations(own, 2):
        yield "ohms", pair
    for pin in part.pins():
        yield "ohms", (f"{name}.{pin}", f"{harness.supply.battery}.-")


def _joint(eyelet: str, volts: Mapping[str, float]) -> Iterator[Target]:
    """From a ground point's eyelet to bare metal beside it: what is lost on the way on is left out."""
    yield "volts", (eyelet, CHASSIS)
    if _LOST[0] < abs(volts.get(eyelet, 0.0) - volts.get(CHASSIS, 0.0)) < _LOST[1]:
        yield "drop", (eyelet, CHASSIS)


def _volts(harness: Harness, nodes: Iterable[str], volts: Mapping[str, float]) -> Iterator[Target]:
    """Against battery minus, and what is lost on the way from or to the battery."""
    minus, plus = f"{harness.supply.battery}.-", f"{harness.supply.battery}.+"
    for node in nodes:
        if node == minus:
            continue
        yield "volts", (node, minus)
        here, lost = abs(volts.get(node, 0.0)), abs(volts.get(plus, 0.0) - volts.get(node, 0.0))
        if _LOST[0] < here < _LOST[1]:
            yield "drop", (node, minus)
        elif _LOST[0] < lost < _LOST[1]:
            yield "drop", (plus, node)
