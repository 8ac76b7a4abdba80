"""Every two faults of a harness at once, against the plain solver with each meter in place by itself.

``solve_point`` sets up one changed circuit and knows nothing of runs, ports or rows put together.
"""

import random
from pathlib import Path

import numpy as np
import pytest

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.pairs import every_pair, sweep_pairs
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.load import load_harness
from circuitcheck.solve.point import solve_point

BENCH = Path(__file__).parents[1] / "data" / "bench.yaml"
SAMPLE = 30


def typical(harness):
    return [
        ChosenFault(one, one.severity.typical if one.severity else 0.0)
        for one in lasting_faults(harness)
    ]


def one_by_one(harness, test, faults):
    """What each instrument of a test shows, in place by itself."""
    bench = bench_for(harness, harness.tests[test])
    (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    change = combined(faults, bench.circuit.branches, bench.setup.swap)
    found = np.empty(len(bench.observations))
    for station in bench.stations:
        for place, reader in station.readers:
            circuit = station.circuit.changed(station.carried(change)).changed(reader.meter())
            point = solve_point(circuit.after(blown - bench.renewed))
            found[place] = np.nan if point.buzzing else reader.value_at(circuit, point)
    return found


def adds(faults):
    """Whether one of two faults adds a branch, which may end anywhere."""
    return any("short to" in one.mode.spec for one in faults)


@pytest.mark.parametrize(
    ("name", "test"),
    [
        ("cabin-blower", "position-1"),
        ("first-fan", "switch-bridged"),
        ("twin-fan-switch", "low-at-the-plug"),
        (str(BENCH), "high-at-the-plug"),
    ],
)
@pytest.mark.parametrize("shorts", [False, True])
def test_every_two_faults(name, test, shorts):
    """Also where one ends in the middle of the run of wires that the other is in."""
    harness = load_harness(name)
    faults = typical(harness)
    pairs, values = sweep_pairs(harness, [test])
    kinds = [row for row, pair in enumerate(pairs.tolist()) if adds([faults[n] for n in pair]) == shorts]
    for row in random.Random(f"{Path(name).stem} {test}").sample(kinds, SAMPLE):
        both = [faults[number] for number in pairs[row]]
        wanted = one_by_one(harness, test, both)
        np.testing.assert_allclose(
            values[test][row], wanted, rtol=1e-6, atol=2e-5, err_msg=" + ".join(f.spec for f in both)
        )


def test_two_faults_of_one_part_are_no_pair():
    harness = load_harness("first-fan")
    faults = typical(harness)
    pairs = every_pair(faults)
    parts = [one.mode.where for one in faults]
    assert all(parts[one] != parts[other] for one, other in pairs.tolist())
    equal = sum(parts.count(part) * (parts.count(part) - 1) // 2 for part in set(parts))
    assert len(pairs) == len(faults) * (len(faults) - 1) // 2 - equal
