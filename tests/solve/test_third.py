"""The readings in which sweep and plain solver have differed most, by a third: mpmath in fifty digits.

What is left of a battery's volts behind an open pin with a leak, a meter or a share of ground to hold it is
where digits are lost. The cases are the worst of ``tests/benchmarks/exactness.py`` on each harness.
"""

from functools import cache
from pathlib import Path

import pytest
from mpmath import mp, mpf
from nets import circuit_of
from test_sweep import OWN, harness_of, single_faults, title
from third import DIGITS, one_reading, third_opinion, third_reading

from circuitcheck.circuit.chosen import combined
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.physics.branch import Source
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.twin import second_opinion

WANTED = 1e-9
"""What the sweep may be off, relative to the reading."""
ALONE = 2e-10
"""The same of the plain solver: amperes out of volts at both ends of a wire lose most, elsewhere it has 1e-15."""
DEAD = 1e-12
"""What a meter may be told where nothing is [V]."""

CASES = [
    ("cabin-blower", "feed-at-motor", "X10.2 open", "feed"),
    ("cabin-blower", "feed-at-motor", "W31 short to ground + X3.2 open", "feed"),
    ("cabin-blower", "feed-at-motor", "K1 coil open + W21 open", "before-fuse"),
    ("twin-fan-module", "cold", "X14.2 open", "low-request"),
    ("twin-fan-module", "cold", "A1.15 open", "low-request"),
    ("twin-fan-module", "hot", "F1 blown + W16 short to supply", "across-relay"),
    ("first-fan", "fan-direct", "X8.2 open", "amps"),
    ("twin-fan-three-relays", "cold", "W13 short to ground + W42 high resistance=100 ohm", "left-plus"),
    ("twin-fan-switch", "high-at-the-plug", "W34 high resistance=100 ohm + W24 open", "left-amps"),
    (OWN[0], "high-at-the-plug", "E0 open", "ground"),
]
NOTHING = [
    (OWN[0], "high-at-the-plug", "M1 open + E0 open", "ground"),
    (OWN[0], "high-at-the-plug", "M1 open", "ground"),
]


@cache
def by_spec(name):
    return {title(case): case[0] for case in single_faults(name)[1:]}


def case_of(name, spec):
    return tuple(by_spec(name)[one] for one in spec.split(" + "))


def swept(name, test, case, label):
    """One reading of a sweep that also has the sound circuit in it."""
    harness = harness_of(name)
    bench = bench_for(harness, harness.tests[test])
    changes = [{}, combined(case, bench.circuit.branches, bench.setup.swap)]
    (blown,) = blown_in_service(harness, [lambda branches: combined(case, branches)])
    run = bench.run(changes, blown=[frozenset(), blown])
    return run.values[1, [one for one, _ in bench.observations].index(label)]


@pytest.mark.parametrize(
    ("name", "test", "spec", "label"), CASES, ids=[f"{Path(a).stem}-{b}-{c}" for a, b, c, _ in CASES]
)
def test_nine_digits_of_what_is_left(name, test, spec, label):
    case = case_of(name, spec)
    wanted = third_reading(harness_of(name), test, case, label)
    circuit, reader = one_reading(harness_of(name), test, case, label)
    assert abs(wanted) > 1e-3, "a meter shows it"
    assert reader.value_at(circuit, solve_point(circuit)) == pytest.approx(wanted, rel=ALONE)
    assert swept(name, test, case, label) == pytest.approx(wanted, rel=WANTED)


@pytest.mark.parametrize(("name", "test", "spec", "label"), NOTHING, ids=[one[2] for one in NOTHING])
def test_nothing_is_read_of_what_nothing_joins(name, test, spec, label):
    """An open motor has no leak: a meter alone holds what it parts from the battery."""
    case = case_of(name, spec)
    circuit, reader = one_reading(harness_of(name), test, case, label)
    assert abs(third_reading(harness_of(name), test, case, label)) < 1e-30
    assert abs(reader.value_at(circuit, solve_point(circuit))) < DEAD
    assert abs(swept(name, test, case, label)) < DEAD


def test_the_third_is_that_of_exact_fractions():
    """On an unbalanced bridge, lcapy's; both have all digits."""
    made = circuit_of([(0, 1, 1.0), (1, 2, 2e-3), (0, 2, 3.0), (1, 3, 4e6), (2, 3, 0.05), (3, 0, 6.0)])
    circuit = Circuit({**made.branches, "G": Source("1", "0", 12.6, 0.012)}, {}, "0")
    point = solve_point(circuit)
    exact, third = second_opinion(circuit, point)["volts"], third_opinion(circuit, point).volts
    with mp.workdps(DIGITS):
        for node, volts in exact.items():
            assert abs(third[node] - mpf(volts.numerator) / volts.denominator) < 1e-40
