"""Rows at full size side by side, and the bounds by which a round is told before anything is settled.

The expectation is the plain solver, one circuit at a time, which is itself held to lcapy and ngspice; of the
states the rule in words of ``solve/states.py``, one row at a time.
"""

import random
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from circuitcheck.circuit.build import build_circuit, lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.service import service_setups
from circuitcheck.physics.branch import Threshold
from circuitcheck.solve.abreast import Abreast
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.loom_batch import LoomBatch
from circuitcheck.solve.network import Network, Networks
from circuitcheck.solve.plain import solve_network
from circuitcheck.solve.point import branch_amps
from circuitcheck.solve.rounds import next_states
from circuitcheck.solve.states import next_states as in_words
from circuitcheck.solve.wiring import Limits, Wiring

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from big_loom import make

ROWS = 24


@cache
def drawn(seed):
    """A loom in use, some faults of it, and states drawn blindly: islands that float, relays anyhow."""
    harness = make(10, 3)
    circuit = build_circuit(harness, service_setups(harness)[1])
    draw = random.Random(seed)
    modes = draw.sample(lasting_faults(harness), ROWS - 1)
    chosen = [ChosenFault(one, one.severity.high if one.severity else 0.0) for one in modes]
    changes = [{}, *(combined([one], circuit.branches) for one in chosen)]
    states = np.random.default_rng(seed).random((ROWS, len(circuit.thresholds))) < 0.5
    return circuit, changes, states


def alone(circuit, change, states):
    """One row by the plain solver: its network and node volts."""
    named = dict(zip(circuit.thresholds, states.tolist(), strict=True))
    network = Network(Wiring(circuit.changed(change)), named)
    return network, solve_network(network)


@pytest.mark.parametrize("seed", [1, 2])
def test_each_row_comes_to_rest_as_it_does_alone(seed):
    circuit, changes, states = drawn(seed)
    networks = Networks(circuit)
    wiring = networks.wiring
    rows = np.arange(ROWS)
    abreast = Abreast(Changes.of(wiring, changes))
    points = abreast.points(rows, states, np.zeros((wiring.size, ROWS)))
    assert points.rested.all()
    for row, change in enumerate(changes):
        network, volts = alone(circuit, change, states[row])
        ends = network.wiring
        curves = dict(zip(ends.curve_keys, volts[ends.curve_tail] - volts[ends.curve_head], strict=True))
        mine = dict(zip(wiring.curve_keys, points.curves[row], strict=True))
        for key in curves.keys() & mine.keys():
            assert mine[key] == pytest.approx(curves[key], rel=1e-6, abs=1e-6), (row, key)
        amps = branch_amps(network, volts)
        for key, mine in zip(wiring.watched.keys, points.watched[row], strict=True):
            assert mine == pytest.approx(amps.get(key, 0.0), rel=1e-6, abs=1e-6), (row, key)


@pytest.mark.parametrize("near", [0, 2, 6])
@pytest.mark.parametrize("begins", ["at rest", "drawn"])
def test_no_current_is_off_by_more_than_what_is_said_to_be_left(near, begins):
    """Also none of the coils', whose bound is in volts; rows that say nothing of it are left out."""
    circuit, changes, states = drawn(3)
    first = np.array(list(circuit.initial_states().values()), dtype=bool)
    states = np.tile(first if begins == "at rest" else states[0], (ROWS, 1))
    networks = Networks(circuit)
    laid_out = Changes.of(networks.wiring, changes)
    batch = LoomBatch(networks.of(states[0]), laid_out, states, networks.wiring.ends([]), near)
    exact = Abreast(laid_out).points(np.arange(ROWS), states, np.zeros((networks.wiring.size, ROWS)))
    rows = np.flatnonzero(np.isfinite(batch.left[0]) & ~batch.delicate)
    off = np.abs(batch.watched_flow(rows) - exact.watched[rows]).T
    assert np.all(off <= batch.off(batch.left[:, rows]) + 1e-6)
    assert len(rows) > ROWS // 2
    if begins == "drawn" and not near:
        assert np.any(batch.left[0, rows] > 0.1)


AMPS = st.sampled_from([0.0, 0.05, 0.099, 0.1, 0.11, 0.2, 9.99, 10.0, 10.02, 14.0, 20.0])


@given(
    st.lists(st.booleans(), min_size=4, max_size=4),
    st.lists(AMPS, min_size=4, max_size=4),
    st.lists(st.floats(-1.0, 1.0), min_size=4, max_size=4),
    st.sampled_from([0.0, 0.005, 0.06, 3.0]),
)
def test_what_is_certain_of_states_holds_for_all_that_the_currents_may_be(was, amps, off, left):
    """Two relays and two fuses; the currents may be off by so much either way."""
    thresholds = {
        "K1": Threshold("w1", 0.1, 0.06),
        "K2": Threshold("w2", 0.2, 0.1),
        "F1": Threshold("w3", 10.0, 0.0, latching=True),
        "F2": Threshold("w4", 14.0, 0.0, latching=True),
    }
    every = thresholds.values()
    limits = Limits(
        np.arange(4),
        np.array([one.latching for one in every]),
        np.array([[one.on_amps] for one in every]),
        np.array([[one.off_amps] for one in every]),
    )
    states = np.array([was])
    told = next_states(limits, states, np.array([amps]), np.ones(1), np.full((1, 1), left))
    really = [max(0.0, one + left * share) for one, share in zip(amps, off, strict=True)]
    after = in_words(
        thresholds,
        dict(zip(thresholds, was, strict=True)),
        dict(zip(("w1", "w2", "w3", "w4"), really, strict=True)),
    )
    if told.sure[0]:
        assert told.states[0].tolist() == list(after.values())
        assert bool(told.stays[0]) is (list(after.values()) == was)
    if not left:
        assert told.sure[0]
