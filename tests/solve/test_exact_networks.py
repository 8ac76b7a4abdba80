"""Networks of resistances whose answers are known exactly, and laws that such networks obey.

Three ways are put to them: the plain solver, the sweep (which sees a network from its ports, and must
say the same of a network that it has made out of another by a change), and lcapy in exact fractions.
``networkx.resistance_distance`` is an outside solver for drawn networks.

Sources of the values: corners of the five solids side by side, (2/d)(1 - 1/n), with a proof: IBM "Ponder
This", October 2007; the others as exact fractions in F. J. van Steenwijk, Am. J. Phys. 66, 90 (1998),
worked out again in fractions. Infinite square grid: D. Atkinson, F. J. van Steenwijk, Am. J. Phys. 67,
486 (1999); J. Cserti, Am. J. Phys. 68, 896 (2000); OEIS A355565. Laws: R. M. Foster (1949), B. D. H.
Tellegen (1952), A. E. Kennelly (1899), P. G. Doyle and J. L. Snell, *Random Walks and Electric Networks*
(1984); from memory.
"""

import math
import random
from fractions import Fraction
from functools import cache
from math import comb

import networkx as nx
import numpy as np
import pytest

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


def swept(circuit, changes, pairs):
    """The batch of all changes, in their order, probed between pairs of nodes."""
    probes = [(str(a), str(b)) for a, b in pairs]
    networks = Networks(circuit)
    settled = settle(networks, Changes.of(networks.wiring, changes), probes)
    (group,) = settled.groups
    assert group.rows.tolist() == group.local.tolist() == list(range(len(changes)))
    return group.batch


def by_sweep(edges, pairs, changes=({},)):
    """Ohms between pairs of nodes under each change (changes, pairs); infinite where nothing joins them."""
    batch = swept(circuit_of(edges), list(changes), pairs)
    return np.where(batch.probe_cut, np.inf, batch.probe_ohms)


# -- published values -----------------------------------------------------------------------------

BY_DISTANCE = {
    "tetrahedron": (nx.tetrahedral_graph(), ["1/2"]),
    "cube": (nx.cubical_graph(), ["7/12", "3/4", "5/6"]),
    "octahedron": (nx.octahedral_graph(), ["5/12", "1/2"]),
    "icosahedron": (nx.icosahedral_graph(), ["11/30", "7/15", "1/2"]),
    "dodecahedron": (nx.dodecahedral_graph(), ["19/30", "9/10", "16/15", "17/15", "7/6"]),
}
each_solid = pytest.mark.parametrize("name", BY_DISTANCE)


@each_solid
def test_solids_by_distance(name):
    graph, expected = BY_DISTANCE[name]
    away = nx.single_source_shortest_path_length(graph, 0)
    for distance, value in enumerate(expected, 1):
        end = next(node for node, steps in away.items() if steps == distance)
        assert by_lcapy(unit_edges(graph), 0, end) == Fraction(value)
        assert by_point(unit_edges(graph), 0, end) == pytest.approx(float(Fraction(value)), rel=EXACT)


@each_solid
def test_every_pair_of_corners_in_one_sweep(name):
    graph, expected = BY_DISTANCE[name]
    away = dict(nx.all_pairs_shortest_path_length(graph))
    pairs = [(a, b) for a in graph for b in graph if a < b]
    values = [float(Fraction(expected[away[a][b] - 1])) for a, b in pairs]
    assert by_sweep(unit_edges(graph), pairs)[0] == pytest.approx(values, rel=EXACT)


@each_solid
def test_an_edge_of_a_solid_taken_out(name):
    """All edges are alike: what is left beside an edge of 1 ohm is R in parallel with it, R / (1 - R)."""
    graph, expected = BY_DISTANCE[name]
    edges, whole = unit_edges(graph), Fraction(expected[0])
    opened = [{f"R{n}": None} for n in range(len(edges))]
    found = by_sweep(edges, [edge[:2] for edge in edges], opened)
    assert np.diag(found) == pytest.approx(float(whole / (1 - whole)), rel=EXACT)


