"""Node volts of one network in fixed states, at full size and with all its curves at once.

They minimise the circuit's co-content, a convex function, because no branch carries less current for
more volts (W. Millar, *Some general theorems for non-linear systems possessing resistance*, Phil. Mag.
42, 1951; from memory). Newton's method with a line search on its slope therefore finds the one
operating point from any start.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import REFERENCE, TIE_SIEMENS

if TYPE_CHECKING:
    from circuitcheck.solve.network import Network

_ROUNDS = 200
_AMPS_LEFT = 1e-9
"""Largest current that may be unaccounted for at a node [A]; sets the end of the iteration."""
_VOLTS_LEFT = 1e-11
"""A step smaller than this changes nothing any more [V]: milliohms beside megohms leave no digits."""
_LEAST = 1e-9
"""Slope that a curve is given at the least in a step, if it conducts at all [S]."""


def solve_network(network: Network, start: Array | None = None) -> Array:
    """Node volts (n,) of a network in fixed states."""
    volts = np.zeros(network.wiring.size) if start is None else np.array(start, dtype=float)
    volts[REFERENCE] = 0.0
    conducts = network.wiring.curve_conducts
    for _ in range(_ROUNDS):
        residual, slope = _residual(network, volts)
        # One step beyond what is asked for: a node held by leakage alone moves far for little current.
        done = bool(np.max(np.abs(residual), initial=0.0) < _AMPS_LEFT)
        step = network.factors(np.where(conducts, np.maximum(slope, _LEAST), 0.0)).solve(-residual)
        move = _line_search(network, volts, step) * step
        volts = volts + move
        done |= bool(np.max(np.abs(move), initial=0.0) < _VOLTS_LEFT)
        if done:
            break
    return volts


def _residual(network: Network, volts: Array) -> tuple[Array, Array]:
    """Current missing at each node [A], branch by branch, and the slopes of the curves [S].

    A product with the nodal matrix would lose a leak beside milliohms in the sum of a row.
    """
    wiring = network.wiring
    linear = network.siemens * (volts[wiring.tail] - volts[wiring.head] - wiring.emf)
    current, slope = network.curve_currents(volts[wiring.curve_tail] - volts[wiring.curve_head])
    residual = np.zeros(wiring.size)
    for tail, head, amps in (
        (wiring.tail, wiring.head, linear),
        (wiring.curve_tail, wiring.curve_head, current),
    ):
        residual += np.bincount(tail, amps, wiring.size)
        residual -= np.bincount(head, amps, wiring.size)
    residual[network.tied] += TIE_SIEMENS * volts[network.tied]
    residual[REFERENCE] = 0.0
    return residual, slope


def _line_search(network: Network, volts: Array, step: Array) -> float:
    """How far to go along a step: to where the co-content stops falling, or nearly."""

    def fall(share: float) -> float:
        return float(step @ _residual(network, volts + share * step)[0])

    first = fall(0.0)
    if abs(fall(1.0)) <= 0.5 * abs(first):
        return 1.0
    low, high = 0.0, 1.0
    while fall(high) < 0 and high < 64:
        low, high = high, 2 * high
    for _ in range(40):
        middle = 0.5 * (low + high)
        at_middle = fall(middle)
        if abs(at_middle) <= 0.1 * abs(first):
            return middle
        low, high = (middle, high) if at_middle < 0 else (low, middle)
    return 0.5 * (low + high)
