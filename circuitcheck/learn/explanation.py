"""A whole explanation as plain data: the way of the current, the drawing, the steps, the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.cautions import cautions_for
from circuitcheck.expect.expected import UNITS, word_for
from circuitcheck.expect.words import OPEN_LINE, SCALES
from circuitcheck.harness.model import Harness
from circuitcheck.learn.answer import BY_THRESHOLD, Answer, answer
from circuitcheck.learn.by_hand import hand_torque, turned_by_hand
from circuitcheck.learn.derive import Derivation, derive
from circuitcheck.learn.elements import Element, elements_around
from circuitcheck.learn.fan import Crossing, crossing, motors_of
from circuitcheck.learn.sensitivity import Sensitivity, sensitivities
from circuitcheck.learn.subject import SUPPLY, Subject, subject_of
from circuitcheck.learn.twin import lcapy_amps
from circuitcheck.learn.way import Leg, strongest_way
from circuitcheck.learn.written import Line, derivative_line, line_of, written
from circuitcheck.physics.motor import FanMotor

NO_WAY_ROUND = "Nothing leads back round to it: the circuit is open, and no current can flow."
NOTHING = 1e-9
"""A solved reading below this, in its unit, is what rounding leaves of none."""


@dataclass(frozen=True, slots=True)
class WayStep:
    """An element or a single branch on the current's way [A]."""

    symbol: str
    words: str
    start: str
    end: str
    amps: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """One element of the lumped circuit.

    :param ohm: [ohm]
    :param emf: [V], from head to tail; 0 without one
    :param members: keys of the branches that are lumped in it
    :param amps: tail to head, as derived [A]
    :param heat: I^2 R [W]
    :param power: what its emf takes (+) or delivers (-) [W]: shaft power, or the battery's
    """

    symbol: str
    emf_symbol: str
    words: str
    tail: str
    head: str
    ohm: float
    emf: float
    members: tuple[str, ...]
    amps: float
    heat: float
    power: float


