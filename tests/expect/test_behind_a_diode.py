"""A voltmeter on a wire that a diode alone still joins to the battery: taken with many faults at once."""

import pytest

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined, find_fault
from circuitcheck.expect.expected import bench_for
from circuitcheck.harness.load import load_harness
from circuitcheck.physics.diode import LEAKAGE
from circuitcheck.solve.point import solve_point


@pytest.fixture(scope="module")
def bench():
    """Fans at rest: the relay's coil, a diode across it, and the wire to the open switch."""
    harness = load_harness("twin-fan-three-relays")
    return bench_for(harness, harness.tests["cold"])


def low_line(bench):
    """The place of the reading among those of the test, and its meter."""
    place = [name for name, _ in bench.observations].index("low-line")
    (reader,) = (one for station in bench.stations for at, one in station.readers if at == place)
    return place, reader


def faults_of(bench):
    return [
        ChosenFault(one, one.severity.typical if one.severity else 0.0)
        for one in lasting_faults(bench.harness)
    ]


def test_an_open_coil_leaves_the_leakage_to_divide_with_the_meter(bench):
    """Ohm's law: what leaks through the diode, 0.1 microampere at 10 V, goes through the meter.

    Wires and joints are less than a hundred-millionth of these hundred megohms.
    """
    place, _ = low_line(bench)
    change = combined([find_fault(bench.harness, "K1 coil open")], bench.circuit.branches)
    supply = bench.harness.supply.running
    meter = 1 / bench.harness.meter_ohm
    found = bench.run([change]).values[0, place]
    assert found == pytest.approx(supply * LEAKAGE / (LEAKAGE + meter), rel=1e-6)


def test_pairs_with_an_open_coil_read_as_the_plain_solver_says(bench):
    """Every fault beside it, those that leave the wire to the diode alone among them."""
    place, reader = low_line(bench)
    opened = find_fault(bench.harness, "K1 coil open")
    changes = [
        combined([opened, one], bench.circuit.branches)
        for one in faults_of(bench)
        if not one.mode.where.startswith("K1 coil")
    ]
    found = bench.run(changes).values[:, place]
    for change, read in list(zip(changes, found, strict=True))[::9]:
        point = solve_point(bench.circuit.changed({**change, **reader.meter()}))
        assert read == pytest.approx(point.between(reader.tail, reader.head), rel=1e-6, abs=1e-6)


def test_it_is_the_meter_that_pulls_the_wire_down(bench):
    """Nothing flows without it, and the wire stays at the battery's volts."""
    _, reader = low_line(bench)
    change = combined([find_fault(bench.harness, "K1 coil open")], bench.circuit.branches)
    bare = solve_point(bench.circuit.changed(change))
    assert bare.between(reader.tail, reader.head) > 0.9 * bench.harness.supply.running
