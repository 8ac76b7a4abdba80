"""The currents that findings rest on, against ngspice: locked, starting, shorted and broken circuits."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from circuitcheck.harness.load import load_harness
from circuitcheck.inspect.design import Design
from circuitcheck.parts.fault import CHASSIS, bridge
from circuitcheck.physics.motor import FanMotor
from circuitcheck.shipped import harness_files
from circuitcheck.solve.deck import Look, circuit_deck

sys.path.append(str(Path(__file__).parents[1] / "solve"))
from simulator import simulate_all

HARNESSES = sorted(harness_files())


def cases(design):
    """Scenes that rules look at: by name, with the branches that they read."""
    wires = list(design.harness.wires)
    found = {"full": design.full}
    for number, scene in enumerate(design.starting):
        found[f"starting {number}"] = scene
    for motor, pairs in design.locked.items():
        for number, (_, held) in enumerate(pairs):
            found[f"{motor} locked {number}"] = held
    for wire in wires[1::6]:
        change = bridge("inspect", design.harness.wires[wire].end, CHASSIS)(
            design.full.circuit.branches, 0
        )
        found[f"{wire} shorted"] = design.with_change(design.full, change)
    for number, (spec, sound, after) in list(enumerate(design.broken))[::40]:
        # The scene may be that of a break elsewhere in the same run: the simulator gets this one.
        branches = sound.circuit.branches
        broken = sound.circuit.changed(design.faults[spec].change(branches, 0.0))
        found[f"{spec} in {number}"] = replace(after, circuit=broken)
    return found, wires


@pytest.mark.parametrize("name", HARNESSES)
def test_the_simulator_finds_the_same_currents(name):
    design = Design(load_harness(name))
    scenes, wires = cases(design)
    decks = {
        label: circuit_deck(
            label, [], [Look(wire, "amps", scene.circuit, scene.point, key=wire) for wire in wires]
        )
        for label, scene in scenes.items()
    }
    wrong = []
    for label, found in simulate_all(decks).items():
        for wire in wires:
            ours, theirs = scenes[label].amps(wire), found[wire]  # a clamp shows the size
            if abs(ours - theirs) > 1e-3 * max(abs(theirs), 1.0):
                wrong.append((label, wire, ours, theirs))
    assert len(decks) >= 8
    assert not wrong


def test_a_locked_motor_is_but_its_winding():
    """No back EMF: the current is volts over the 0.17 ohm of the file."""
    design = Design(load_harness("first-fan"))
    ((_, held),) = design.locked["M1"][:1]
    motor = held.circuit.branches["M1:motor"]
    assert isinstance(motor, FanMotor)
    volts = held.point.between(motor.tail, motor.head)
    assert held.amps("M1:motor") == pytest.approx(volts / 0.17)
    assert motor == replace(motor, back_emf=0.0)
