"""The generator of large looms makes looms that load, are sound by design, and solve."""

from functools import cache

import big_loom
import exactness
import loom_tests
import pytest

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.harness.load import parse_harness
from circuitcheck.harness.write import to_yaml
from circuitcheck.inspect.inspection import all_rules, inspect_harness
from circuitcheck.inspect.rule import Severity
from circuitcheck.solve.point import solve_point


@cache
def loom():
    return big_loom.make(10, 3)


def test_it_can_be_written_and_read_again():
    assert parse_harness(to_yaml(loom()), name=loom().name) == loom()


def test_the_seed_says_which():
    assert big_loom.make(10, 3) == loom()
    assert big_loom.make(10, 4) != loom()


@pytest.mark.parametrize(
    ("circuits", "least", "most"), [(7, 90, 110), (80, 900, 1100), (960, 19_000, 22_000)]
)
def test_wires_by_circuits(circuits, least, most):
    assert least <= len(big_loom.describe(circuits, 1)["wires"]) <= most


def test_it_has_every_kind_of_circuit_and_twenty_tests():
    kinds = {part.kind_name for part in loom().parts.values()}
    assert kinds >= {"motor", "lamp", "relay", "switch", "thermoswitch", "splice", "plug", "ground"}
    assert len(loom().tests) == loom_tests.TESTS == 20


def test_no_design_rule_finds_anything_serious():
    """``sneak-path`` is left out: every break in every position of every switch, ten seconds."""
    rules = [
        one.id for one in all_rules() if one.severity is Severity.serious and one.id != "sneak-path"
    ]
    assert inspect_harness(big_loom.make(3, 1), rules=rules).counts()["serious"] == 0


@pytest.mark.parametrize("test", loom().tests)
def test_currents_sum_to_zero_at_every_node(test):
    """Kirchhoff's first law, at an operating point with no fuse blown and no relay buzzing."""
    circuit = build_circuit(loom(), loom().tests[test].setup)
    point = solve_point(circuit)
    left = dict.fromkeys(circuit.nodes, 0.0)
    for key, branch in circuit.branches.items():
        left[branch.tail] += point.amps[key]
        left[branch.head] -= point.amps[key]
    assert max(map(abs, left.values())) < 1e-8
    assert not point.buzzing
    assert not [name for name, on in point.states.items() if on and name.endswith("blown")]


@pytest.mark.parametrize("test", loom().tests)
def test_what_a_test_turns_on_is_on(test):
    """A sound circuit has amperes where the test looks for them, and ohms that are no open line."""
    bench = bench_for(loom(), loom().tests[test])
    (values,) = bench.run([{}]).values
    for (label, observation), value in zip(bench.observations, values.tolist(), strict=True):
        if observation.kind == "amps" and label != "amps-beside":
            assert value > 0.3
        if observation.kind == "ohms":
            assert 0 < value < 30


def test_faults_are_drawn_at_places_of_their_own():
    chosen = big_loom.some_faults(loom(), 50, 1)
    assert len({one.where for one in chosen}) == 50
    assert [one.spec for one in big_loom.some_faults(loom(), 50, 1)] == [one.spec for one in chosen]


@cache
def small():
    return big_loom.make(4, 2)


@pytest.mark.parametrize("test", list(small().tests)[:6])
def test_the_sweep_reads_what_one_by_one_reads(test):
    """To 2e-5 of the reading or of the smallest that a meter shows: where a meter alone holds a part,
    one by one leaves some nanovolts of rounding. ``exactness.py`` looks at the shipped harnesses."""
    bench = bench_for(small(), small().tests[test])
    faults = [
        ChosenFault(one, one.severity.typical if one.severity else 0.0)
        for one in big_loom.some_faults(small(), 6, 1)
    ]
    changes = [{}, *(combined([one], bench.circuit.branches, bench.setup.swap) for one in faults)]
    swept = bench.run(changes).values
    alone = exactness.one_by_one(bench, changes, [frozenset()] * len(changes))
    for place, (label, observation) in enumerate(bench.observations):
        for row in range(len(changes)):
            off = exactness.off_by(observation.kind, swept[row, place], alone[row, place])
            assert off < 2e-5, (label, faults[row - 1].spec if row else "sound")
