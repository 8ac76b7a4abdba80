"""Motors locked, and the resistors that slow them: what nothing but heat puts an end to."""

from __future__ import annotations

from collections.abc import Iterator

from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.feeds import shortest_opening
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import number, seconds, until
from circuitcheck.parts.resistor import Resistor


def watts_in(resistor: Resistor, name: str, scene: Live) -> float:
    """What a resistor gives off in a scene [W]: ``I**2 R``."""
    return float(scene.amps(f"{name}:element") ** 2 * resistor.ohms)


@rule(
    "locked-motor",
    Severity.doubtful,
    "A motor that stands locked opens its fuse before it burns.",
    source="longest opening times of ISO 8820-3, from memory; how long a motor may stand: common "
    "practice, no source",
    limits=("locked-time",),
)
def locked_motor(design: Design) -> Iterator[Finding]:
    """Motors whose locked current, at its largest, lasts longer than allowed."""
    allowed = design.limits["locked-time"]
    for motor, pairs in design.locked.items():
        worst = max(pairs, key=lambda one: round(one[1].amps(f"{motor}:motor"), 6), default=None)
        if worst is None:
            continue
        held = worst[1]
        opens = shortest_opening(design, held)
        if opens > allowed:
            when = until(opens)
            yield Finding(
                "locked-motor",
                motor,
                Severity.doubtful,
                f"locked, it draws {number(held.amps(f'{motor}:motor'))} A ({held.words}) and {when}; "
                f"{seconds(allowed)} is the usual most. Give it a smaller fuse of its own, or one with "
                "a "
                "thermal trip.",
                opens,
                allowed,
                "s",
            )


@rule(
    "resistor-running",
    Severity.serious,
    "A series resistor gives off no more than its stated watts while its fan runs.",
    source="the watts stated for the resistor",
    limits=("resistor-share",),
)
def resistor_running(design: Design) -> Iterator[Finding]:
    """Resistors over their watts in a sound circuit; a note where none are stated."""
    for name, resistor in design.parts(Resistor):
        worst = max(design.scenes, key=lambda one: watts_in(resistor, name, one))
        watts = watts_in(resistor, name, worst)
        if resistor.watts is None:
            yield Finding(
                "resistor-running",
                name,
                Severity.note,
                f"no watts are stated; it gives off {number(watts)} W ({worst.words}).",
                watts,
                None,
                "W",
            )
        elif watts > design.limits["resistor-share"] * resistor.watts:
            yield Finding(
                "resistor-running",
                name,
                Severity.serious,
                f"gives off {number(watts)} W while running ({worst.words}); it is made for "
                f"{resistor.watts:g} W. {_larger(design, watts)}",
                watts,
                resistor.watts,
                "W",
            )


@rule(
    "resistor-locked",
    Severity.serious,
    "With its fan locked, a series resistor stays within its watts, or a fuse or cut-out ends it.",
    source="the watts stated for the resistor; longest opening times of ISO 8820-3, from memory",
    limits=("resistor-share", "locked-time"),
)
def resistor_locked(design: Design) -> Iterator[Finding]:
    """The case in which nothing blows and the resistor burns."""
    for name, resistor in design.parts(Resistor):
        if resistor.watts is None or resistor.cut_out is not None:
            continue
        allowed = design.limits["resistor-share"] * resistor.watts
        cases = [
            (watts_in(resistor, name, held), motor, held)
            for motor, pairs in design.locked.items()
            for _, held in pairs
            if watts_in(resistor, name, held) > allowed
            and shortest_opening(design, held) > design.limits["locked-time"]
        ]
        if not cases:
            continue
        watts, motor, held = max(cases, key=lambda one: one[0])
        neighbour = _cut_out_beside(design, name, held)
        if neighbour:
            then = f"Only the cut-out of {neighbour} in the same unit ends it: see that it gets as hot."
        else:
            ends = until(shortest_opening(design, held))
            then = f"It has no cut-out. The resistor burns first: {ends}. {_larger(design, watts)}"
        yield Finding(
            "resistor-locked",
            name,
            Severity.note if neighbour else Severity.serious,
            f"gives off {number(watts)} W with {motor} locked ({held.words}); it is made for "
            f"{resistor.watts:g} W. {then}",
            watts,
            resistor.watts,
            "W",
        )


def _larger(design: Design, watts: float) -> str:
    """What to fit in place of a resistor that gives off more watts than it is made for."""
    needed = watts / design.limits["resistor-share"]
    return f"Fit one for {number(needed)} W or more, or one with a thermal cut-out."


def _cut_out_beside(design: Design, name: str, scene: Live) -> str:
    """A resistor with a cut-out in the same unit and circuit; empty if there is none."""
    unit, amps = design.harness.parts[name].belongs_to, scene.amps(f"{name}:element")
    for other, resistor in design.parts(Resistor):
        alike = abs(scene.amps(f"{other}:element") - amps) < 0.01 * amps
        if resistor.cut_out and unit and resistor.belongs_to == unit and alike:
            return other
    return ""


@rule(
    "resistor-alone",
    Severity.doubtful,
    "No single break elsewhere drives a resistor over its watts.",
    source="the watts stated for the resistor",
    limits=("resistor-share",),
)
def resistor_alone(design: Design) -> Iterator[Finding]:
    """Resistors that take over another's current when that one's circuit is broken."""
    for name, resistor in design.parts(Resistor):
        if resistor.watts is None or resistor.cut_out is not None:
            continue
        allowed = design.limits["resistor-share"] * resistor.watts
        cases = [
            (watts_in(resistor, name, after), spec)
            for spec, _, after in design.broken
            if watts_in(resistor, name, after) > allowed
        ]
        if cases:
            watts, spec = max(cases, key=lambda one: round(one[0], 6))
            others = len({one for _, one in cases}) - 1
            more = f", or one of {others} other breaks" if others else ""
            yield Finding(
                "resistor-alone",
                name,
                Severity.doubtful,
                f"gives off {number(watts)} W with {spec}{more}, and the fan it feeds still turns; it "
                f"is made for {resistor.watts:g} W. {_larger(design, watts)}",
                watts,
                resistor.watts,
                "W",
            )


@rule(
    "cut-out",
    Severity.doubtful,
    "A thermal cut-out opens before it sets fire to what is around it.",
    source="common practice, no source",
    limits=("cut-out-most",),
)
def cut_out(design: Design) -> Iterator[Finding]:
    """Cut-outs that open too hot."""
    most = design.limits["cut-out-most"]
    for name, resistor in design.parts(Resistor):
        if resistor.cut_out is not None and resistor.cut_out.opens > most:
            yield Finding(
                "cut-out",
                name,
                Severity.doubtful,
                f"its cut-out opens at {resistor.cut_out.opens:g} degC; {most:g} degC is the usual "
                "most.",
                resistor.cut_out.opens,
                most,
                "degC",
            )
