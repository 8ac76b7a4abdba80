"""One circuit, one operating point: the plain full-size solver that all quicker ones must equal.

The node volts minimise the circuit's co-content, a convex function, because no branch carries less
current for more volts (W. Millar, *Some general theorems for non-linear systems possessing
resistance*, Phil. Mag. 42, 1951; from memory). Newton's method with a line search on its slope
therefore finds the one operating point from any start.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Array
from circuitcheck.solve.network import REFERENCE, TIE_SIEMENS, Network
from circuitcheck.solve.states import next_states
from circuitcheck.solve.wiring import Wiring

_ROUNDS = 200
_AMPS_LEFT = 1e-9
"""Largest current that may be unaccounted for at a node [A]; sets the end of the iteration."""
_VOLTS_LEFT = 1e-11
"""A step smaller than this changes nothing any more [V]: milliohms beside megohms leave no digits."""


@dataclass(frozen=True)
class OperatingPoint:
    """What a circuit does.

    :param volts: of each node against the reference [V]; of floating islands, against one of
        their own nodes
    :param amps: through each branch from tail to head [A]
    :param states: of each threshold
    :param floating: nodes that nothing joins to the reference
    :param buzzing: thresholds that never come to rest; the rest is then the last look
    """

    volts: Mapping[str, float]
    amps: Mapping[str, float]
    states: Mapping[str, bool]
    floating: frozenset[str]
    buzzing: tuple[str, ...] = ()

    def between(self, tail: str, head: str) -> float:
        """Volts from one node to another [V]."""
        return self.volts[tail] - self.volts[head]


def solve_point(circuit: Circuit, start: Array | None = None) -> OperatingPoint:
    """Find the operating point, states and all, from the states the circuit begins in.

    :param start: node volts to begin from, in the order of ``circuit.nodes``; any will do
    """
    states = circuit.initial_states()
    wiring = Wiring(circuit)
    seen: list[dict[str, bool]] = []
    while True:
        network = Network(wiring, states)
        volts = start = solve_network(network, start)
        amps = branch_amps(network, volts)
        seen.append(states)
        states = next_states(circuit.thresholds, states, amps)
        if states == seen[-1]:
            return _point(network, volts, amps, ())
        if states in seen:
            ring = seen[seen.index(states) :]
            moving = tuple(name for name in states if len({one[name] for one in ring}) > 1)
            return _point(network, volts, amps, moving)


def solve_network(network: Network, start: Array | None = None) -> Array:
    """Node volts (n,) of a network in fixed states."""
    volts = np.zeros(network.wiring.size) if start is None else np.array(start, dtype=float)
    volts[REFERENCE] = 0.0
    for _ in range(_ROUNDS):
        residual, slope = _residual(network, volts)
        # One step beyond what is asked for: a node held by leakage alone moves far for little current.
        done = bool(np.max(np.abs(residual), initial=0.0) < _AMPS_LEFT)
        step = network.factors(np.maximum(slope, 1e-9)).solve(-residual)
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
        (wiring.tail, wiring.head, linear), (wiring.curve_tail, wiring.curve_head, current)
    ):  # fmt: skip
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


def branch_amps(network: Network, volts: Array) -> dict[str, float]:
    """Current of every branch [A]."""
    wiring = network.wiring
    across = volts[wiring.tail] - volts[wiring.head] - wiring.emf
    found = dict(zip(wiring.keys, (network.siemens * across).tolist(), strict=True))
    current, _ = network.curve_currents(volts[wiring.curve_tail] - volts[wiring.curve_head])
    return found | dict(zip(wiring.curve_keys, current.tolist(), strict=True))


def _point(
    network: Network, volts: Array, amps: Mapping[str, float], buzzing: tuple[str, ...]
) -> OperatingPoint:
    floating = frozenset(
        node for node, number in network.wiring.index.items() if network.island[number] != 0
    )
    named = dict(zip(network.wiring.index, volts.tolist(), strict=True))
    return OperatingPoint(named, amps, network.states, floating, buzzing)
