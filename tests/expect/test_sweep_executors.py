"""The sweep of all tests, on other processes and on a cluster: the same to the last bit.

The expectation is the serial run; that one equals the plain solver, see tests/solve/test_sweep.py.
"""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest

import circuitcheck
from circuitcheck.errors import UnknownName
from circuitcheck.expect.sweep import sweep

HARNESS = circuitcheck.load("first-fan").harness
TESTS = list(HARNESS.tests)[:2]


@pytest.fixture(scope="module")
def serial():
    return sweep(HARNESS, TESTS, magnitudes=3)


def assert_same(found, serial):
    assert [one.test for one in found] == [one.test for one in serial] == TESTS
    for ours, theirs in zip(found, serial, strict=True):
        assert ours.readings == theirs.readings
        assert np.array_equal(ours.fault, theirs.fault)
        assert np.array_equal(ours.value, theirs.value)
        assert np.array_equal(ours.values, theirs.values, equal_nan=True)


def test_a_pool_of_processes(serial):
    told = []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = sweep(
            HARNESS,
            TESTS,
            magnitudes=3,
            executor=pool,
            progress=lambda done, of: told.append((done, of)),
        )
    assert_same(found, serial)
    assert told == [(1, 2), (2, 2)]


def test_a_cluster(serial):
    from distributed import Client, LocalCluster

    with (
        LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        assert_same(sweep(HARNESS, TESTS, magnitudes=3, executor=client.get_executor()), serial)


def test_pieces_change_nothing_but_the_digits_of_rounding(serial):
    """Rows solved in other company: no more than the last digits move."""
    for ours, theirs in zip(sweep(HARNESS, TESTS, magnitudes=3, pieces=3), serial, strict=True):
        assert np.array_equal(ours.fault, theirs.fault)
        assert np.array_equal(np.isfinite(ours.values), np.isfinite(theirs.values))
        finite = np.isfinite(theirs.values)
        assert np.allclose(ours.values[finite], theirs.values[finite], rtol=1e-9, atol=1e-9)


def test_some_faults_by_name(serial):
    names = ["F1 blown", "M1 seized"]
    (found,) = sweep(HARNESS, TESTS[:1], names, magnitudes=3)
    for number in np.unique(found.fault):
        mine = serial[0].values[serial[0].fault == number]
        assert np.allclose(found.values[found.fault == number], mine, rtol=1e-9, atol=1e-9)


def test_a_name_that_is_not_there():
    with pytest.raises(UnknownName, match="no fault 'F1 bloown'; nearest: F1 blown"):
        sweep(HARNESS, TESTS, ["F1 bloown"])
    with pytest.raises(UnknownName, match="no test"):
        sweep(HARNESS, ["nowhere"])
