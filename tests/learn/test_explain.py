"""Explanations of shipped tests: equal to the solver, to lcapy, to small steps of the solver."""

import dataclasses
import itertools
import re
import xml.etree.ElementTree as ET
from html.entities import html5

import pytest

import circuitcheck
from circuitcheck.learn import explanation
from circuitcheck.learn.as_html import page
from circuitcheck.learn.as_text import text_of
from circuitcheck.learn.document import document
from circuitcheck.learn.elements import elements_around
from circuitcheck.learn.subject import subject_of
from circuitcheck.learn.way import strongest_way
from circuitcheck.learn.written import quantity
from circuitcheck.shipped import harness_files
from circuitcheck.solve.point import solve_point

TESTS = [(name, test) for name in harness_files() for test in circuitcheck.load(name).harness.tests]
CACHE = {}


def told(name, test, *faults, observe=None):
    key = (name, test, faults, observe)
    if key not in CACHE:
        CACHE[key] = circuitcheck.load(name).explain(test, *faults, observe=observe)
    return CACHE[key]


def one_of_each_kind(name, test):
    """The first observation of each kind."""
    observed = circuitcheck.load(name).harness.tests[test].observe
    return {one.kind: label for label, one in reversed(list(observed.items()))}.values()


@pytest.fixture
def answer_alone(monkeypatch):
    """Explanations without what costs most of their time and the answer does not need."""
    monkeypatch.setattr(explanation, "lcapy_amps", lambda *_: (None, False))
    for name in ("written", "sensitivities", "crossings"):
        monkeypatch.setattr(explanation, name, lambda *_: ())


@pytest.mark.parametrize(("name", "test"), TESTS)
def test_every_shipped_test_is_derived_to_the_solvers_digits(name, test):
    agrees_with_the_solver(told(name, test))


@pytest.mark.parametrize(("name", "test"), TESTS)
def test_so_is_one_observation_of_each_kind(name, test, answer_alone):
    for observe in one_of_each_kind(name, test):
        agrees_with_the_solver(circuitcheck.load(name).explain(test, observe=observe))


def agrees_with_the_solver(found):
    if found.solver is None or found.solver == float("inf"):
        assert found.value == found.solver
        return
    # 1e-5 is the load of a voltmeter that is left out of the drawing.
    assert found.value == pytest.approx(found.solver, rel=1.1e-5, abs=1e-8), found.observe
    assert f"{found.value:.4g}" == f"{found.solver:.4g}", found.observe


@pytest.mark.parametrize(("name", "test"), TESTS)
def test_lcapy_finds_the_same_current_on_the_same_drawing(name, test):
    found = told(name, test)
    if found.twin is not None:
        assert found.amps == pytest.approx(found.twin, rel=1e-9, abs=1e-12)


def test_with_faults_too():
    for fault, observe in (
        ("E1 high resistance=0.8 ohm", "left-ground"),
        ("R1 open", "left"),
        ("M1 seized", "left"),
        ("M2 open", "right"),
        ("W9 open", "left"),
    ):
        found = told("twin-fan-switch", "high-at-the-plug", fault, observe=observe)
        assert found.value == pytest.approx(found.solver, rel=1e-6, abs=1e-9)


def test_what_buzzes_is_said_to_buzz(book):
    # A break contact in its own coil's feed: the bell circuit, which has no steady state.
    loom = book.loom(
        {"G1": book.battery(), "K1": "{kind: relay, contacts: break, coil: 80 ohm, plug: no}"},
        [("G1.+", "K1.30"), ("K1.87a", "K1.86"), ("K1.85", "G1.-")],
        volts=12,
        resting=12.0,
        observe={"relay": "{click: K1}"},
    )
    found = circuitcheck.loom.Loom(loom).explain("book", observe="relay")
    assert found.value is None
    assert "on and off again" in text_of(document(found))


# -- the drawing -----------------------------------------------------------------------------------


def test_lumps_hold_every_piece_once_and_add_up():
    loom = circuitcheck.load("first-fan")
    subject = subject_of(loom.harness, "fan-direct")
    elements = elements_around(subject)
    members = [key for one in elements for key in one.members]
    assert len(members) == len(set(members))
    run = next(one for one in elements if {"W2", "bridge", "W3"} <= set(one.members))
    ohms = [subject.circuit.branches[key].ohm for key in run.members]
    assert float(run.ohm) == pytest.approx(sum(ohms))
    assert "3 wires" in run.words
    assert "1 jumper lead" in run.words


