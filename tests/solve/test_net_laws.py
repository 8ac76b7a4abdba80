"""Laws of networks of resistances, on nets drawn by seed, as the sweep says them.

``test_laws.py`` puts the laws to the plain solver. ``networkx.resistance_distance`` is an outside solver.
Sources: R. M. Foster (1949), B. D. H. Tellegen (1952), A. E. Kennelly (1899), P. G. Doyle and J. L. Snell,
*Random Walks and Electric Networks* (1984); from memory.
"""

import math
import random
from functools import cache

import networkx as nx
import numpy as np
import pytest
from nets import EXACT, by_sweep, circuit_of, swept

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source

each_net = pytest.mark.parametrize("seed", range(4))


@cache
def drawn(seed):
    """Edges of a connected net of 12 to 40 nodes, 10 mohm to 100 ohm; some of them are bridges."""
    draw = random.Random(f"net {seed}")
    size = draw.randint(12, 40)
    ends = [(node, draw.randrange(node)) for node in range(1, size)]
    ends += [tuple(draw.sample(range(size), 2)) for _ in range(draw.randint(3, size))]
    return [(a, b, 10.0 ** draw.uniform(-2.0, 2.0)) for a, b in ends]


def graph_of(edges, without=()):
    graph = nx.MultiGraph()
    graph.add_nodes_from(node for a, b, _ in edges for node in (a, b))
    graph.add_edges_from(
        (a, b, n, {"ohm": ohm}) for n, (a, b, ohm) in enumerate(edges) if n not in without
    )
    return graph


def other_solver(graph, a, b):
    """networkx's resistance between two nodes of a graph that may be in pieces."""
    if not nx.has_path(graph, a, b):
        return math.inf
    piece = graph.subgraph(nx.node_connected_component(graph, a))
    return nx.resistance_distance(piece, a, b, weight="ohm")


@each_net
def test_networkx_finds_the_same_with_any_branch_out(seed):
    edges = drawn(seed)
    draw = random.Random(seed)
    pairs = [edges[0][:2], tuple(draw.sample(range(12), 2))]
    opened = [{}, *({f"R{n}": None} for n in range(len(edges)))]
    found = by_sweep(edges, pairs, opened)
    for row, without in enumerate([(), *((n,) for n in range(len(edges)))]):
        graph = graph_of(edges, without)
        theirs = [other_solver(graph, *pair) for pair in pairs]
        assert found[row] == pytest.approx(theirs, rel=1e-9)


@each_net
def test_networkx_finds_the_same_with_two_branches_out(seed):
    edges, draw = drawn(seed), random.Random(seed)
    outs = [tuple(draw.sample(range(len(edges)), 2)) for _ in range(40)]
    found = by_sweep(edges, [(0, 1), (2, 11)], [{f"R{n}": None for n in out} for out in outs])
    for row, out in enumerate(outs):
        graph = graph_of(edges, out)
        theirs = [other_solver(graph, *pair) for pair in ((0, 1), (2, 11))]
        assert found[row] == pytest.approx(theirs, rel=1e-9)


@each_net
def test_foster(seed):
    """The sum of R_e / r_e over all branches is n - 1."""
    edges = drawn(seed)
    across = by_sweep(edges, [edge[:2] for edge in edges])[0]
    own = np.array([ohm for *_, ohm in edges])
    assert np.sum(across / own) == pytest.approx(len(graph_of(edges)) - 1, rel=EXACT)


@each_net
def test_a_branch_sees_its_own_resistance_only_where_it_is_a_bridge(seed):
    """g_e R_e is 1 for a bridge, and below 1 by g_rest / (g_e + g_rest) for any other branch."""
    edges = drawn(seed)
    graph = graph_of(edges)
    across = by_sweep(edges, [edge[:2] for edge in edges])[0]
    bridges = {frozenset(edge) for edge in nx.bridges(nx.Graph(graph))}
    for n, (a, b, ohm) in enumerate(edges):
        share = across[n] / ohm
        if frozenset((a, b)) in bridges and graph.number_of_edges(a, b) == 1:
            assert share == pytest.approx(1.0, rel=EXACT)
        else:
            rest = 1 / other_solver(graph_of(edges, (n,)), a, b)
            assert 1 - share == pytest.approx(rest / (1 / ohm + rest), rel=1e-9, abs=1e-14)


