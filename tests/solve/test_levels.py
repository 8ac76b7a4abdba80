"""A large network, solved level by level, against numpy's dense solver."""

import numpy as np
import pytest

from circuitcheck.solve.levels import LevelElimination
from circuitcheck.solve.pattern import Pattern, Sums


def tree_with_loops(size, seed):
    """A random tree of a loom's kind, some loops in it, and here and there a way to the reference."""
    draw = np.random.default_rng(seed)
    tail = np.arange(1, size)
    head = draw.integers(np.maximum(tail - 30, 0), tail)
    loops = draw.integers(1, size, (2, size // 20))
    tail, head = np.concatenate([tail, loops[0]]), np.concatenate([head, loops[1]])
    return tail, head, draw.uniform(0.1, 10.0, len(tail))


def nodal(size, tail, head, siemens):
    """The nodal matrix without the reference, branch by branch (textbook)."""
    found = np.zeros((size, size))
    for one, other, value in zip(tail, head, siemens, strict=True):
        if one != other:
            found[one, one] += value
            found[other, other] += value
            found[one, other] -= value
            found[other, one] -= value
    return found[1:, 1:]


def eliminated(size, tail, head, siemens):
    pattern = Pattern(size, tail, head)
    return LevelElimination(pattern, Sums(pattern.places(tail, head), pattern.edges).of(siemens))


@pytest.mark.parametrize("columns", [1, 7])
@pytest.mark.parametrize("size", [2, 30, 501, 900])
def test_volts_are_those_of_the_nodal_matrix(size, columns):
    tail, head, siemens = tree_with_loops(size, size)
    amps = np.random.default_rng(1).normal(size=(size, columns))
    factors = eliminated(size, tail, head, siemens)
    wanted = np.linalg.solve(nodal(size, tail, head, siemens), amps[1:])
    found = factors.solve(amps)
    assert found[1:] == pytest.approx(wanted, rel=1e-9, abs=1e-9)
    assert np.all(found[0] == 0)
    assert factors.solve(amps[:, 0]) == pytest.approx(found[:, 0], rel=1e-12)


@pytest.mark.parametrize("size", [30, 501])
def test_resistances_are_those_of_the_inverse(size):
    """Along branches, to the reference, between any two nodes, and from one to many."""
    tail, head, siemens = tree_with_loops(size, size)
    draw = np.random.default_rng(2)
    pairs = np.concatenate(
        [
            np.stack([tail, head]),
            draw.integers(0, size, (2, 60)),
            np.stack([np.full(20, 7), draw.integers(0, size, 20)]),
        ],
        axis=1,
    )
    whole = np.zeros((size, size))
    whole[1:, 1:] = np.linalg.inv(nodal(size, tail, head, siemens))
    one, other = pairs
    wanted = whole[one, one] + whole[other, other] - 2 * whole[one, other]
    assert eliminated(size, tail, head, siemens).apart(one, other) == pytest.approx(
        wanted, rel=1e-9, abs=1e-12
    )


def test_an_island_is_tied_where_exactly_nothing_is_left():
    """Of a ring of five ohms that hangs on nothing: two fifths of six ohms from end to end, exactly as by
    hand, for currents that leave it again; and the same beside it in a row in which a branch holds it."""
    tail, head = np.array([1, 2, 3, 4, 5, 1]), np.array([2, 3, 4, 5, 1, 0])
    pattern = Pattern(6, tail, head)
    siemens = np.ones((6, 2))
    siemens[5] = 0.0, 1.0
    edges = Sums(pattern.places(tail, head), pattern.edges).of(siemens)
    amps = np.zeros((6, 2))
    amps[1], amps[3] = 1.0, -1.0
    volts = pattern.solve(pattern.factored(edges), amps)
    assert volts[1] - volts[3] == pytest.approx([1.2, 1.2], rel=1e-14)
    assert volts[1, 1] == pytest.approx(0.0, abs=1e-14)
