"""Where the fan's line and the motor's line cross.

Seen from the motor's terminals the rest of the circuit is an emf E behind a resistance (Thevenin),
so that the torque the motor offers falls in a straight line with its speed,
``Ke (E - Ke w) / (R + Rm)``; what the fan takes rises, ``k w^2 + T0`` (sources in
:mod:`circuitcheck.physics.motor`). They cross once.
"""

from __future__ import annotations

from dataclasses import dataclass

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.motor import RPM, FanMotor
from circuitcheck.solve.point import OperatingPoint


@dataclass(frozen=True, slots=True)
class Crossing:
    """The running point of one motor.

    :param emf: of the rest of the circuit, seen from the motor [V]
    :param ohm: of the rest of the circuit, seen from the motor [ohm]
    :param stall: torque if it were held [N m]
    :param free: speed at which the motor would offer no torque any more [rpm]
    :param torque: at the crossing [N m]
    """

    motor: str
    emf: float
    ohm: float
    stall: float
    free: float
    rpm: float
    torque: float
    amps: float
    back_emf: float


def motors_of(circuit: Circuit, point: OperatingPoint) -> dict[str, FanMotor]:
    """The motors that current can pass, by their branch."""
    return {
        key: one
        for key, one in circuit.branches.items()
        if isinstance(one, FanMotor) and one.strength > 0 and abs(point.amps[key]) > 1e-6
    }


def crossing(key: str, motor: FanMotor, emf: float, ohm: float, rad: float) -> Crossing:
    """The lines of a motor behind a Thevenin source and their crossing at a speed [rad/s]."""
    whole = ohm + motor.resistance
    amps = (abs(emf) - motor.back_emf * rad) / whole
    return Crossing(
        key.partition(":")[0],
        abs(emf),
        ohm,
        motor.back_emf * abs(emf) / whole,
        abs(emf) / motor.back_emf / RPM if motor.back_emf else 0.0,
        rad / RPM,
        motor.back_emf * amps,
        amps,
        motor.back_emf * rad,
    )
