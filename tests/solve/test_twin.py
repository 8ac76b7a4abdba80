"""Our solver and lcapy on published answers and every shipped test; exact networks have their own file."""

import random
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import networkx as nx
import numpy as np
import pytest

from circuitcheck.circuit.build import build_circuit, lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined, find_fault
from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.expect.second_opinion import second_opinion_of_test
from circuitcheck.harness.load import load_harness
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.diode import Junction
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.motor import FanMotor
from circuitcheck.shipped import harness_files
from circuitcheck.solve.point import OperatingPoint, solve_point
from circuitcheck.solve.twin import second_opinion, twin_netlist

HARNESSES = [*sorted(harness_files()), str(Path(__file__).with_name("every-kind.yaml"))]
each_harness = pytest.mark.parametrize("name", HARNESSES, ids=[Path(n).stem for n in HARNESSES])
IDEAL = 1e-5
"""Resistance of a source or a short that the books take as having none [ohm]."""


def network(**branches):
    """``V=("a", "0", "12 V", ohm)`` is a source, ``R=("a", "0", ohm)`` a resistance; 0 is minus."""
    made = {
        key: Source(one[0], one[1], float(one[2].split()[0]), one[3])
        if len(one) == 4 else Conductor(*one)
        for key, one in branches.items()
    }  # fmt: skip
    return Circuit(made, {}, "0")


# -- published worked examples ------------------------------------------------------------------
# Source, network, printed answers: volts of a node, "volts a b" between two, amps of a branch
# (sign left out), watts of a branch, "ohms V" of all that a source feeds. Tolerance: one unit of
# the last printed digit. OpenStax CP2e = College Physics 2e, UP2 = University Physics Volume 2;
# LIEC-1 = T. R. Kuphaldt, Lessons In Electric Circuits, Volume I (DC), fifth edition.

