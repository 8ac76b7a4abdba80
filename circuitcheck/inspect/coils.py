"""Relay coils: what damps them, which way round, whether they pull in and stay; wrong volts."""

from __future__ import annotations

from collections.abc import Iterator

from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import number
from circuitcheck.parts.diode import Diode
from circuitcheck.parts.lamp import Lamp
from circuitcheck.parts.motor import Motor
from circuitcheck.parts.relay import Relay
from circuitcheck.parts.resistor import Resistor
from circuitcheck.physics.copper import at_temperature


@rule(
    "coil-undamped",
    Severity.doubtful,
    "A relay coil has a resistor or a diode across it, for the contact or module that switches it.",
    source="common practice, no source",
)
def coil_undamped(design: Design) -> Iterator[Finding]:
    """Coils with nothing across them, inside the relay or in the loom."""
    for name, relay in design.parts(Relay):
        if relay.across_coil == "nothing" and not _across(design, name, (Diode, Resistor)):
            yield Finding(
                "coil-undamped",
                name,
                Severity.doubtful,
                "nothing damps its coil: as it is switched off its kick of well over 100 V burns the "
                "contact, or kills the electronics, that switches it. Fit a relay with a resistor or "
                "diode across its coil.",
            )


def _conducts_most(design: Design, key: str) -> Live:
    return max(design.scenes, key=lambda one: round(one.amps(key), 6))


def _across(design: Design, relay: str, kinds: tuple[type, ...]) -> list[str]:
    """Parts of some kinds whose two terminals lie on the two sides of a coil."""
    sets = design.wire_sets
    coil = {sets.root(f"{relay}.86"), sets.root(f"{relay}.85")}
    return [
        name
        for name, part in design.harness.parts.items()
        if isinstance(part, kinds) and {sets.root(f"{name}.{pin}") for pin in part.pins()} == coil
    ]


@rule(
    "coil-polarity",
    Severity.serious,
    "The cathode of a damping diode is on the side of the coil that is fed.",
    source="DIN 72552 names 86 the start of the winding and 85 its end on the negative side, from "
    "memory",
)
def coil_polarity(design: Design) -> Iterator[Finding]:
    """Damping diodes that conduct while the coil is fed, in the relay or in the loom."""
    for name, relay in design.parts(Relay):
        owners = ([name] if relay.across_coil == "diode" else []) + _across(design, name, (Diode,))
        for key in (f"{one}:diode" for one in owners):
            worst = _conducts_most(design, key)
            if worst.amps(key) > 0.1:  # far above leakage, far below what a feed sends through a diode
                yield Finding(
                    "coil-polarity",
                    name,
                    Severity.serious,
                    f"the diode across its coil conducts {number(worst.amps(key))} A ({worst.words}): "
                    "plus is on its anode. It shorts the feed of the coil. Turn 85 and 86, or the "
                    "diode.",
                    worst.amps(key),
                    0.1,
                    "A",
                )


@rule(
    "coil-pick-up",
    Severity.serious,
    "A relay pulls in with a hot coil and the battery at rest.",
    source="pick-up as stated for the relay at 20 degC; copper coefficient of IEC 60028",
    limits=("coil-hot",),
)
def coil_pick_up(design: Design) -> Iterator[Finding]:
    """Coils that are fed and have too little: their pick-up rises with their resistance."""
    warmer = at_temperature(1.0, design.limits["coil-hot"])
    low = design.harness.supply.resting / design.harness.supply.running
    for name, relay in design.parts(Relay):
        volts, scene = _most_volts(design, f"{name}:coil")
        needed = relay.pick_up * float(relay.coil_volts) * warmer
        has = volts * low
        if 0.5 < has < needed:
            grave = Severity.serious if volts < needed / warmer else Severity.doubtful
            yield Finding(
                "coil-pick-up",
                name,
                grave,
                f"its coil gets {number(has)} V at rest ({scene}) and needs {number(needed)} V to pull "
                "in at "
                f"{design.limits['coil-hot']:g} degC.",
                has,
                needed,
                "V",
            )


def _most_volts(design: Design, key: str) -> tuple[float, str]:
    """The most volts across a branch in any state of use [V], and in which."""

    def across(scene: Live) -> float:
        branch = scene.circuit.branches.get(key)
        return abs(scene.point.between(branch.tail, branch.head)) if branch else 0.0

    worst = max(design.scenes, key=across)
    return across(worst), worst.words


@rule(
    "never-rests",
    Severity.serious,
    "The circuit comes to rest in every state of use: no relay cuts its own coil.",
    source="worked out; no limit",
)
def never_rests(design: Design) -> Iterator[Finding]:
    """States of use in which a relay or input goes on and off without end."""
    told: set[str] = set()
    for scene in design.scenes:
        for name in dict.fromkeys(one.split(" ")[0] for one in scene.point.buzzing):
            if name not in told:
                told.add(name)
                yield Finding(
                    "never-rests",
                    name,
                    Severity.serious,
                    f"goes on and off without end ({scene.words}): what it switches takes away its own "
                    "feed.",
                )


@rule(
    "wrong-volts",
    Severity.serious,
    "Motors, lamps and coils get about the volts they are made for: no 12 V part in a 24 V loom.",
    source="supply codes of ISO 16750-2 (12 V: up to 16 V; 24 V: up to 32 V), from memory",
    limits=("volts-share",),
)
def wrong_volts(design: Design) -> Iterator[Finding]:
    """Loads that get far more than their rated volts, and lamps and coils that get far less.

    What a charging system gives above the nominal volts is allowed for.
    """
    over = design.harness.supply.running / design.harness.volts
    share = design.limits["volts-share"]
    for name, key, rated in _rated(design):
        volts, scene = _most_volts(design, key)
        if volts > (1 + share) * max(over, 1.0) * rated:
            yield Finding(
                "wrong-volts",
                name,
                Severity.serious,
                f"gets {number(volts)} V ({scene}) and is made for {rated:g} V.",
                volts,
                rated,
                "V",
            )
        elif 0.5 < volts < (1 - share) * rated:
            yield Finding(
                "wrong-volts",
                name,
                Severity.doubtful,
                f"gets {number(volts)} V at the most ({scene}) and is made for {rated:g} V.",
                volts,
                rated,
                "V",
            )


def _rated(design: Design) -> Iterator[tuple[str, str, float]]:
    for name, motor in design.parts(Motor):
        yield name, f"{name}:motor", motor.rated.volts
    for name, lamp in design.parts(Lamp):
        yield name, f"{name}:lamp", lamp.volts
    for name, relay in design.parts(Relay):
        yield name, f"{name}:coil", float(relay.coil_volts)
