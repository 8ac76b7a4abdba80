"""The branch in question put back: what is asked of it, from the rest's emf and resistance."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from circuitcheck.learn.algebra import sympy
from circuitcheck.learn.derive import Derivation, divide
from circuitcheck.learn.elements import Element, walk_between
from circuitcheck.learn.subject import SUPPLY, Subject
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.meter import OPEN_OHM
from circuitcheck.physics.motor import FanMotor

THEVENIN = (
    "seen from {place}, all the rest is one emf behind one resistance (Thevenin): "
    "the volts there with the branch taken off, and the resistance with every emf "
    "off"
)


@dataclass(frozen=True)
class Answer:
    """The symbol that answers the question, and its value in the unit of the reading.

    :param amps: symbol of the target's current, tail to head
    """

    symbol: Any
    value: float
    unit: str
    amps: Any


BY_THRESHOLD = ("click", "fuse")
"""Kinds of observation whose answer is a current that is held against a threshold."""


def answer(subject: Subject, found: Derivation, elements: list[Element]) -> Answer:
    """Close the circuit again and read off what was asked."""
    if subject.probes is not None:
        return _between(subject, found, elements)
    by_kind = {
        SUPPLY: _supply,
        "volts": _volts,
        "drop": _volts,
        "amps": _amps,
        "ohms": _ohms,
        "speed": _speed,
        "hear": _speed,
        "lamp": _lamp,
        "click": _held_against,
        "fuse": _held_against,
    }
    return by_kind[subject.kind](subject, found)


def _supply(subject: Subject, found: Derivation) -> Answer:
    amps = found.sheet.step(
        "I",
        (found.own_emf - found.emf) / (found.own_ohm + found.ohm),
        "A",
        "Ohm's law",
        "what the emfs leave over drives the current through all resistance in its way",
    )
    divide(found, -amps, shown=True)
    return Answer(amps, float(found.sheet.values[amps]), "A", -amps)


def _between(subject: Subject, found: Derivation, elements: list[Element]) -> Answer:
    """Volts from probe to probe: what each element on the way between them holds."""
    if found.rest is None:
        found.amps[found.target.ohm_name] = sympy().Integer(0)
    else:
        _supply(subject, found)
    owner = {key: one for one in elements for key in one.members}
    total, gone, last = sympy().Integer(0), 0, None
    for start, _, key in walk_between(subject, set(owner)):
        one = owner.get(key)
        gone += one is None
        if one is None or one is last:
            continue
        ohm, emf = found.symbols(one)
        volts = emf + found.amps[one.ohm_name] * ohm
        total += volts if _enters_at_tail(subject, one, start, key) else -volts
        last = one
    why = (
        "from probe to probe, each resistance on the way holds the volts I R and each source its "
        "emf; the voltmeter draws too little to matter"
    )
    if gone:
        why += f"; {gone} of the pieces on the way carry nothing and so lose nothing"
    volts = found.sheet.step("U", total, "V", "adding up", why)
    amps = found.amps[found.target.ohm_name]
    return Answer(volts, float(found.sheet.values[volts]), "V", amps)


def _enters_at_tail(subject: Subject, one: Element, start: str, key: str) -> bool:
    """Whether a way that passes a branch from ``start`` passes the element from tail to head."""
    branch = subject.circuit.branches[key]
    along = start == branch.tail
    place, node = one.members.index(key), one.tail
    for member in one.members[:place]:
        before = subject.circuit.branches[member]
        node = before.head if before.tail == node else before.tail
    return along == (node == branch.tail)


def _current(found: Derivation, why: str, *, shown: bool = True) -> tuple[Any, int]:
    """The target's current as a positive symbol, and 1 if it runs from tail to head."""
    formula = (found.emf - found.own_emf) / (found.ohm + found.own_ohm)
    turn = -1 if found.sheet.value(formula) < 0 else 1
    amps = found.sheet.step("I", turn * formula, "A", "Ohm's law", why, shown=shown)
    return amps, turn


def _amps(subject: Subject, found: Derivation) -> Answer:
    amps, turn = _current(
        found, "what the emfs leave over drives the current through all resistance in its way"
    )
    divide(found, turn * amps, shown=False)
    return Answer(amps, float(found.sheet.values[amps]), "A", turn * amps)


def _thevenin(found: Derivation, place: str) -> tuple[Any, Any]:
    """The rest's emf and resistance as symbols of their own."""
    why = THEVENIN.format(place=place)
    algebra = sympy()
    emf, ohm = algebra.sympify(found.emf), algebra.sympify(found.ohm)
    if not emf.is_Symbol and emf != 0:
        emf = found.sheet.step("E_t", emf, "V", "Thevenin", why)
    if not ohm.is_Symbol:
        ohm = found.sheet.step("R_t", ohm, "ohm", "Thevenin", why)
    return emf, ohm


def _volts(subject: Subject, found: Derivation) -> Answer:
    emf, ohm = _thevenin(found, "the probes")
    volts = found.sheet.step(
        "U",
        emf * found.own_ohm / (ohm + found.own_ohm),
        "V",
        "divider",
        "the meter's input and the rest's resistance divide that emf; the meter gets its share",
    )
    amps = found.sheet.step(
        "I", volts / found.own_ohm, "A", "Ohm's law", "what the meter draws", shown=False
    )
    divide(found, amps, shown=False)
    return Answer(volts, float(found.sheet.values[volts]), "V", amps)


