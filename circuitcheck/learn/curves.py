"""The numbers behind the pictures: how speed, current and volts run; no drawing here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.harness.model import Harness
from circuitcheck.learn.fan import Crossing
from circuitcheck.learn.subject import SUPPLY, Subject, plain_circuit
from circuitcheck.learn.way import Leg, strongest_way
from circuitcheck.physics.branch import Array, Branch, Conductor, Source
from circuitcheck.physics.motor import RPM, FanMotor
from circuitcheck.solve.point import OperatingPoint, solve_point

POINTS = 41
"""Points of a curve; a choice of presentation."""
ALIKE = 0.02
"""Running points nearer than this share are one and the same crossing; a choice of presentation."""


@dataclass(frozen=True)
class Run:
    """Speed and current of each motor as one value changes.

    :param at: the value, in the unit of ``label``
    :param present: the value that the description has
    :param rpm: for each motor its speed at each value [rpm]
    :param amps: the same for its current [A]
    """

    label: str
    at: Array
    present: float
    rpm: dict[str, Array]
    amps: dict[str, Array]


@dataclass(frozen=True)
class Stairs:
    """Volts against battery minus at each node of the way of the current.

    :param nodes: in the order the current passes them
    :param sound: [V]
    :param faulty: [V]; NaN where nothing holds the node
    """

    nodes: tuple[str, ...]
    sound: Array
    faulty: Array | None


def against_supply(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = (), top: float = 1.3
) -> Run:
    """Each motor's speed and current as the battery's emf goes from nothing to ``top`` times its own.

    :raises ValueError: if no battery is connected or no motor stands in a circuit
    """
    circuit = plain_circuit(harness, test, faults)
    emf = max((one.emf for one in circuit.branches.values() if isinstance(one, Source)), default=0.0)
    if not emf:
        raise ValueError(f"test '{test}' has no battery connected: there is no supply to change")
    shares = np.linspace(0.0, top, POINTS)
    circuits = [_with_emf(circuit, float(share)) for share in shares]
    return _run("battery emf in V", shares * emf, emf, circuits)


def _with_emf(circuit: Circuit, share: float) -> Circuit:
    return circuit.changed(
        {
            key: replace(one, emf=one.emf * share)
            for key, one in circuit.branches.items()
            if isinstance(one, Source)
        }
    )


def against_resistor(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = (), top: float = 4.0
) -> Run:
    """Each motor's speed and current as the series resistors go from a tenth to ``top`` times theirs.

    All resistors that carry a share of the current change together.

    :raises ValueError: if no series resistor carries current in this test
    """
    circuit = plain_circuit(harness, test, faults)
    point = solve_point(circuit)
    most = max((abs(amps) for amps in point.amps.values()), default=0.0)
    found = {
        key: one
        for name, part in harness.parts.items()
        if part.kind_name == "resistor"
        for key in (f"{name}:element",)
        if isinstance(one := circuit.branches.get(key), Conductor)
        and abs(point.amps[key]) > max(0.02 * most, 1e-6)
    }
    if not found:
        raise ValueError(f"no series resistor carries current in test '{test}'")
    first = next(iter(found.values())).ohm
    names = " and ".join(key.partition(":")[0] for key in found)
    shares = np.linspace(0.1, top, POINTS)
    circuits = []
    for share in shares:
        change: dict[str, Branch | None] = {
            key: replace(one, ohm=one.ohm * float(share)) for key, one in found.items()
        }
        circuits.append(circuit.changed(change))
    return _run(f"{names} in ohm", shares * first, first, circuits)


def _run(label: str, at: Array, present: float, circuits: Sequence[Circuit]) -> Run:
    motors = [
        key
        for key, one in circuits[0].branches.items()
        if isinstance(one, FanMotor) and one.strength > 0
    ]
    if not motors:
        raise ValueError("there is no motor in this circuit whose speed could be drawn")
    points = [solve_point(one) for one in circuits]
    rpm, amps = {}, {}
    for key in motors:
        name = key.partition(":")[0]
        solved = zip(circuits, points, strict=True)
        rpm[name] = np.array([speed(one, point, key) for one, point in solved])
        amps[name] = np.array([abs(point.amps[key]) for point in points])
    return Run(label, at, present, rpm, amps)


def speed(circuit: Circuit, point: OperatingPoint, key: str) -> float:
    """Speed of a motor at an operating point [rpm]."""
    motor = circuit.branches[key]
    assert isinstance(motor, FanMotor)
    volts = np.array(point.between(motor.tail, motor.head))
    return abs(float(FanMotor.speed(np.array(motor.values), volts))) / RPM


def running_points(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = ()
) -> tuple[FanMotor, list[tuple[str, Crossing]]]:
    """Where the first motor of a test runs in that test, and in the harness's others: low and high.

    Tests that run it at the same speed are told once.

    :raises ValueError: if no motor runs in this test
    """
    mine = _crossings_of(harness, test, faults)
    if not mine:
        raise ValueError(f"no motor carries current in test '{test}'")
    key = f"{mine[0].motor}:motor"
    motor = plain_circuit(harness, test, faults).branches[key]
    assert isinstance(motor, FanMotor)
    found = [(test, mine[0])]
    for other in harness.tests:
        for one in _crossings_of(harness, other, faults):
            new = all(abs(one.rpm - seen.rpm) > ALIKE * seen.rpm for _, seen in found)
            if one.motor == mine[0].motor and new:
                found.append((other, one))
    return motor, found


def _crossings_of(harness: Harness, test: str, faults: Sequence[ChosenFault]) -> tuple[Crossing, ...]:
    from circuitcheck.learn.explanation import crossings  # noqa: PLC0415  (sympy, not for all pictures)

    circuit = plain_circuit(harness, test, faults)
    point = solve_point(circuit)
    if point.buzzing:
        return ()
    return crossings(
        Subject(harness, test, tuple(faults), None, SUPPLY, circuit, point, "", None, frozenset())
    )


def stairs(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = (), through: str | None = None
) -> Stairs:
    """Volts at each node from battery plus to battery minus, sound and with the faults.

    :param through: branch or node that the way should pass; else the way of the first faulty part
        that carries current in the sound circuit, else the strongest
    :raises ValueError: if no current flows in this test when sound
    """
    circuit = plain_circuit(harness, test)
    point = solve_point(circuit)
    broken = plain_circuit(harness, test, faults) if faults else None
    wanted = [through] if through else _altered(circuit, broken)
    ways = ((one, strongest_way(circuit, point, one)) for one in wanted)
    legs = next((way for one, way in ways if _touches(way, one)), strongest_way(circuit, point))
    if not legs:
        raise ValueError(f"no current flows in test '{test}' of the sound circuit")
    nodes = (legs[0].start, *(leg.end for leg in legs))
    faulty = None
    if broken is not None:
        after = solve_point(broken)
        faulty = np.array([np.nan if one in after.floating else after.volts[one] for one in nodes])
    return Stairs(nodes, np.array([point.volts[one] for one in nodes]), faulty)


def _altered(circuit: Circuit, broken: Circuit | None) -> list[str]:
    """Branches that a fault has changed or taken out."""
    after = broken.branches if broken else circuit.branches
    return [key for key, one in circuit.branches.items() if after.get(key) != one]


def _touches(legs: Sequence[Leg], wanted: str) -> bool:
    return any(wanted in (leg.key, leg.start, leg.end) for leg in legs)
