"""Faults put together row by row read as the same faults combined into one change each.

A change by itself is held against the plain solver in ``tests/solve/test_sweep.py``.
"""

import numpy as np
import pytest

from circuitcheck.circuit.chosen import ChosenFault, combined, find_fault
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.together import Together
from circuitcheck.harness.load import load_harness

OHMS = np.array([0.1, 0.5, 5.0])


@pytest.fixture(scope="module")
def bench():
    harness = load_harness("first-fan")
    return bench_for(harness, next(iter(harness.tests.values())))


def fault(bench, spec, values=None):
    found = find_fault(bench.harness, spec)
    return ChosenFault(found.mode, found.value if values is None else values)


def read(bench, trials):
    """Readings of trials put together, one after the other (rows, readings)."""
    counts = [max((np.size(one.value) for one in faults), default=1) for faults in trials]
    together = Together(trials, counts).on(bench.circuit.branches, bench.setup.swap)
    run = bench.run(together.changes, together.counts, together=together.rows)
    return together, run.values


def read_alone(bench, faults):
    """The same of one trial, a single change."""
    change = combined(faults, bench.circuit.branches, bench.setup.swap)
    return bench.run([change], [max((np.size(one.value) for one in faults), default=1)]).values


def test_sound_single_pair_and_three_faults(bench):
    bad_ground = fault(bench, "E2 high resistance", OHMS)
    worn, thin = fault(bench, "M1 stiff=3"), fault(bench, "E1 high resistance=0.3 ohm")
    trials = [[], [bad_ground], [worn, bad_ground], [bad_ground, thin], [worn, thin, bad_ground], [worn]]
    together, values = read(bench, trials)
    alone = np.concatenate([read_alone(bench, one) for one in trials])
    np.testing.assert_allclose(values, alone, rtol=1e-9, atol=1e-9)
    assert len(together.changes) < len(trials) + 1  # the ground is laid out once for three trials


def test_a_curve_that_several_rows_share(bench):
    """One fault with three limits of the fuses, none of which blows: the same reading three times."""
    worn = fault(bench, "M1 stiff=3")
    together, _ = read(bench, [[worn]] * 3)
    run = bench.run(
        together.changes, together.counts, fuses=np.array([0.8, 1.0, 1.3]), together=together.rows
    )
    assert len(together.changes) == 1
    assert np.any(np.abs(run.values[0] - read_alone(bench, [])[0]) > 1e-3)
    np.testing.assert_allclose(run.values, np.tile(read_alone(bench, [worn]), (3, 1)), rtol=1e-9)


def test_two_faults_of_one_branch_act_one_after_the_other(bench):
    pair = [fault(bench, "E2 high resistance=0.3 ohm"), fault(bench, "E2 high resistance=0.5 ohm")]
    together, values = read(bench, [pair])
    assert np.all(together.rows[:, 1] < 0)
    np.testing.assert_allclose(values, read_alone(bench, pair), rtol=1e-9)
    np.testing.assert_allclose(
        values, read_alone(bench, [fault(bench, "E2 high resistance=0.8 ohm")]), rtol=1e-6
    )