def _ohms(subject: Subject, found: Derivation) -> Answer:
    if found.emf == 0:
        ohm = sympy().sympify(found.ohm)
        if not ohm.is_Symbol:
            ohm = found.sheet.step(
                "R", ohm, "ohm", "series", "the meter's small current passes all of them in turn"
            )
        amps, turn = _current(found, "the meter's own cell drives this current", shown=False)
    else:
        amps, turn = _current(
            found, "the meter's own cell drives this current, against what emf there is"
        )
        ohm = found.sheet.step(
            "R",
            found.ohm + turn * found.emf / amps,
            "ohm",
            "Ohm's law",
            "volts at the probes over the current, as the meter reckons it",
        )
    divide(found, turn * amps, shown=False)
    value = float(found.sheet.values[ohm])
    return Answer(ohm, value if value <= OPEN_OHM else float("inf"), "ohm", turn * amps)


def _lamp(subject: Subject, found: Derivation) -> Answer:
    lamp = subject.circuit.branches[subject.target]
    assert isinstance(lamp, Filament)
    amps, turn = _current(found, "the hot filament taken as the resistance it has at this current")
    rated = found.sheet.give("P_r", Fraction(lamp.rated_volts * lamp.rated_amps), "W", "rated power")
    share = found.sheet.step(
        "b",
        amps**2 * found.own_ohm / rated,
        "",
        "power",
        "a filament shines by the power it takes, here as a share of its rated power",
    )
    divide(found, turn * amps, shown=False)
    return Answer(share, float(found.sheet.values[share]), "", turn * amps)


def _held_against(subject: Subject, found: Derivation) -> Answer:
    whose = "coil" if subject.kind == "click" else "fuse"
    amps, turn = _current(found, f"the {whose}'s current, which its threshold is held against")
    divide(found, turn * amps, shown=False)
    return Answer(amps, float(found.sheet.values[amps]), "A", turn * amps)


def _speed(subject: Subject, found: Derivation) -> Answer:
    motor = subject.circuit.branches[subject.target]
    assert isinstance(motor, FanMotor)
    name = subject.target.partition(":")[0]
    sheet, algebra = found.sheet, sympy()
    emf, rest = _thevenin(found, f"the terminals of {name}")
    turn = -1 if sheet.value(emf) < 0 else 1
    constant = sheet.give("Ke", Fraction(motor.back_emf), "V s/rad", f"back-EMF constant of {name}")
    fan = sheet.give("k", Fraction(motor.fan), "N m s2/rad2", f"fan of {name}: torque per speed squared")
    friction = sheet.give("T0", Fraction(motor.friction), "N m", f"friction of {name}")
    ohm = rest + found.own_ohm
    held = sheet.step(
        "T_s",
        constant * turn * emf / ohm,
        "N m",
        "motor line",
        "the torque if the rotor were held: Ke times the current that flows then",
    )
    if sheet.values[held] <= sheet.values[friction] or not motor.back_emf:
        return _stalled(found, emf, ohm, turn)
    slope = sheet.step(
        "c",
        constant**2 / ohm,
        "N m s/rad",
        "motor line",
        "by so much the torque falls for each rad/s, as the back EMF grows",
    )
    root = algebra.sqrt(slope**2 + 4 * fan * (held - friction))
    speed = sheet.step(
        "w",
        (root - slope) / (2 * fan),
        "rad/s",
        "lines cross",
        "motor line = fan line: T_s - c w = k w^2 + T0, a quadratic with one positive root",
    )
    wheel = speed
    if subject.kind == "speed" and motor.wheel < 1.0:
        share = sheet.give("s", Fraction(motor.wheel), "", f"speed of {name}'s fan over its shaft's")
        why = "the fan slips on the shaft and is left behind; k is what it takes of the shaft then"
        wheel = sheet.step("w_f", share * speed, "rad/s", "slip", why)
    rpm = sheet.step("n", 30 * wheel / algebra.pi, "rpm", "unit", "radians per second to turns a minute")
    back = sheet.step(
        f"E_{name}", constant * speed, "V", "back EMF", "a turning motor is a source against its supply"
    )
    amps = sheet.step(
        "I",
        (turn * emf - back) / ohm,
        "A",
        "Ohm's law",
        "what the back EMF leaves over drives the current",
    )
    divide(found, turn * amps, shown=False)
    return Answer(rpm, float(sheet.values[rpm]), "rpm", turn * amps)


def _stalled(found: Derivation, emf: Any, ohm: Any, turn: int) -> Answer:
    amps = found.sheet.step(
        "I",
        turn * emf / ohm,
        "A",
        "Ohm's law",
        "it does not turn, so there is no back EMF to hold the current down",
    )
    rpm = found.sheet.step(
        "n",
        sympy().Integer(0) * amps,
        "rpm",
        "at rest",
        "the torque at rest does not overcome the friction",
    )
    divide(found, turn * amps, shown=False)
    return Answer(rpm, 0.0, "rpm", turn * amps)
