"""Circuits with more curves than are settled with every change: near ones in full, the others follow.

The expectation is the plain solver, which knows nothing of near and far and is itself held to lcapy and
ngspice.
"""

import random
import sys
from pathlib import Path

import numpy as np
import pytest
import test_sweep

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.solve import loom_sweep, network
from circuitcheck.solve.point import solve_point

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from big_loom import make

LOOM = make(10, 3)


@pytest.mark.parametrize(
    ("name", "test"),
    [("cabin-blower", "position-2"), ("twin-fan-module", "warm"), ("twin-fan-three-relays", "hot")],
)
def test_two_near_curves_are_enough_where_the_others_follow(name, test, monkeypatch):
    monkeypatch.setattr(network, "MANY_CURVES", 0)
    monkeypatch.setattr(loom_sweep, "NEAR", (1, 2))
    assert list(test_sweep.differences_at_nodes(name, test, "singles", 40)) == []
    assert list(test_sweep.differences_of_readings(name, test, "singles", 20)) == []


def off_one_by_one(bench, chosen):
    """What the sweep reads otherwise than the plain solver."""
    changes = [combined([one], bench.circuit.branches, bench.setup.swap) for one in chosen]
    values = bench.run(changes).values
    for station in bench.stations:
        for place, reader in station.readers:
            for row, change in enumerate(changes):
                circuit = station.circuit.changed(station.carried(change)).changed(reader.meter())
                point = solve_point(circuit)
                theirs = np.nan if point.buzzing else reader.value_at(circuit, point)
                if values[row, place] != pytest.approx(theirs, rel=1e-6, abs=1e-6, nan_ok=True):
                    yield chosen[row].spec, bench.observations[place][0], values[row, place], theirs


@pytest.mark.parametrize("test", list(LOOM.tests)[:6])
def test_a_whole_loom_equals_one_by_one(test):
    bench = bench_for(LOOM, LOOM.tests[test])
    assert len(bench.layouts[0].networks.wiring.curve_keys) > network.MANY_CURVES
    assert len(bench.layouts[0].networks.wiring.curve_keys) > max(loom_sweep.NEAR[:2])
    draw = random.Random(test)
    modes = draw.sample(lasting_faults(LOOM), 10)
    chosen = [ChosenFault(one, one.severity.typical if one.severity else 0.0) for one in modes]
    assert list(off_one_by_one(bench, chosen)) == []


@pytest.mark.parametrize("test", [one for one in LOOM.tests if one.startswith(("at-rest", "running"))])
def test_a_faulty_load_is_read_as_one_by_one_wherever_the_meter_is(test):
    """Also where nothing flows but what the meter lets through, at the fault's smallest and largest."""
    bench = bench_for(LOOM, LOOM.tests[test])
    looked_at = {point.partition(".")[0] for _, one in bench.observations for point in one.points}
    modes = [one for one in lasting_faults(LOOM) if one.where in looked_at - {"G1"}]
    chosen = [
        ChosenFault(one, value)
        for one in modes
        for value in ((one.severity.low, one.severity.high) if one.severity else (0.0,))
    ]
    assert list(off_one_by_one(bench, chosen[:40])) == []
