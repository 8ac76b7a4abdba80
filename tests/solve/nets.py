"""Networks of resistances put to the plain solver, to the sweep, and to lcapy in exact fractions."""

import networkx as nx
import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.sweep import settle
from circuitcheck.solve.twin import second_opinion

EXACT = 1e-12
"""Relative error allowed where nothing is ill-conditioned."""


def circuit_of(edges):
    """Conductors ``R0``, ``R1``, ... from ``(node, node, ohm)``; the first node is the reference."""
    branches = {f"R{n}": Conductor(str(a), str(b), ohm) for n, (a, b, ohm) in enumerate(edges)}
    return Circuit(branches, {}, str(edges[0][0]))


def unit_edges(graph):
    graph = nx.convert_node_labels_to_integers(graph, ordering="sorted")
    return [(a, b, 1.0) for a, b in graph.edges]


def probed(edges, start, end):
    """The network with 1 V behind 1 ohm between two nodes."""
    made = circuit_of(edges)
    return Circuit({**made.branches, "probe": Source(str(start), str(end), 1.0, 1.0)}, {}, str(end))


def by_point(edges, start, end):
    """Ohms between two nodes by the plain solver."""
    point = solve_point(probed(edges, start, end))
    return point.between(str(start), str(end)) / -point.amps["probe"]


def by_lcapy(edges, start, end):
    """The same as an exact fraction."""
    circuit = probed(edges, start, end)
    found = second_opinion(circuit, solve_point(circuit))
    return found["volts"][str(start)] / -found["amps"]["probe"]


def settled(circuit, changes, pairs):
    """The sweep of some changes, probed between pairs of nodes."""
    probes = [(str(a), str(b)) for a, b in pairs]
    networks = Networks(circuit)
    return settle(networks, Changes.of(networks.wiring, changes), probes)


def swept(circuit, changes, pairs):
    """The batch of all changes, in their order; none may be handed over."""
    (group,) = settled(circuit, changes, pairs).groups
    assert group.rows.tolist() == group.local.tolist() == list(range(len(changes)))
    return group.batch


def by_sweep(edges, pairs, changes=({},)):
    """Ohms between pairs of nodes under each change (changes, pairs); infinite where nothing joins them."""
    batch = swept(circuit_of(edges), list(changes), pairs)
    return np.where(batch.probe_cut, np.inf, batch.probe_ohms)