WORKED = {
    "series": (
        "CP2e 21.1, first example",
        {"V": ("a", "0", "12 V", IDEAL), "R1": ("a", "b", 1.0), "R2": ("b", "c", 6.0),
         "R3": ("c", "0", 13.0)},
        {"ohms V": "20.0", "amps R1": "0.600", "volts a b": "0.600", "volts b c": "3.60",
         "volts c": "7.80", "watts R1": "0.360", "watts R2": "2.16", "watts R3": "4.68"},
    ),
    "parallel": (
        "CP2e 21.1, second example",
        {"V": ("a", "0", "12 V", IDEAL), "R1": ("a", "0", 1.0), "R2": ("a", "0", 6.0),
         "R3": ("a", "0", 13.0)},
        {"ohms V": "0.804", "amps V": "14.92", "amps R1": "12.0", "amps R2": "2.00",
         "amps R3": "0.92", "watts R1": "144", "watts R2": "24.0", "watts R3": "11.1"},
    ),
    "lead resistance": (
        "CP2e 21.1, third example",
        {"V": ("a", "0", "12 V", IDEAL), "R1": ("a", "b", 1.0), "R2": ("b", "0", 6.0),
         "R3": ("b", "0", 13.0)},
        {"ohms V": "5.11", "amps V": "2.35", "volts a b": "2.35", "volts b": "9.65",
         "amps R2": "1.61", "watts R2": "15.5"},
    ),
    "string of five": (
        "UP2 10.2, first example",
        {"V": ("a", "0", "9 V", IDEAL), "R1": ("a", "b", 20.0), "R2": ("b", "c", 20.0),
         "R3": ("c", "d", 20.0), "R4": ("d", "e", 20.0), "R5": ("e", "0", 10.0)},
        {"ohms V": "90", "amps V": "0.1", "volts a b": "2", "volts e": "1", "watts R4": "0.2",
         "watts R5": "0.1"},
    ),
    "four equal": (
        "UP2 10.2, last example",
        {"V": ("a", "0", "50 V", IDEAL), "R1": ("a", "b", 10.0), "R2": ("b", "c", 10.0),
         "R3": ("c", "0", 10.0), "R4": ("c", "0", 10.0)},
        {"ohms V": "25.00", "amps R1": "2.00", "watts R1": "40", "watts R2": "40",
         "watts R3": "10", "watts R4": "10"},
    ),
    "series-parallel": (
        "LIEC-1 ch. 7",
        {"V": ("a", "0", "24 V", IDEAL), "R1": ("a", "b", 100.0), "R2": ("a", "b", 250.0),
         "R3": ("b", "0", 350.0), "R4": ("b", "0", 200.0)},
        {"ohms V": "198.70", "amps V": "0.12078", "volts a b": "8.627", "volts b": "15.37",
         "amps R1": "0.08627", "amps R2": "0.03451", "amps R3": "0.04392", "amps R4": "0.07686"},
    ),
    "three in series": (
        "LIEC-1 ch. 5, series",
        {"V": ("a", "0", "9 V", IDEAL), "R1": ("a", "b", 3e3), "R2": ("b", "c", 10e3),
         "R3": ("c", "0", 5e3)},
        {"amps V": "0.000500", "volts a b": "1.5", "volts b c": "5", "volts c": "2.5"},
    ),
    "three in parallel": (
        "LIEC-1 ch. 5, parallel",
        {"V": ("a", "0", "9 V", IDEAL), "R1": ("a", "0", 10e3), "R2": ("a", "0", 2e3),
         "R3": ("a", "0", 1e3)},
        {"ohms V": "625", "amps R1": "0.0009", "amps R2": "0.0045", "amps R3": "0.009"},
    ),
    "internal resistance, light load": (
        "CP2e 21.2 and UP2 10.1, worked example",
        {"V": ("a", "0", "12 V", 0.1), "R": ("a", "0", 10.0)},
        {"amps V": "1.188", "volts a": "11.9"},
    ),
    "internal resistance, heavy load": (
        "CP2e 21.2 and UP2 10.1, worked example",
        {"V": ("a", "0", "12 V", 0.1), "R": ("a", "0", 0.5)},
        {"amps V": "20.0", "volts a": "10.0", "watts R": "200"},
    ),
    "internal resistance, bad battery": (
        "CP2e 21.2 and UP2 10.1, worked example",
        {"V": ("a", "0", "12 V", 0.5), "R": ("a", "0", 0.5)},
        {"amps V": "12.0", "volts a": "6.00", "watts R": "72.0"},
    ),
    "internal resistance, shorted": (
        "LIEC-1 ch. 11",
        {"V": ("a", "0", "10 V", 0.2), "R": ("a", "0", IDEAL)},
        {"amps V": "50"},
    ),
    "two sources": (
        "LIEC-1 ch. 10, branch current method",
        {"V1": ("a", "0", "28 V", IDEAL), "R1": ("a", "n", 4.0), "R2": ("n", "0", 2.0),
         "V2": ("b", "0", "7 V", IDEAL), "R3": ("b", "n", 1.0)},
        {"volts n": "8", "amps R1": "5", "amps R2": "4", "amps R3": "1", "volts a n": "20",
         "volts n b": "1"},
    ),
    "unbalanced bridge": (
        "LIEC-1 ch. 10, delta and wye",
        {"V": ("1", "0", "10 V", IDEAL), "R12": ("1", "2", 12.0), "R13": ("1", "3", 18.0),
         "R23": ("2", "3", 6.0), "R20": ("2", "0", 18.0), "R30": ("3", "0", 12.0)},
        {"volts 1 2": "4.706", "volts 1 3": "5.294", "volts 2 3": "0.5882", "volts 2": "5.294",
         "volts 3": "4.706"},
    ),
    "three sources": (
        "UP2 10.3, first example",
        {"V1": ("n", "a", "0.5 V", 3.0), "R": ("a", "0", IDEAL), "V3": ("n", "0", "2.3 V", 8.0),
         "V2": ("0", "n", "0.6 V", 1.0)},
        {"amps V1": "0.20", "amps V3": "0.30", "amps V2": "0.50"},
    ),
    "voltmeter loading": (
        "LIEC-1 ch. 8",
        {"V": ("a", "0", "24 V", IDEAL), "R1": ("a", "b", 250e6), "R2": ("b", "0", 250e6),
         "meter": ("b", "0", 10e6)},
        {"volts b": "0.8889"},
    ),
    "voltmeter on a cell": (
        "CP2e 21.4, exercise",
        {"V": ("a", "0", "1.585 V", 0.1), "meter": ("a", "0", 1e3)},
        {"amps V": "0.00158", "volts a": "1.5848"},
    ),
}  # fmt: skip


def answer(circuit, volts, amps, what):
    """One printed answer out of node volts and branch amps."""
    kind, *names = what.split()
    if kind == "volts":
        return volts[names[0]] - volts[names[1] if names[1:] else "0"]
    branch = circuit.branches[names[0]]
    if kind == "amps":
        return abs(amps[names[0]])
    if kind == "watts":
        return amps[names[0]] * (volts[branch.tail] - volts[branch.head])
    assert kind == "ohms"
    return abs((volts[branch.tail] - volts[branch.head]) / amps[names[0]])


@pytest.mark.parametrize("name", WORKED)
def test_published_worked_examples(name):
    source, branches, answers = WORKED[name]
    circuit = network(**branches)
    point = solve_point(circuit)
    exact = second_opinion(circuit, point)
    for what, printed in answers.items():
        unit = 10.0 ** Decimal(printed).as_tuple().exponent
        ours = answer(circuit, point.volts, point.amps, what)
        theirs = float(answer(circuit, exact["volts"], exact["amps"], what))
        assert ours == pytest.approx(float(printed), abs=unit), (source, what)
        assert theirs == pytest.approx(float(printed), abs=unit), (source, what)
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-9), (source, what)


# -- the map ------------------------------------------------------------------------------------

MOTOR = FanMotor.from_rated_point("b", "0", volts=13, amps=15, rpm=2600, resistance=0.18)