@pytest.mark.parametrize("name", ["octahedron", "cube"])
def test_a_solid_made_of_a_complete_graph(name):
    """One change takes the other edges out of K_n: three and sixteen."""
    graph, expected = BY_DISTANCE[name]
    full = unit_edges(nx.complete_graph(len(graph)))
    over = {f"R{n}": None for n, (a, b, _) in enumerate(full) if not graph.has_edge(a, b)}
    away = nx.single_source_shortest_path_length(graph, 0)
    values = [float(Fraction(expected[away[end] - 1])) for end in range(1, len(graph))]
    found = by_sweep(full, [(0, end) for end in range(1, len(graph))], [over])
    assert found[0] == pytest.approx(values, rel=1e-11)


NAMED = {
    "complete graph of 7": (unit_edges(nx.complete_graph(7)), 0, 3, "2/7"),
    "complete graph of 40": (unit_edges(nx.complete_graph(40)), 0, 3, "2/40"),
    "ring of 8, 3 apart": (unit_edges(nx.cycle_graph(8)), 0, 3, "15/8"),
    "ring of 100, 37 apart": (unit_edges(nx.cycle_graph(100)), 0, 37, "2331/100"),
    "unbalanced bridge": (
        [(0, 1, 1.0), (0, 2, 2.0), (1, 3, 3.0), (2, 3, 4.0), (1, 2, 5.0)], 0, 3, "170/71",
    ),
    "3-cube, side by side": (unit_edges(nx.hypercube_graph(3)), 0, 1, "7/12"),
    "4-cube, side by side": (unit_edges(nx.hypercube_graph(4)), 0, 1, "15/32"),
    "5-cube, side by side": (unit_edges(nx.hypercube_graph(5)), 0, 1, "31/80"),
    **{f"{d}-cube, opposite": (unit_edges(nx.hypercube_graph(d)), 0, 2**d - 1, value)
       for d, value in zip((2, 3, 4, 5), ("1", "5/6", "2/3", "8/15"), strict=True)},
    **{f"ladder of {n} sections": (
        [*((k, k + 1, 1.0) for k in range(n)), *((k + 1, n + 1, 1.0) for k in range(n))], 0, n + 1, value)
       for n, value in {1: "2", 2: "5/3", 3: "13/8", 5: "89/55", 10: "10946/6765"}.items()},
}  # fmt: skip


@pytest.mark.parametrize("name", NAMED)
def test_named_networks(name):
    edges, start, end, value = NAMED[name]
    expected = Fraction(value)
    if len(edges) < 200:  # 780 edges take lcapy a while
        assert by_lcapy(edges, start, end) == expected
    assert by_point(edges, start, end) == pytest.approx(float(expected), rel=EXACT)
    assert by_sweep(edges, [(start, end)])[0, 0] == pytest.approx(float(expected), rel=EXACT)


@pytest.mark.parametrize("d", range(2, 9))
def test_opposite_corners_of_a_cube_by_the_published_sum(d):
    expected = sum(Fraction(1, (d - k) * comb(d, k)) for k in range(d))
    edges = unit_edges(nx.hypercube_graph(d))
    assert by_point(edges, 0, 2**d - 1) == pytest.approx(float(expected), rel=EXACT)
    assert by_sweep(edges, [(0, 2**d - 1)])[0, 0] == pytest.approx(float(expected), rel=EXACT)


# -- the square grid ------------------------------------------------------------------------------

INFINITE = {
    (1, 0): 1 / 2, (1, 1): 2 / math.pi, (2, 0): 2 - 4 / math.pi, (2, 1): 4 / math.pi - 1 / 2,
    (3, 0): 17 / 2 - 24 / math.pi, (2, 2): 8 / (3 * math.pi),
}  # fmt: skip
"""Ohms from a node of the infinite grid of unit resistors to another (columns, rows) away."""
SIZES = (21, 41)


@cache
def grid(size):
    """Ohms from the centre of a grid of size x size nodes, in the order of ``INFINITE``."""
    centre = size // 2
    edges = [((x, y), (x + 1, y), 1.0) for x in range(size - 1) for y in range(size)]
    edges += [((x, y), (x, y + 1), 1.0) for x in range(size) for y in range(size - 1)]
    ends = [(centre + x, centre + y) for x, y in INFINITE]
    return by_sweep(edges, [((centre, centre), end) for end in ends])[0]


