"""All resistances of a network at once, backwards through its elimination, against networkx.

``networkx.resistance_distance`` inverts the Laplacian and knows nothing of the elimination; where
milliohms lie beside megohms it loses digits itself, and the way through the elimination pair by pair is
compared instead.
"""

import random

import networkx as nx
import numpy as np
import pytest

from circuitcheck.solve.elimination import Elimination


def drawn(seed, nodes, low, high):
    """A connected network, nearly a tree, with resistances over some range [ohm]."""
    draw = random.Random(seed)
    pairs = [(node, draw.randrange(max(0, node - 6), node)) for node in range(1, nodes)]
    pairs += [tuple(draw.sample(range(nodes), 2)) for _ in range(nodes // 4)]
    return [(one, other, low * (high / low) ** draw.random()) for one, other in pairs]


def factored(edges, nodes):
    tail, head, ohm = (np.array(one) for one in zip(*edges, strict=True))
    return Elimination(nodes, tail, head, 1 / ohm, np.zeros(0, dtype=np.intp), 1.0)


def apart_by_networkx(edges):
    """Resistance between any two nodes, by an outside library."""
    graph = nx.MultiGraph()
    graph.add_weighted_edges_from(edges)
    return nx.resistance_distance(graph, weight="weight", invert_weight=True)


def pairs_of(nodes):
    tail, head = np.triu_indices(nodes, 1)
    return tail.astype(np.intp), head.astype(np.intp)


@pytest.mark.parametrize("seed", range(4))
def test_every_pair_as_networkx_has_it(seed):
    nodes = 30
    edges = drawn(seed, nodes, 0.1, 10.0)
    theirs = apart_by_networkx(edges)
    tail, head = pairs_of(nodes)
    ours = factored(edges, nodes).apart(tail, head)
    for one, other, ohm in zip(tail.tolist(), head.tolist(), ours.tolist(), strict=True):
        assert ohm == pytest.approx(theirs[one][other], rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_milliohms_beside_megohms_keep_their_digits(seed):
    nodes = 40
    elimination = factored(drawn(seed, nodes, 1e-3, 1e6), nodes)
    tail, head = pairs_of(nodes)
    ours = elimination.apart(tail, head)
    pair_by_pair = [
        elimination.own(one, other) for one, other in zip(tail.tolist(), head.tolist(), strict=True)
    ]
    assert np.allclose(ours, pair_by_pair, rtol=1e-9, atol=0.0)


def from_pair_to_pair(elimination, tail, head):
    passed = elimination.passed(tail, head)
    return elimination.between(passed, passed)


@pytest.mark.parametrize("seed", range(4))
def test_from_pair_to_pair_as_networkx_has_it(seed):
    nodes = 12
    edges = drawn(seed, nodes, 0.1, 10.0)
    theirs = apart_by_networkx(edges)
    tail, head = pairs_of(nodes)
    far = np.array([[theirs[one][other] for other in range(nodes)] for one in range(nodes)])
    # Four resistances tell what an ampere through one pair does at another (superposition).
    a, b, c, d = tail[:, None], head[:, None], tail[None], head[None]
    wanted = 0.5 * (far[a, d] + far[b, c] - far[a, c] - far[b, d])
    ours = from_pair_to_pair(factored(edges, nodes), tail, head)
    assert np.allclose(ours, wanted, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_all_pairs_at_once_keep_their_digits_too(seed):
    nodes = 40
    elimination = factored(drawn(seed, nodes, 1e-3, 1e6), nodes)
    tail, head = pairs_of(nodes)
    ours = from_pair_to_pair(elimination, tail, head).diagonal()
    pair_by_pair = [
        elimination.own(one, other) for one, other in zip(tail.tolist(), head.tolist(), strict=True)
    ]
    assert np.allclose(ours, pair_by_pair, rtol=1e-9, atol=0.0)


def test_a_network_of_the_reference_alone_has_no_pairs():
    none = np.zeros(0, dtype=np.intp)
    assert from_pair_to_pair(Elimination(1, none, none, np.zeros(0), none, 1.0), none, none).shape == (
        0,
        0,
    )
