"""A series resistor sized for a wanted low speed or current, on the whole circuit."""

from __future__ import annotations

from collections.abc import Mapping

from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Harness
from circuitcheck.inspect.design import Design
from circuitcheck.inspect.inspection import inspect_harness
from circuitcheck.inspect.limits import Limits
from circuitcheck.inspect.rule import Finding, Severity
from circuitcheck.learn.resistor import heat, layout
from circuitcheck.learn.resistor.answer import Arrangement, Ask, Fan, Outcome, Sizing
from circuitcheck.learn.resistor.effects import Cases, contact_loads, fuse_loads, fuse_of_its_own
from circuitcheck.learn.resistor.layout import Layout
from circuitcheck.learn.resistor.rig import Rig, Wish, ohms_for
from circuitcheck.learn.resistor.stage import full_speeds, rpm_of, stage_of
from circuitcheck.learn.resistor.standard import StandardValue, neighbours
from circuitcheck.parts.resistor import Resistor


def size_resistor(harness: Harness, ask: Ask) -> Sizing:
    """Size the resistors of a harness.

    :raises UnknownName: if a name in what is asked is not there
    :raises ValueError: if no resistor slows a fan, what is wanted cannot be had, or more than one thing
        is wanted
    """
    if ask.into and (ask.one or ask.outside or ask.resistors):
        raise ValueError(
            "a new resistor in a wire stands for itself: leave out which one, one for all, and outside"
        )
    original = Design(harness)
    chosen = layout.into_wire(harness, ask.into) if ask.into else None
    design = Design(chosen.harness) if chosen else original
    stage = stage_of(design, chosen.resistors if chosen else ask.resistors)
    full = full_speeds(original)
    wish = _wish(ask, Rig(design, stage), full, new=chosen is not None)
    chosen = chosen or _placed(ask, design)
    rig = _rig(chosen)
    ohms = ohms_for(rig, wish)
    standard = tuple(_outcome(rig, one, full) for one in neighbours(ohms))
    taken = _taken(rig, ask, standard, wish, full)
    cases = Cases.of(rig, taken.ohms, original)
    fuses = fuse_loads(cases)
    ambient = Limits()["ambient"] if ask.ambient is None else ask.ambient
    rating, burns = _rated(chosen, taken, ask, ambient)
    return Sizing(
        harness,
        chosen,
        wish,
        rig.stage.scene.words,
        full,
        None if ask.into else _now(Rig(design, stage), full),
        _outcome(rig, StandardValue(ohms, ()), full),
        standard,
        taken,
        ask.margin,
        ambient,
        rating,
        heat.surface(taken.watts, taken.locked_watts, rating.take, ambient, ask.thermal),
        fuses,
        contact_loads(cases),
        burns,
        fuse_of_its_own(
            rig.most_amps(cases.running), rig.most_amps(cases.locked), Limits()["locked-time"]
        ),
        _arrangements(ask, design, wish),
        ask.cut_out,
    )


def _wish(ask: Ask, rig: Rig, full: Mapping[str, float], *, new: bool) -> Wish:
    wanted = [one for one in (ask.rpm, ask.share, ask.amps) if one is not None]
    if len(wanted) > 1:
        raise ValueError("must be one of a speed, a share of full speed, and a current")
    motors = rig.stage.motors
    if ask.motor is not None and ask.motor not in motors:
        raise UnknownName("fan that is slowed there", ask.motor, motors)
    motor = ask.motor or motors[0]
    if ask.amps is not None:
        return Wish(motor, amps=ask.amps)
    if not wanted and new:
        raise ValueError("a new resistor needs a wanted rpm, share of full speed, or amps")
    share = None if ask.share is None else ask.share * full[motor]
    return Wish(motor, rpm=ask.rpm or share or rpm_of(rig.stage.scene, motor))


def _placed(ask: Ask, design: Design) -> Layout:
    stage = stage_of(design, ask.resistors)
    if ask.outside:
        return (layout.one_outside if ask.one else layout.outside)(design, stage)
    return (layout.one_for_all if ask.one else layout.present)(design, stage)


def _rig(chosen: Layout) -> Rig:
    """The circuit of a layout, its resistors to be varied."""
    design = Design(chosen.harness)
    return Rig(design, stage_of(design, chosen.resistors))


def _outcome(rig: Rig, value: StandardValue, full: Mapping[str, float]) -> Outcome:
    scene = rig.at(value.ohms)
    motor, held = rig.worst_locked(value.ohms)
    fans = tuple(
        Fan(one, rpm_of(scene, one), rpm_of(scene, one) / full[one], scene.amps(f"{one}:motor"))
        for one in rig.stage.motors
    )
    return Outcome(
        value.ohms,
        value.series,
        fans,
        rig.most_amps(scene) ** 2 * value.ohms,
        rig.most_amps(held) ** 2 * value.ohms,
        motor,
    )


def _now(rig: Rig, full: Mapping[str, float]) -> Outcome:
    part = rig.design.harness.parts[rig.stage.resistors[0]]
    assert isinstance(part, Resistor)
    return _outcome(rig, StandardValue(part.ohms, ()), full)


def _taken(
    rig: Rig, ask: Ask, standard: tuple[Outcome, ...], wish: Wish, full: Mapping[str, float]
) -> Outcome:
    """The value to take: as told, or the standard one that comes nearest to what is wanted."""
    if ask.take is not None:
        return _outcome(rig, StandardValue(ask.take, ()), full)

    def off(one: Outcome) -> float:
        fan = next(fan for fan in one.fans if fan.motor == wish.motor)
        return abs(fan.rpm - wish.rpm) if wish.rpm is not None else abs(fan.amps - (wish.amps or 0.0))

    return min(standard, key=off)


def _rated(
    chosen: Layout, taken: Outcome, ask: Ask, ambient: float
) -> tuple[heat.Rating, tuple[Finding, ...]]:
    """The rating, and what ``inspect`` finds of one that is rated for running alone."""
    made = heat.rating(taken.watts, taken.locked_watts, margin=ask.margin, ambient=ambient, burns=False)
    fitted = chosen.fitted(taken.ohms, made.take, ask.cut_out)
    limits = Limits({"resistor-share": heat.share_kept(ambient)})
    found = inspect_harness(fitted, limits, rules=["resistor-locked"]).findings
    burns = tuple(
        one for one in found if one.place in chosen.resistors and one.severity is Severity.serious
    )
    return heat.rating(
        taken.watts, taken.locked_watts, margin=ask.margin, ambient=ambient, burns=bool(burns)
    ), burns


def _arrangements(ask: Ask, design: Design, wish: Wish) -> tuple[Arrangement, ...]:
    """One each beside one for all, where several fans run slowly together."""
    if ask.into or len(stage_of(design, ask.resistors).resistors) < 2:
        return ()
    found = []
    for one in (False, True):
        try:
            placed = _placed(Ask(resistors=ask.resistors, one=one, outside=ask.outside), design)
            found.append(_arrangement(placed, wish))
        except ValueError:  # this loom has no place for it
            continue
    return tuple(found)


def _arrangement(placed: Layout, wish: Wish) -> Arrangement:
    rig = _rig(placed)
    ohms = ohms_for(rig, wish)
    motors = rig.stage.motors
    others = [one for one in motors if one != motors[0]]
    dead = rig.dead(ohms, motors[0])
    return Arrangement(
        placed.words,
        len(placed.resistors),
        ohms,
        rig.most_amps(rig.at(ohms)) ** 2 * ohms,
        rig.most_amps(rig.worst_locked(ohms)[1]) ** 2 * ohms,
        rpm_of(dead, others[0]) if others else None,
    )
