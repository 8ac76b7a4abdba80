"""A large network, solved level by level, against numpy's dense solver."""

import numpy as np
import pytest

from circuitcheck.solve.elimination import Elimination


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


@pytest.mark.parametrize("columns", [1, 7])
@pytest.mark.parametrize("size", [499, 501, 900])
def test_volts_are_those_of_the_nodal_matrix(size, columns):
    tail, head, siemens = tree_with_loops(size, size)
    amps = np.random.default_rng(1).normal(size=(size, columns))
    factors = Elimination(size, tail, head, siemens, np.zeros(0, dtype=np.intp), 1.0)
    wanted = np.linalg.solve(nodal(size, tail, head, siemens), amps[1:])
    found = factors.solve(amps)
    assert found[1:] == pytest.approx(wanted, rel=1e-9, abs=1e-9)
    assert np.all(found[0] == 0)
    assert factors.solve(amps[:, 0]) == pytest.approx(found[:, 0], rel=1e-12)
