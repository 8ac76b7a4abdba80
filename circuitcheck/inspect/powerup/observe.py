"""What to read in a step: at the lamp, at the points that have just come alive, at relays and fans."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from circuitcheck.circuit.build import build_circuit
from circuitcheck.harness.model import THROUGH, Harness, Observation, Setup
from circuitcheck.inspect.powerup.order import TURNS, Order, Stage
from circuitcheck.solve.point import OperatingPoint, solve_point

LAMP_LABEL = "lamp"
"""What the lamp that the power comes through is called on the sheet."""
AMPS_LABEL = "amps"
"""What its current is called there."""
_DROP = 1.0
"""Up to here volts are read as a loss, on the millivolt range [V]."""

Observations = dict[str, Observation]


@dataclass(frozen=True)
class Offer:
    """What can be read in a step.

    :param always: what is read in any case
    :param points: points that a probe gets at, of which the telling ones are chosen
    """

    always: Observations
    points: Observations


def offered(order: Order, stage: Stage, setup: Setup) -> Offer:
    """Everything that can be read in a step, by the name it has on the sheet."""
    point = solve_point(build_circuit(order.harness, setup))
    always = dict(_at_the_feed(order, stage, setup))
    if stage.battery:
        always.update(_at_the_fans(order, point))
    always.update(_looked_at(order, stage, point))
    return Offer(always, {} if stage.battery else dict(_at_the_sockets(order, stage)))


def within_reach(order: Order, stage: Stage) -> Observations:
    """Every point that a probe gets at once something is wrong.

    Those of a step, then the terminals of what is in, from the back of socket or plug, and both blades
    of a fuse on its back (common practice, no source).
    """
    points = dict(_at_the_sockets(order, stage))
    minus = f"{order.harness.supply.battery}.-"
    for name in order.outward:
        part = order.harness.parts[name]
        if part.plugged and part.kind != "battery":
            blades = part.nodes(name) if part.kind == "fuse" and name not in stage.out else ()
            for end in (*part.loom_ends(name), *blades):
                points.setdefault(end, _one("volts", end, minus))
    return points


def _one(kind: str, *points: str, **more: str) -> Observation:
    target = points[0] if len(points) == 1 else list(points)
    return Observation.model_validate({kind: target, **more})


def _at_the_feed(order: Order, stage: Stage, setup: Setup) -> Iterator[tuple[str, Observation]]:
    battery = order.harness.supply.battery
    if setup.through is None:
        yield "battery", _one("volts", f"{battery}.+", f"{battery}.-")
        return
    if setup.through.lamp is not None:
        yield LAMP_LABEL, _one("lamp", THROUGH)
    yield AMPS_LABEL, _one("amps", THROUGH, inline="yes")
    behind = f"{stage.at}.out" if stage.at else f"{battery}.+"
    yield "behind", _one("volts", behind, f"{battery}.-")


def _at_the_sockets(order: Order, stage: Stage) -> Iterator[tuple[str, Observation]]:
    """Empty sockets, open plugs, and fuses that are in."""
    minus = f"{order.harness.supply.battery}.-"
    for name in order.outward:
        for end in order.harness.parts[name].loom_ends(name):
            if _open_to(order, stage, end):
                yield end, _one("volts", end, minus)


def _open_to(order: Order, stage: Stage, end: str) -> bool:
    """Whether a probe gets at it with nothing undone: an empty socket, a fuse, what was just put in."""
    name = end.partition(".")[0]
    if order.harness.parts[name].kind == "battery":
        return False
    return name in stage.out or name == stage.fit or order.harness.parts[name].kind == "fuse"


def _at_the_fans(order: Order, point: OperatingPoint) -> Iterator[tuple[str, Observation]]:
    """Current and volts lost to and from each fan that runs, at its own plug."""
    battery = order.harness.supply.battery
    plus, minus = f"{battery}.+", f"{battery}.-"
    for motor in order.design.motors:
        if abs(point.amps.get(f"{motor}:motor", 0.0)) < TURNS:
            continue
        fed, back = _plug_of(order, f"{motor}.+"), _plug_of(order, f"{motor}.-")
        wire = _wire_at(order, point, motor, (fed, back))
        if wire:
            yield f"{motor}-amps", _one("amps", wire)
        for name, one, other in ((f"{motor}-feed", plus, fed), (f"{motor}-ground", back, minus)):
            lost = abs(point.between(one, other))
            yield name, _one("drop" if lost < _DROP else "volts", one, other)


def _wire_at(order: Order, point: OperatingPoint, motor: str, ends: tuple[str, ...]) -> str:
    """A wire of the loom at the plug of a motor that carries all of its current; empty without one."""
    amps = abs(point.amps[f"{motor}:motor"])
    return next(
        (
            key
            for key, one in order.harness.wires.items()
            if one.belongs_to is None
            and {one.start, one.end}.intersection(ends)
            and abs(point.amps.get(key, 0.0)) > 0.98 * amps
        ),
        "",
    )


def _plug_of(order: Order, node: str) -> str:
    """The terminal of a plug that is joined to a point by wires alone; the point itself without one."""
    wires = order.design.wire_sets
    for name, part in order.harness.parts.items():
        if part.kind == "plug":
            for end in part.nodes(name):
                if wires.together(end, node):
                    return end
    return node


def _looked_at(order: Order, stage: Stage, point: OperatingPoint) -> Iterator[tuple[str, Observation]]:
    """Relays that are in, lamps of the loom, and fans that turn or must not."""
    for name, part in order.harness.parts.items():
        if name in stage.out:
            continue
        if part.kind == "relay" and (stage.fit == name or stage.mode.by or stage.battery):
            yield f"{name}-click", _one("click", name)
        if part.kind == "lamp" and (stage.fit == name or stage.battery):
            yield name, _one("lamp", name)
        if part.kind == "motor" and (stage.battery or abs(point.amps.get(f"{name}:motor", 0.0)) > TURNS):
            yield name, _one("speed", name)


def short_name(stage: Stage) -> str:
    """For the name of a step."""
    if stage.fit:
        return stage.fit
    if stage.battery:
        return f"battery-{stage.mode.name}"
    if stage.mode.name == "rest":
        return "all-out" if stage.out else "all-in"
    return stage.mode.name


def words_of(harness: Harness, stage: Stage) -> str:
    """What a step puts in or asks for."""
    if stage.battery:
        start = "Straight on the battery, real fuses: "
        return start + stage.mode.words
    if not stage.fit:
        if stage.mode.name == "rest":
            return "Everything out" if stage.out else "Everything in, ignition off"
        return _capital(stage.mode.words)
    part = harness.parts[stage.fit]
    where = f" ({part.where})" if part.where else ""
    kind = {"plug": "plug"}.get(part.kind, part.kind)
    return f"Put in {kind} {stage.fit}{where}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
