"""Why a fan turns under a hand as it does: no circuit has a part in it."""

from __future__ import annotations

import math

from circuitcheck.expect.expected import scale_factor
from circuitcheck.learn.subject import Subject
from circuitcheck.learn.written import quantity
from circuitcheck.physics.motor import HELD, FanMotor


def hand_torque(subject: Subject) -> float | None:
    """The torque that turns it [N m]; infinite where the shaft is held."""
    return math.inf if subject.value == HELD else subject.value


def turned_by_hand(subject: Subject) -> tuple[str, ...]:
    """What the hand works against, in sentences."""
    assert subject.observe is not None
    observation = subject.harness.tests[subject.test].observe[subject.observe]
    (name,) = observation.points
    motor = subject.circuit.branches[f"{name}:motor"]
    assert isinstance(motor, FanMotor)
    sound = quantity(scale_factor(subject.harness, observation), "N m")
    first = (
        "No current is in it: a hand turns the fan against the friction of brushes and bearings alone, "
        f"T0 = {sound} in a sound {name}. Slowly, that is: the back EMF is next to nothing then."
    )
    if motor.wheel < 1.0:
        return first, f"The fan slips on the shaft of {name}: the hand does not feel the motor at all."
    if not motor.back_emf:
        return first, f"The shaft of {name} is held: it gives way to no hand."
    times = motor.friction / scale_factor(subject.harness, observation)
    here = f"Here it is {quantity(motor.friction, 'N m')}, {times:.3g} times that."
    return (first,) if abs(times - 1.0) < 1e-9 else (first, here)