@each_net
def test_reciprocity(seed):
    """What an ampere at one pair of nodes does at another, the other does at the one."""
    edges = drawn(seed)
    pairs = [edge[:2] for edge in edges]
    raised = [{f"R{n}": Conductor(str(a), str(b), 30 * ohm)} for n, (a, b, ohm) in enumerate(edges)]
    batch = swept(circuit_of(edges), raised, pairs)
    z = batch.transfer(batch.probe_ports, batch.probe_ports, np.arange(len(batch)))
    largest = np.sqrt(batch.probe_ohms[:, :, None] * batch.probe_ohms[:, None, :])
    assert np.max(np.abs(z - z.transpose(0, 2, 1)) / largest) < EXACT


@each_net
def test_rayleigh(seed):
    """Raising any resistance never lowers that between any two nodes."""
    edges = drawn(seed)
    pairs = [edge[:2] for edge in edges]
    factors = np.geomspace(1.0, 1e5, 11)
    for n, (a, b, ohm) in enumerate(edges):
        rising = [{f"R{n}": Conductor(str(a), str(b), ohm * factor)} for factor in factors]
        found = by_sweep(edges, pairs, [*rising, {f"R{n}": None}])
        assert np.all(found[1:] >= found[:-1] * (1 - EXACT))


@each_net
def test_star_and_delta(seed):
    """Kennelly: a star of a, b, c is a delta of ab, bc, ca over the third plus both."""
    edges, draw = drawn(seed), random.Random(seed)
    size = len(graph_of(edges))
    corners = draw.sample(range(size), 3)
    a, b, c = (10.0 ** draw.uniform(-2.0, 2.0) for _ in corners)
    star = [(corner, size, ohm) for corner, ohm in zip(corners, (a, b, c), strict=True)]
    whole = a * b + b * c + c * a
    delta = [
        (corners[0], corners[1], whole / c),
        (corners[1], corners[2], whole / a),
        (corners[2], corners[0], whole / b),
    ]
    pairs = [(one, other) for one in range(size) for other in range(one)]
    assert by_sweep(edges + star, pairs)[0] == pytest.approx(
        by_sweep(edges + delta, pairs)[0], rel=1e-11
    )


def with_sources(seed):
    """A drawn net with three batteries, and the pairs of nodes of all its branches."""
    edges, draw = drawn(seed), random.Random(seed)
    batteries = {
        f"G{n}": Source(
            *map(str, draw.sample(range(12), 2)), draw.uniform(-14.0, 14.0), draw.uniform(0.01, 1.0)
        )
        for n in range(3)
    }
    circuit = Circuit({**circuit_of(edges).branches, **batteries}, {}, "0")
    return circuit, [(one.tail, one.head) for one in circuit.branches.values()]


@each_net
def test_superposition(seed):
    """Each battery alone, the others without emf, adds up to all of them."""
    circuit, pairs = with_sources(seed)
    names = [key for key in circuit.branches if key.startswith("G")]
    silent = {
        key: Source(one.tail, one.head, 0.0, one.ohm)
        for key, one in circuit.branches.items()
        if key in names
    }
    alone = [{key: silent[key] for key in names if key != kept} for kept in names]
    volts = swept(circuit, [{}, *alone], pairs).probe_volts
    assert volts[1:].sum(axis=0) == pytest.approx(volts[0], rel=1e-11, abs=1e-11)


@each_net
def test_tellegen(seed):
    """Volts of one network and currents of another on the same graph have no power together."""
    circuit, pairs = with_sources(seed)
    keys = [key for key in circuit.branches if key.startswith("R")]
    changes = [
        {},
        *({key: Conductor(circuit.branches[key].tail, circuit.branches[key].head, 7.0)} for key in keys),
    ]
    volts = swept(circuit, changes, pairs).probe_volts
    amps = np.empty_like(volts)
    for row, change in enumerate(changes):
        branches = circuit.changed(change).branches.values()
        amps[row] = [
            (across - getattr(one, "emf", 0.0)) / one.ohm
            for across, one in zip(volts[row], branches, strict=True)
        ]
    together = volts @ amps.T
    # An ampere through 10 mohm is read off the last digits of 10 V: three digits fewer than elsewhere.
    assert np.max(np.abs(together) / (np.abs(volts) @ np.abs(amps).T)) < 1e-10
