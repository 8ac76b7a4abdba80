"""One circuit, one operating point: the plain full-size solver that all quicker ones must equal.

Its node volts are those of :mod:`.plain`, in one combination of states after the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Array
from circuitcheck.solve.network import Network
from circuitcheck.solve.plain import solve_network
from circuitcheck.solve.states import next_states
from circuitcheck.solve.wiring import Wiring


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
