"""ngspice against our readings, through decks; it fails where ngspice is not installed.

Every fault mode of every kind of part is compared in two harnesses that have it, and some faults more
in each. ``tests/benchmarks/oracle.py`` takes all of them. Beside the shipped harnesses there is
``every-kind.yaml``, with every part, instrument and set-up.
"""

import random
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from simulator import Comparison, compare, simulate, simulate_all, typical

from circuitcheck.circuit.chosen import find_fault
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.expected import expect_tests
from circuitcheck.expect.second_opinion import deck
from circuitcheck.harness.load import load_harness
from circuitcheck.parts import KINDS
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.diode import Junction
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.motor import RPM, FanMotor
from circuitcheck.shipped import harness_files
from circuitcheck.solve.deck import Look, circuit_deck, printed_name
from circuitcheck.solve.point import solve_point

HARNESSES = [*sorted(harness_files()), str(Path(__file__).with_name("every-kind.yaml"))]
each_harness = pytest.mark.parametrize("name", HARNESSES, ids=[Path(n).stem for n in HARNESSES])


@cache
def dealt():
    """Faults to compare in each harness: {name: faults}.

    Every mode of every kind of part goes to two of the harnesses that have it, and each harness
    gets five faults more. ``tests/benchmarks/oracle.py`` compares all of them in all."""
    draw = random.Random("dealt")
    holders, others = {}, {}
    for name in HARNESSES:
        harness = load_harness(name)
        faults = typical(harness)
        draw.shuffle(faults)
        first = {}
        for one in faults:
            part = harness.parts.get(one.mode.where.split(".")[0])
            first.setdefault((part.kind if part else "wire", one.mode.mode), one)
        for mode, one in first.items():
            holders.setdefault(mode, []).append((name, one))
        others[name] = [one for one in faults if one not in first.values()][:5]
    for known in holders.values():
        draw.shuffle(known)
        for name, one in sorted(known, key=lambda pair: pair[0] != HARNESSES[-1])[:2]:
            others[name].append(one)
    return others


def test_faults_of_every_kind_of_part_are_dealt():
    given = set()
    for name, faults in dealt().items():
        parts = load_harness(name).parts
        given |= {
            parts[where].kind for one in faults if (where := one.mode.where.split(".")[0]) in parts
        }
    assert given == set(KINDS)


@each_harness
def test_simulator_agrees_sound_and_with_faults(name):
    found = compare(load_harness(name), [[], *([one] for one in dealt()[name])])
    assert found.rows
    assert not found.wrong, "\n".join(map(str, found.wrong))


@each_harness
def test_simulator_agrees_on_pairs_of_faults(name):
    harness = load_harness(name)
    draw = random.Random(Path(name).stem)
    found = compare(harness, [draw.sample(typical(harness), 2) for _ in range(8)])
    assert not found.wrong, "\n".join(map(str, found.wrong))


@each_harness
def test_a_deck_by_itself_prints_one_line_for_each_observation(name):
    """As a user runs it: a file, in batch; against what ``expect`` says of a sound circuit."""
    harness = load_harness(name)
    for test in expect_tests(harness, list(harness.tests)):
        found = simulate(deck(harness, test.test))
        assert list(found) == [printed_name(one) for one in harness.tests[test.test].observe]
        for one in test.readings:
            value = float("inf") if one.expected is None else one.expected
            row = Comparison(
                test.test, "sound", one.name, one.kind, value, value, found[printed_name(one.name)]
            )
            assert row.agrees(value), row


def test_what_a_deck_says_of_itself():
    harness = load_harness(HARNESSES[0])
    test = next(iter(harness.tests))
    fault = find_fault(harness, typical(harness)[0].mode.spec)
    text = deck(harness, test, [fault])
    lines = text.splitlines()
    assert lines[0] == f"{harness.name}, {test}, {fault.spec}"
    assert lines[-1] == ".end"
    assert re.search(r"^\*\s+0 \w+\.-$", text, re.M), "node 0 has its name"
    assert "All values are those of the description" in text
    assert max(map(len, lines)) < 1000


def test_a_meter_in_the_lead_is_there_under_a_fault_of_that_lead_too():
    harness = load_harness(HARNESSES[-1])
    found = compare(harness, [[find_fault(harness, "W17 high resistance=0.5 ohm")]])
    assert not found.wrong, "\n".join(map(str, found.wrong))


# -- one branch at a time -----------------------------------------------------------------------


