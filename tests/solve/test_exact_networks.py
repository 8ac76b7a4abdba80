"""Networks of resistances whose answers are known exactly.

Put to the plain solver, to lcapy in exact fractions, and to the sweep, which sees a network from its
ports and must say the same of a network that it has made out of another by a change.

Sources of the values: corners of the five solids side by side, (2/d)(1 - 1/n), with a proof: IBM "Ponder
This", October 2007; the others as exact fractions in F. J. van Steenwijk, Am. J. Phys. 66, 90 (1998),
worked out again in fractions. Infinite square grid: D. Atkinson, F. J. van Steenwijk, Am. J. Phys. 67,
486 (1999); J. Cserti, Am. J. Phys. 68, 896 (2000); OEIS A355565.
"""

import math
from fractions import Fraction
from functools import cache
from math import comb

import networkx as nx
import numpy as np
import pytest
from nets import EXACT, by_lcapy, by_point, by_sweep, unit_edges

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
        [(0, 1, 1.0), (0, 2, 2.0), (1, 3, 3.0), (2, 3, 4.0), (1, 2, 5.0)],
        0,
        3,
        "170/71",
    ),
    "3-cube, side by side": (unit_edges(nx.hypercube_graph(3)), 0, 1, "7/12"),
    "4-cube, side by side": (unit_edges(nx.hypercube_graph(4)), 0, 1, "15/32"),
    "5-cube, side by side": (unit_edges(nx.hypercube_graph(5)), 0, 1, "31/80"),
    **{
        f"{d}-cube, opposite": (unit_edges(nx.hypercube_graph(d)), 0, 2**d - 1, value)
        for d, value in zip((2, 3, 4, 5), ("1", "5/6", "2/3", "8/15"), strict=True)
    },
    **{
        f"ladder of {n} sections": (
            [*((k, k + 1, 1.0) for k in range(n)), *((k + 1, n + 1, 1.0) for k in range(n))],
            0,
            n + 1,
            value,
        )
        for n, value in {1: "2", 2: "5/3", 3: "13/8", 5: "89/55", 10: "10946/6765"}.items()
    },
}


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
    (1, 0): 1 / 2,
    (1, 1): 2 / math.pi,
    (2, 0): 2 - 4 / math.pi,
    (2, 1): 4 / math.pi - 1 / 2,
    (3, 0): 17 / 2 - 24 / math.pi,
    (2, 2): 8 / (3 * math.pi),
}
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
    """Fourfold smaller for twice the size. Two digits of each, computed apart from this code."""
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