@dataclass(frozen=True)
class Explanation:
    """Everything that is told; see :mod:`circuitcheck.learn.document` for how.

    :param value: the derived answer in ``unit``; infinite for an open line, None if it buzzes
    :param solver: what the solver reads, the same way
    :param twin: what lcapy finds for the current of the branch in question [A]; None where there
        is nothing to solve
    :param series_parallel: whether no node equations were needed
    """

    harness: str
    title: str
    test: str
    test_title: str
    faults: tuple[str, ...]
    observe: str | None
    kind: str
    question: str
    value: float | None
    unit: str
    word: str
    solver: float | None
    way: tuple[WayStep, ...] = ()
    drawn: tuple[Drawn, ...] = ()
    lines: tuple[Line, ...] = ()
    derivative: Line | None = None
    whole: Line | None = None
    series_parallel: bool = True
    amps: float | None = None
    twin: float | None = None
    twin_symbolic: bool = False
    crossings: tuple[Crossing, ...] = ()
    sensitivities: tuple[Sensitivity, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict; an open line is the word, not a number."""
        found = asdict(self)
        for name in ("value", "solver"):
            if found[name] is not None and not math.isfinite(found[name]):
                found[name] = None
        for line in (*found["lines"], found["derivative"], found["whole"]):
            if line:
                del line["mathml"]
        return found

    def __str__(self) -> str:
        from circuitcheck.learn.as_text import text_of  # noqa: PLC0415
        from circuitcheck.learn.document import document  # noqa: PLC0415

        return text_of(document(self))

    def _repr_html_(self) -> str:
        from circuitcheck.learn.as_html import fragment  # noqa: PLC0415
        from circuitcheck.learn.document import document  # noqa: PLC0415

        return fragment(document(self))


def explain(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = (), observe: str | None = None
) -> Explanation:
    """Why an observation of a test is what it is; without one, what the battery delivers.

    :param test: a name in ``harness.tests``
    :param observe: a name in the test's ``observe``
    :raises UnknownName: if the test has no such observation
    """
    subject = subject_of(harness, test, faults, observe)
    blank = _blank(subject)
    if subject.kind == "turn":
        torque = hand_torque(subject)
        return replace(blank, value=torque, solver=torque, notes=turned_by_hand(subject))
    if subject.value is None or not subject.live:
        return replace(blank, notes=(*_blown(subject), _why_nothing(subject)))
    elements = elements_around(subject)
    running = _is_running(subject)
    found = derive(elements, subject.target, running=running)
    if found.rest is None and subject.probes is None:
        return replace(blank, value=_no_current(subject), notes=(*_blown(subject), NO_WAY_ROUND))
    result = answer(subject, found, elements)
    twin, symbolic = None, False
    if found.rest is not None:
        twin, symbolic = lcapy_amps(elements, found.target)
    lines = written(found.sheet)
    ranked = sensitivities(subject, found, result, elements)
    return replace(
        blank,
        value=result.value,
        unit=result.unit,
        word=_word(subject, result.value),
        way=_way(subject, elements),
        drawn=_drawn(found, elements),
        lines=lines,
        derivative=_derivative(found, result, ranked),
        whole=_whole(found, result),
        series_parallel=found.series_parallel,
        twin=twin,
        amps=float(found.sheet.value(result.amps)),
        twin_symbolic=symbolic,
        crossings=crossings(subject),
        sensitivities=tuple(ranked),
        notes=(*_blown(subject), *_notes(subject, found)),
    )


def _no_current(subject: Subject) -> float:
    """The reading of a branch that no current can reach."""
    return math.inf if subject.kind == "ohms" else 0.0


def _blank(subject: Subject) -> Explanation:
    harness, test = subject.harness, subject.harness.tests[subject.test]
    unit = "A" if subject.kind in (SUPPLY, *BY_THRESHOLD) else UNITS[subject.kind]
    value = subject.value
    if subject.kind in BY_THRESHOLD and value is not None:
        value = abs(subject.point.amps.get(subject.target, 0.0))
    if value is not None and abs(value) < NOTHING:
        value = 0.0
    return Explanation(
        harness.name,
        harness.title,
        subject.test,
        test.title,
        tuple(one.spec for one in subject.faults),
        subject.observe,
        subject.kind,
        _question(subject),
        value,
        unit,
        _word(subject, value),
        value,
        cautions=tuple(cautions_for(harness, test.setup, test.observe.values())),
    )


def _question(subject: Subject) -> str:
    if subject.observe is None:
        return f"What does {subject.target.partition(':')[0]} deliver, and where does it go?"
    points = " to ".join(subject.harness.tests[subject.test].observe[subject.observe].points)
    asked = {
        "volts": "How many volts stand from",
        "drop": "How many volts are lost from",
        "amps": "What current flows in",
        "ohms": "What does the ohmmeter read from",
        "speed": "How fast does it turn:",
        "lamp": "How bright is the lamp at",
        "click": "Does it pull in:",
        "hear": "Does its motor run:",
        "turn": "How does it turn by hand:",
        "fuse": "Has it blown:",
    }[subject.kind]
    return f"{asked} {points}?"


def _word(subject: Subject, value: float | None) -> str:
    if value is None:
        return "buzzes"
    if math.isinf(value):
        return OPEN_LINE
    if subject.observe is None:
        return ""
    observation = subject.harness.tests[subject.test].observe[subject.observe]
    if subject.kind in BY_THRESHOLD:
        return SCALES[subject.kind].word(float(bool(subject.value)))
    return word_for(subject.harness, observation, value)


def _why_nothing(subject: Subject) -> str:
    if subject.value is None:
        return (
            f"It never comes to rest: {', '.join(subject.point.buzzing)} goes on and off again. What "
            "switches it on takes away what holds it on, so there is no steady state to derive."
        )
    return "The set-up or a fault has taken that branch out of the circuit: no current can flow there."


def _is_running(subject: Subject) -> bool:
    return subject.kind in ("speed", "hear")


def _blown(subject: Subject) -> tuple[str, ...]:
    """That a fuse is gone before the test begins, which a reader of it cannot see."""
    fuses = sorted(name.removesuffix(" blown") for name in subject.circuit.blown)
    if not fuses:
        return ()
    return (
        f"{' and '.join(fuses)} blew before this test, in ordinary use: the fault had overloaded "
        f"{'it' if len(fuses) == 1 else 'them'}.",
    )


def _notes(subject: Subject, found: Derivation) -> tuple[str, ...]:
    notes = []
    emfs = [name for name in found.sheet.given if name.startswith("E_")]
    if emfs and any(isinstance(one, FanMotor) for one in subject.circuit.branches.values()):
        notes.append(
            f"{', '.join(emfs)}: a back EMF is not known beforehand. It is taken at the speed where "
            "the fan's and the motor's line cross, all motors at once; see the crossing below."
        )
    if subject.kind == "click":
        threshold = subject.circuit.thresholds[f"{_place(subject)} pulled in"]
        notes.append(
            f"{_place(subject)} pulls in from {threshold.on_amps * 1000:.0f} mA and drops out "
            f"at {threshold.off_amps * 1000:.0f} mA."
        )
    if subject.kind == "fuse":
        name = subject.target.removesuffix(":element")
        limits = (one for one in subject.circuit.thresholds.values() if one.watch == subject.target)
        notes += [
            f"{name} opens from {one.on_amps:.0f} A, or a little before or after." for one in limits
        ]
    return tuple(notes)


def _place(subject: Subject) -> str:
    return subject.target.partition(":")[0]


def crossings(subject: Subject) -> tuple[Crossing, ...]:
    """The running point of every motor that current passes, each against the rest of the circuit."""
    rows = []
    for key, motor in motors_of(subject.circuit, subject.point).items():
        around = replace(subject, target=key, kind="speed")
        found = derive(elements_around(around), key, running=True)
        if found.rest is None:
            continue
        value = found.sheet.value
        volts = np.array(subject.point.between(motor.tail, motor.head))
        rad = abs(float(FanMotor.speed(np.array(motor.values), volts)))
        rows.append(crossing(key, motor, float(value(found.emf)), float(value(found.ohm)), rad))
    return tuple(rows)


def _way(subject: Subject, elements: list[Element]) -> tuple[WayStep, ...]:
    """The strongest way through what is asked about, run by run."""
    owner = {key: one for one in elements for key in one.members}
    through = subject.probes or (subject.target,)
    legs = next(
        (
            found
            for one in through
            if (found := strongest_way(subject.circuit, subject.point, one)) and _passes(found, one)
        ),
        [],
    )
    steps: list[WayStep] = []
    for leg in legs or strongest_way(subject.circuit, subject.point):
        one = owner.get(leg.key)
        symbol, words = (one.ohm_name, one.words) if one else ("", leg.key)
        if steps and symbol and steps[-1].symbol == symbol:
            steps[-1] = replace(steps[-1], end=leg.end)
        else:
            steps.append(WayStep(symbol, words, leg.start, leg.end, leg.amps))
    return tuple(steps)


def _passes(legs: list[Leg], what: str) -> bool:
    return any(what in (leg.key, leg.start, leg.end) for leg in legs)


def _drawn(found: Derivation, elements: list[Element]) -> tuple[Drawn, ...]:
    rows = []
    for one in elements:
        amps = float(found.sheet.value(found.amps[one.ohm_name]))
        ohm, emf = float(one.ohm), float(one.emf)
        rows.append(
            Drawn(
                one.ohm_name,
                one.emf_name,
                one.words,
                one.tail,
                one.head,
                ohm,
                emf,
                one.members,
                amps,
                amps**2 * ohm,
                amps * emf,
            )
        )
    return tuple(rows)


def _derivative(found: Derivation, result: Answer, ranked: list[Sensitivity]) -> Line | None:
    """By the resistance that tells most."""
    resistances = (one.symbol for one in ranked[:3] if one.per_step is not None)
    lines = (derivative_line(found.sheet, result.symbol, one) for one in resistances)
    return next((one for one in lines if one is not None), None)


LONGEST_WHOLE = 30
"""Operations up to which the answer is also written as one formula in what is given."""
LONGEST_WITH_NUMBERS = 12
"""Operations up to which that formula is repeated with its numbers; both a choice of presentation."""


def _whole(found: Derivation, result: Answer) -> Line | None:
    if not found.series_parallel:
        return None
    formula = found.sheet.whole(result.symbol)
    if any(step.formula == formula for step in found.sheet.steps):
        return None
    if formula.count_ops() > LONGEST_WHOLE:
        return None
    line = line_of(
        found.sheet,
        result.symbol,
        formula,
        result.unit,
        "in one formula",
        "every step put into the last",
    )
    # With its numbers it would fill the page, and they all stand in the steps above.
    return line if formula.count_ops() <= LONGEST_WITH_NUMBERS else replace(line, numbers="")