def looked(kind, branch, emf, ohm=0.05):
    """A deck of one branch behind a resistance, and our operating point of it."""
    lead = Conductor("a", "b", 0.01)
    branches = {"cells": Source("a", "0", emf, ohm), "it": branch, "lead": lead}
    circuit = Circuit(branches, {}, "0")
    point = solve_point(circuit)
    key = "it" if kind in ("speed", "lamp") else "lead"
    looks = [
        Look("it", kind, circuit, point, "b", "0", key),
        Look("volts", "volts", circuit, point, "b", "0"),
    ]
    return circuit_deck("one branch", [], looks), point


MOTOR = FanMotor.from_rated_point("b", "0", volts=13, amps=15, rpm=2600, resistance=0.18)
SEIZED = FanMotor("b", "0", 0.18, 0.0, MOTOR.fan, MOTOR.friction)
STIFF = FanMotor("b", "0", 0.18, MOTOR.back_emf, MOTOR.fan, 14 * MOTOR.friction)
LOOSE = replace(MOTOR, fan=MOTOR.fan * 0.1**2, wheel=0.1)


@pytest.mark.parametrize(
    "motor", [MOTOR, SEIZED, STIFF, LOOSE], ids=["sound", "seized", "stiff", "loose"]
)
def test_motor_from_coupled_equations(motor):
    emfs = [-13.0, -0.3, 0.05, 0.2, 0.4, 1.0, 3.0, 6.0, 12.6, 28.0]
    decks = {str(emf): looked("speed", motor, emf)[0] for emf in emfs}
    for emf, found in simulate_all(decks).items():
        _, point = looked("speed", motor, float(emf))
        volts = np.array(point.between("b", "0"))
        rpm = abs(float(FanMotor.wheel_speed(np.array(motor.values), volts))) / RPM
        assert found["it"] == pytest.approx(rpm, rel=1e-4, abs=0.01), emf
        assert found["volts"] == pytest.approx(float(volts), rel=1e-4, abs=1e-4), emf


def test_rated_point_of_a_motor_comes_back():
    """13 V, 15 A and 2600 r/min went in; a simulator that knows only Ke, k and T0 finds them."""
    drop = 15 * (0.05 + 0.01)
    found = simulate(looked("amps", MOTOR, 13 + drop)[0])
    assert found["it"] == pytest.approx(15, abs=0.001)
    assert simulate(looked("speed", MOTOR, 13 + drop)[0])["it"] == pytest.approx(2600, abs=0.1)


def test_lamp_hot_warm_and_cold():
    lamp = Filament("b", "0", 12.0, 5.0)
    emfs = [-12.0, -0.01, 0.0, 0.01, 0.03, 0.05, 0.5, 6.0, 12.0, 15.0]
    for kind in ("amps", "lamp"):
        decks = {str(emf): looked(kind, lamp, emf)[0] for emf in emfs}
        for emf, found in simulate_all(decks).items():
            _, point = looked(kind, lamp, float(emf))
            share = Filament.brightness(np.array(lamp.values), np.array(point.between("b", "0")))
            expected = abs(point.amps["it"]) if kind == "amps" else float(share)
            assert found["it"] == pytest.approx(expected, rel=1e-4, abs=1e-6), (kind, emf)


def test_lamp_at_half_its_volts():
    # 5 A at 12 V draws 5 (6/12)^0.55 = 3.415 A at 6 V: I proportional to V^0.55, lamp re-rating
    # (D. D. Van Horn, J. IES, April 1965); the value worked out from it.
    text, _ = looked("amps", Filament("b", "0", 12.0, 5.0), 6 + 3.415 * 0.06)
    assert simulate(text)["it"] == pytest.approx(3.415, abs=0.001)


def test_diode_both_ways():
    for junction in (Junction("b", "0", 0.7, 0.05), Junction("0", "b", 0.7, 0.05)):
        emfs = [-12.0, 0.0, 0.5, 0.71, 1.0, 12.0]
        decks = {str(emf): looked("amps", junction, emf)[0] for emf in emfs}
        for emf, found in simulate_all(decks).items():
            _, point = looked("amps", junction, float(emf))
            assert found["it"] == pytest.approx(abs(point.amps["it"]), rel=1e-4, abs=1e-9), emf
            assert found["volts"] == pytest.approx(point.between("b", "0"), rel=1e-4, abs=1e-6)


def test_names_with_blanks_stay_one_word():
    branches = {"cells": Source("a", "0", 12.0, 1.0), "R": Conductor("a", "0", 5.0)}
    circuit = Circuit(branches, {}, "0")
    look = Look('left fan $x; "y"', "amps", circuit, solve_point(circuit), key="R")
    assert simulate(circuit_deck("blanks", ["a\nnote"], [look])) == {"left_fan__x___y_": 2.0}