def everything():
    """One of each kind of branch, and an island."""
    return Circuit(
        {
            "cells": Source("a", "0", 12.6, 0.012), "R": Conductor("a", "b", 0.4), "motor": MOTOR,
            "lamp": Filament("b", "0", 12.0, 0.42), "dark": Filament("x", "y", 12.0, 0.42),
            "forward": Junction("a", "c", 0.7, 0.05), "load": Conductor("c", "0", 100.0),
            "backward": Junction("0", "a", 0.7, 0.05), "gone": Filament("a", "0", 12.0, 1.0, 0.0),
            "open": Conductor("a", "x", 1.0, closed_when=()),
        },
        {}, "0", points=("nowhere",),
    )  # fmt: skip


def test_every_kind_of_branch_and_the_map_both_ways():
    circuit = everything()
    point = solve_point(circuit)
    text, way = twin_netlist(circuit, point)
    assert {line[0] for line in text.splitlines()} == {"R", "V"}
    assert set(way.elements) == set(circuit.branches) - {"gone", "open"}
    assert set(way.nodes) == {"0", "a", "b", "c", "x", "y"}
    assert way.nodes["0"] == 0
    assert len(set(way.nodes.values())) == len(way.nodes)
    assert all(way.branch_of[one] == key for key, listed in way.elements.items() for one in listed)
    assert list(way.ties.values()) == ["x"]
    named = {line.split()[0] for line in text.splitlines()}
    assert named == set(way.branch_of) | set(way.ties)
    check(circuit, point)
    exact = second_opinion(circuit, point)
    assert exact["amps"]["gone"] == exact["amps"]["open"] == exact["amps"]["dark"] == 0
    assert exact["volts"]["nowhere"] == 0


def test_a_circuit_without_branches():
    circuit = Circuit({}, {}, "0", points=("a",))
    assert second_opinion(circuit, solve_point(circuit)) == {"volts": {"0": 0, "a": 0}, "amps": {}}


# -- shipped tests ------------------------------------------------------------------------------


def close(one, other):
    return abs(one - other) <= max(1e-6, 1e-6 * abs(other))


def firmly_held(circuit: Circuit, point: OperatingPoint) -> set[str]:
    """Nodes that something more than a diode's leakage joins to the reference."""
    graph = circuit.graph(point.states)
    leaks = [
        (one.tail, one.head, key) for key, one in circuit.branches.items()
        if isinstance(one, Junction) and point.between(one.tail, one.head) <= one.drop
        and graph.has_edge(one.tail, one.head, key)
    ]  # fmt: skip
    graph.remove_edges_from(leaks)
    return set(nx.node_connected_component(graph, circuit.reference))


def check(circuit: Circuit, point: OperatingPoint) -> None:
    """lcapy agrees on every node and branch; its currents add up; the curves pass them."""
    found = second_opinion(circuit, point)
    left = dict.fromkeys(circuit.nodes, Fraction(0))
    for key, branch in circuit.branches.items():
        exact = found["amps"][key]
        assert close(point.amps[key], float(exact)), (key, point.amps[key], float(exact))
        left[branch.tail] += exact
        left[branch.head] -= exact
        if not isinstance(branch, Conductor | Source) and conducts(branch, point.states):
            volts = np.array(float(found["volts"][branch.tail] - found["volts"][branch.head]))
            passed, _ = branch.current_and_slope(np.array(branch.values), volts)
            assert close(float(passed), float(exact)), key
    assert not any(left.values())
    firm = firmly_held(circuit, point)
    for node, volts in point.volts.items():
        exact = float(found["volts"][node])
        # A diode's leakage is 1e-8 S beside joints of 1e3 S: what it alone holds is good to 1 mV.
        within = abs(volts - exact) < 1e-3 and node not in firm
        assert close(volts, exact) or within, (node, volts, exact)


@each_harness
def test_every_shipped_test_node_by_node(name):
    harness = load_harness(name)
    for test in harness.tests.values():
        circuit = build_circuit(harness, test.setup)
        check(circuit, solve_point(circuit))


@each_harness
def test_some_faults_node_by_node(name):
    """Twelve drawn faults at a drawn value, each in a drawn test; opens make the islands."""
    harness = load_harness(name)
    draw = random.Random(harness.name)
    for mode in draw.sample(lasting_faults(harness), 12):
        size = mode.severity
        fault = ChosenFault(mode, draw.uniform(size.low, size.high) if size else 0.0)
        test = harness.tests[draw.choice(list(harness.tests))]
        circuit = build_circuit(harness, test.setup)
        circuit = circuit.changed(combined([fault], circuit.branches, test.setup.swap))
        check(circuit, solve_point(circuit))


@each_harness
def test_second_opinion_on_readings_with_their_meters(name):
    """One drawn test sound, and one with a drawn fault: every measured reading, meter in place."""
    harness = load_harness(name)
    draw = random.Random(harness.name)
    faults = [find_fault(harness, draw.choice(lasting_faults(harness)).spec)]
    for given in ((), faults):
        test = draw.choice(list(harness.tests))
        rows = second_opinion_of_test(harness, test, given)
        measured = {
            key for key, one in harness.tests[test].observe.items()
            if one.kind in ("volts", "drop", "amps", "ohms")
        }  # fmt: skip
        assert {label for label, _, _ in rows} <= measured
        for label, ours, exact in rows:
            assert close(ours, exact), (test, label, ours, exact)