def test_the_way_is_unbroken_from_plus_to_minus():
    for name, test in (("first-fan", "fan-direct"), ("twin-fan-switch", "hot"), ("truck-24v", "hot")):
        loom = circuitcheck.load(name)
        subject = subject_of(loom.harness, test)
        legs = strongest_way(subject.circuit, subject.point)
        assert legs[0].start.endswith("post+")
        assert legs[-1].end.endswith("post-")
        assert all(one.end == two.start for one, two in itertools.pairwise(legs))
        volts = [subject.point.volts[leg.start] for leg in legs]
        assert volts == sorted(volts, reverse=True)


def test_power_delivered_is_power_taken():
    for name, test in (("first-fan", "fan-direct"), ("twin-fan-switch", "hot")):
        found = told(name, test)
        assert sum(one.heat + one.power for one in found.drawn) == pytest.approx(0, abs=1e-6)


# -- what the answer hangs on ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("test", "observe"),
    [
        ("low-at-the-plug", "left"),
        ("high-at-the-plug", None),
        ("high-at-the-plug", "left-amps"),
        ("high-at-the-plug", "left-ground"),
    ],
)
def test_sensitivities_are_what_the_solver_does(test, observe):
    # A tenth of a per cent more and less of every resistance, put into the non-linear solver.
    found = told("twin-fan-switch", test, observe=observe)
    harness = circuitcheck.load("twin-fan-switch").harness
    subject = subject_of(harness, test, (), observe)
    by_symbol = {one.symbol: one for one in found.sensitivities}
    checked = 0
    for element in elements_around(subject):
        if element.ohm_name not in by_symbol:
            continue
        up, down = (moved(subject, element, observe, found, step) for step in (1e-3, -1e-3))
        slope = (up - down) / 2e-3 / found.value
        assert by_symbol[element.ohm_name].share == pytest.approx(slope, rel=2e-3, abs=2e-6)
        checked += 1
    assert checked > 8


def moved(subject, element, observe, found, share):
    change = {}
    for key in element.members:
        branch = subject.circuit.branches[key]
        field = "resistance" if hasattr(branch, "resistance") else "ohm"
        change[key] = dataclasses.replace(branch, **{field: getattr(branch, field) * (1 + share)})
    circuit = subject.circuit.changed(change)
    point = solve_point(circuit)
    if found.kind == "supply":
        return -point.amps[subject.target]
    if found.kind == "amps":
        return abs(point.amps["W9"])
    if found.kind == "drop":
        return point.between(*subject.probes)
    motor = circuit.branches["M1:motor"]
    import numpy as np

    from circuitcheck.physics.motor import RPM

    return (
        float(motor.speed(np.array(motor.values), np.array(point.between(motor.tail, motor.head)))) / RPM
    )


def test_a_ground_drop_hangs_on_its_own_ground():
    found = told("twin-fan-switch", "high-at-the-plug", observe="left-ground")
    first = next(one for one in found.sensitivities if one.per_step is not None)
    owner = next(one for one in found.drawn if one.symbol == first.symbol)
    assert "E1:joint" in owner.members


# -- how it is shown -----------------------------------------------------------------------------------


def test_text_fits_eighty_columns():
    for name, test, observe in (("twin-fan-switch", "hot", None), ("first-fan", "by-itself", "fan")):
        text = text_of(document(told(name, test, observe=observe)))
        assert max(map(len, text.splitlines())) <= 80


def test_the_page_is_well_formed_mathml_without_script():
    made = page(document(told("twin-fan-switch", "low-at-the-plug", observe="left")), "why")
    for name in set(re.findall(r"&(\w+;)", made)) - {"lt;", "gt;", "amp;", "quot;", "apos;"}:
        made = made.replace(f"&{name}", html5[name])
    tree = ET.fromstring(
        made.partition("\n")[2]
        .replace('<meta charset="utf-8">', "")
        .replace('<meta name="viewport" content="width=device-width">', "")
    )
    assert len(tree.findall(".//{http://www.w3.org/1998/Math/MathML}mfrac")) > 5
    assert "script" not in made
    assert "http" not in made.replace("http://www.w3.org/1998/Math/MathML", "")


def test_quantities_read_as_a_person_writes_them():
    assert quantity(0.0, "ohm") == "0 ohm"
    assert quantity(9.8e-3, "A") == "9.8 mA"
    assert quantity(10e6, "ohm") == "10 Mohm"
    assert quantity(-0.25, "V") == "-0.25 V"
