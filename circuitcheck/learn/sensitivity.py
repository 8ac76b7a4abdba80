"""What the answer hangs on most, from the symbolic derivatives of the steps.

When a resistance changes, the fans change speed and their back EMFs follow. Each back EMF stays on
its fan's own curve, ``Ke I = k (E / Ke)^2 + T0``, whose slope is ``dE/dI = Ke^3 / (2 k E)``; the
changes of all of them together are one small set of linear equations. A lamp is held at the
resistance that it has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from circuitcheck.learn.answer import Answer
from circuitcheck.learn.derive import Derivation
from circuitcheck.learn.elements import Element
from circuitcheck.learn.subject import Subject
from circuitcheck.physics.motor import FanMotor

STEP_OHM = 0.01
"""What a bad joint is told in [ohm]: ten milliohms at a time; a choice of presentation."""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How the answer follows one given value.

    :param share: per cent of the answer for one per cent of the value
    :param per_step: change of the answer for 10 mohm more, in its unit; None for what is no
        resistance
    """

    symbol: str
    words: str
    share: float
    per_step: float | None


def sensitivities(
    subject: Subject, found: Derivation, result: Answer, elements: list[Element]
) -> list[Sensitivity]:
    """The given values by how much the answer hangs on them, the most telling first."""
    sheet = found.sheet
    value = result.value
    if not value or value == float("inf"):
        return []
    motors = _motors(subject, found, elements)
    slopes = _followed(found, sheet.slopes(result.symbol), motors)
    rows = []
    for given in sheet.given.values():
        slope = slopes.get(given.symbol, 0.0)
        if given.symbol in motors or not slope:
            continue
        rows.append(
            Sensitivity(
                str(given.symbol),
                given.words,
                slope * float(given.value) / value,
                slope * STEP_OHM if given.unit == "ohm" else None,
            )
        )
    return sorted(rows, key=lambda row: -abs(row.share))


def _motors(
    subject: Subject, found: Derivation, elements: list[Element]
) -> dict[Any, tuple[Any, float]]:
    """For each back EMF that is given: the current of its motor, and dI/dE on its fan's curve."""
    motors = {}
    for one in elements:
        branch = subject.circuit.branches[one.members[0]]
        if not isinstance(branch, FanMotor) or not one.emf_name or one.emf_name not in found.sheet.given:
            continue
        symbol = found.sheet.given[one.emf_name].symbol
        current = found.amps[one.ohm_name] * (1 if one.emf > 0 else -1)
        size = float(found.sheet.values[symbol])
        motors[symbol] = (current, 2 * branch.fan * size / branch.back_emf**3)
    return motors


def _followed(
    found: Derivation, slopes: dict[Any, float], motors: dict[Any, tuple[Any, float]]
) -> dict[Any, float]:
    """Derivatives with every back EMF following its motor's current."""
    if not motors:
        return slopes
    order = list(motors)
    own = [found.sheet.slopes(current) for current, _ in motors.values()]
    stiff = np.array([[-row.get(other, 0.0) for other in order] for row in own])
    stiff += np.diag([slope for _, slope in motors.values()])
    by_emf = np.array([slopes.get(symbol, 0.0) for symbol in order])
    total = dict(slopes)
    for base in {base for row in own for base in row} - set(order):
        follow = np.linalg.solve(stiff, np.array([row.get(base, 0.0) for row in own]))
        total[base] = total.get(base, 0.0) + float(by_emf @ follow)
    return total
