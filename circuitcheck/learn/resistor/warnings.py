"""What to know before taking a resistor: loads too high, speeds too near, wires too thin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby

from circuitcheck.expect.cautions import CONTINUOUS_SHARE, STANDARD_FUSES
from circuitcheck.harness.model import Harness
from circuitcheck.inspect.design import Design
from circuitcheck.inspect.limits import LIMITS, Limits
from circuitcheck.inspect.rule import Finding, Severity
from circuitcheck.inspect.sizing import Need, choose
from circuitcheck.inspect.words import listed, number, seconds
from circuitcheck.learn.resistor.effects import ContactLoad, FuseLoad
from circuitcheck.learn.resistor.stage import rpm_of
from circuitcheck.physics.motor import FanMotor

STARTS = 2.0
"""Times what friction asks for that a fan needs to start surely; common practice, no source."""
NEAR = 0.1
"""Share of speed within which two steps are as good as one; common practice, no source."""


def overloads(fuses: Sequence[FuseLoad], contacts: Sequence[ContactLoad], held: str) -> Iterator[str]:
    """Every load above a rating, in words.

    :param held: the motor whose rotor is held
    """
    for fuse in fuses:
        if fuse.over:
            yield f"{fuse.fuse}: {_over(fuse, held)}. {_how_long(fuse)}"
    times = LIMITS["making-times"]
    for contact in contacts:
        found = [_over(contact, held)] if max(contact.running, contact.locked) > contact.rating else []
        if contact.starting > contact.rating:
            much = contact.starting > times.value * contact.rating
            word = "more than the usual most of" if much else "for an instant bears up to"
            found.append(
                f"closes onto {number(contact.starting)} A, over its {contact.rating:g} A "
                f"({word} {times.value:g} times it; {times.source})"
            )
        if found:
            yield f"{contact.contact}: {'; '.join(found)}."


def _over(load: FuseLoad | ContactLoad, held: str) -> str:
    running = load.running > load.rating
    amps, when = (load.running, "running") if running else (load.locked, f"with {held} locked")
    return f"{number(amps)} A {when}, over its {load.rating:g} A"


def _how_long(fuse: FuseLoad) -> str:
    if not math.isinf(fuse.opens):
        return f"It blows within {seconds(fuse.opens)}."
    soonest = "" if math.isinf(fuse.soonest) else f", at the soonest after {seconds(fuse.soonest)}"
    return f"It may blow{soonest}, but need not: no time is set for so little more."


def hard_start(changed: Harness, motor: str, held: float) -> tuple[str, ...]:
    """Whether a fan may fail to start behind its resistor, in words.

    At a standstill its torque follows the current with the rotor held, and its friction is what a small
    current, ``T0 / Ke``, just overcomes.

    :param held: current with the rotor held [A]
    """
    branch = next(
        found
        for scene in Design(changed).running
        if isinstance(found := scene.circuit.branches.get(f"{motor}:motor"), FanMotor)
    )
    friction = branch.friction / branch.back_emf
    if held >= STARTS * friction:
        return ()
    return (
        f"{motor} may not start on it: at a standstill it draws {number(held)} A, and its friction "
        f"alone asks for some {number(friction)} A; cold, wet or worn it asks for more "
        f"({STARTS:g} times it: common practice, no source). Take fewer ohms, or start it on high",
    )


def near_steps(old: Harness, new: Harness, sized: str, motor: str) -> tuple[str, ...]:
    """States of use that had a speed of their own and now nearly that of the one sized for, in words.

    :param sized: the state of use that the resistor is sized for
    """
    before, after = (_speeds(one, motor) for one in (old, new))
    if sized not in before or sized not in after:
        return ()
    return tuple(
        f"{motor} then makes {number(after[sized])} rpm ({sized}) and {number(rpm)} rpm ({other}): "
        "hardly two steps any more"
        for other, rpm in after.items()
        if other in before
        and _engine(other) == _engine(sized)
        and _near(after[sized], rpm)
        and not _near(before[sized], before[other])
    )


def _engine(scene: str) -> str:
    """Ignition and engine of a state of use: its first words."""
    return scene.partition(", ")[0]


def _speeds(harness: Harness, motor: str) -> dict[str, float]:
    design = Design(harness)
    return {scene.words: rpm_of(scene, motor) for scene in design.running if design.runs(scene, motor)}


def _near(one: float, other: float) -> bool:
    return abs(one - other) < NEAR * max(one, other)


def cures(changed: Harness, come: Sequence[Finding]) -> tuple[str, ...]:
    """The fuse and the wire that end new serious findings of wires thinner than their fuse, in words."""
    design = Design(changed)
    serious = [one for one in come if one.rule == "fuse-over-wire" and one.severity is Severity.serious]
    told = [(one.place, _cure(design, one)) for one in serious]
    told.sort(key=lambda one: one[1])
    return tuple(
        f"{listed([place for place, _ in group])}: {words}"
        for words, group in groupby(told, key=lambda one: one[1])
    )


def _cure(design: Design, finding: Finding) -> str:
    """A wire for the fuse, and a fuse for the wire where one carries what flows."""
    limits = Limits()
    amps, carries = finding.value or 0.0, finding.limit or 0.0
    need = Need(
        amps * CONTINUOUS_SHARE,
        1.0,
        None,
        limits["ambient"],
        limits["wire-temperature"],
        limits["bundle"],
    )
    wire = choose(need).chosen
    flows = max(abs(scene.amps(finding.place)) for scene in design.running)
    fuse = max((one for one in STANDARD_FUSES if one <= carries), default=0)
    thicker = f"take {wire.name} for the fuse of {amps:g} A" if wire else "lay it twice"
    if flows > CONTINUOUS_SHARE * fuse:
        return thicker
    return f"{thicker}, or give it a fuse of its own of {fuse:g} A ({flows:.0f} A flows)"