def folded_grid(size):
    """Ohms from the centre to the next node: the half on either side of their row is the same, and
    nodes of equal volts can be joined."""
    centre = size // 2
    edges = [((x, y), (x + 1, y), 0.5 if y else 1.0) for x in range(size - 1) for y in range(centre + 1)]
    edges += [((x, y), (x, y + 1), 0.5) for x in range(size) for y in range(centre)]
    return by_point(edges, (centre + 1, 0), (centre, 0))


def test_finite_grids_by_their_published_error():
    """Fourfold smaller for twice the size; the digits printed are two."""
    errors = {size: folded_grid(size) - 0.5 for size in (41, 81)}
    assert errors[41] == pytest.approx(3.3e-4, abs=0.05e-4)
    assert errors[81] == pytest.approx(8.3e-5, abs=0.05e-5)
    assert errors[41] / errors[81] == pytest.approx(4.0, abs=0.1)


def test_a_folded_grid_is_the_grid():
    assert folded_grid(41) == pytest.approx(grid(41)[0], rel=EXACT)


def test_error_of_the_finite_grid_falls_with_the_square_of_its_size():
    small, large = (grid(size) - np.array(list(INFINITE.values())) for size in SIZES)
    slope = np.log(small / large) / math.log(SIZES[1] / SIZES[0])
    assert slope == pytest.approx(2.0, abs=0.06)


def test_infinite_grid_as_the_limit_of_two_finite_ones():
    """What is left when the error that falls with the square is taken off."""
    small, large = (grid(size) * size**2 for size in SIZES)
    limit = (large - small) / (SIZES[1] ** 2 - SIZES[0] ** 2)
    assert limit == pytest.approx(list(INFINITE.values()), abs=2e-4)


# -- drawn networks -------------------------------------------------------------------------------

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
    graph.add_edges_from((a, b, n, {"ohm": ohm}) for n, (a, b, ohm) in enumerate(edges) if n not in without)
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
    z = batch.transfer(batch.probe_ports, batch.probe_ports)
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
    delta = [(corners[0], corners[1], whole / c), (corners[1], corners[2], whole / a),
             (corners[2], corners[0], whole / b)]  # fmt: skip
    pairs = [(one, other) for one in range(size) for other in range(one)]
    assert by_sweep(edges + star, pairs)[0] == pytest.approx(by_sweep(edges + delta, pairs)[0], rel=1e-11)


def with_sources(seed):
    """A drawn net with three batteries, and the pairs of nodes of all its branches."""
    edges, draw = drawn(seed), random.Random(seed)
    batteries = {
        f"G{n}": Source(*map(str, draw.sample(range(12), 2)), draw.uniform(-14.0, 14.0), draw.uniform(0.01, 1.0))
        for n in range(3)
    }
    circuit = Circuit({**circuit_of(edges).branches, **batteries}, {}, "0")
    return circuit, [(one.tail, one.head) for one in circuit.branches.values()]


@each_net
def test_superposition(seed):
    """Each battery alone, the others without emf, adds up to all of them."""
    circuit, pairs = with_sources(seed)
    names = [key for key in circuit.branches if key.startswith("G")]
    silent = {key: Source(one.tail, one.head, 0.0, one.ohm)
              for key, one in circuit.branches.items() if key in names}  # fmt: skip
    alone = [{key: silent[key] for key in names if key != kept} for kept in names]
    volts = swept(circuit, [{}, *alone], pairs).probe_volts
    assert volts[1:].sum(axis=0) == pytest.approx(volts[0], rel=1e-11, abs=1e-11)


@each_net
def test_tellegen(seed):
    """Volts of one network and currents of another on the same graph have no power together."""
    circuit, pairs = with_sources(seed)
    keys = [key for key in circuit.branches if key.startswith("R")]
    changes = [{}, *({key: Conductor(circuit.branches[key].tail, circuit.branches[key].head, 7.0)} for key in keys)]
    volts = swept(circuit, changes, pairs).probe_volts
    amps = np.empty_like(volts)
    for row, change in enumerate(changes):
        branches = circuit.changed(change).branches.values()
        amps[row] = [(across - getattr(one, "emf", 0.0)) / one.ohm
                     for across, one in zip(volts[row], branches, strict=True)]  # fmt: skip
    together = volts @ amps.T
    # An ampere through 10 mohm is read off the last digits of 10 V: three digits fewer than elsewhere.
    assert np.max(np.abs(together) / (np.abs(volts) @ np.abs(amps).T)) < 1e-10
