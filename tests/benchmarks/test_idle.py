"""What carries no current: the blocks of a graph, and what the plain solver says of faults there."""

import random
from dataclasses import replace
from functools import cache

import big_loom
import exactness
import networkx as nx
import numpy as np
import pytest

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.idle import Idle, blocks, joins
from circuitcheck.expect.expected import bench_for
from circuitcheck.solve.network import is_loom
from circuitcheck.solve.point import solve_point

FAULTS = 12


@pytest.mark.parametrize("seed", range(40))
def test_blocks_are_those_of_networkx(seed):
    """networkx is the outside solver; of branches side by side it is told of one."""
    draw = random.Random(seed)
    size = draw.randint(2, 14)
    ends = [(draw.randrange(size), draw.randrange(size)) for _ in range(draw.randint(0, 22))]
    graph = nx.Graph([one for one in ends if one[0] != one[1]])
    wanted = {frozenset(map(frozenset, one)) for one in nx.biconnected_component_edges(graph)}
    found: dict[int, set[frozenset[int]]] = {}
    for number, one in zip(blocks(size, ends), ends, strict=True):
        if one[0] != one[1]:
            found.setdefault(number, set()).add(frozenset(one))
    assert {frozenset(one) for one in found.values()} == wanted
    assert len(found) == len(wanted)


@cache
def loom():
    return big_loom.make(7, 2)


@cache
def faults():
    return [
        ChosenFault(one, one.severity.typical if one.severity else 0.0) for one in lasting_faults(loom())
    ]


def test_it_is_large_enough_to_be_asked():
    bench = bench_for(loom(), next(iter(loom().tests.values())))
    assert is_loom(bench.circuit)


def idle_faults(bench, layout):
    """At each station of a test the faults that are said to do nothing there."""
    changes = [combined([one], bench.circuit.branches) for one in faults()]
    return [[one for one in changes if idle.unmoved_by(one)] for idle in layout.idle]


@pytest.mark.parametrize("test", list(loom().tests)[:6])
def test_no_current_is_another_where_a_fault_is_idle(test):
    """The plain solver at full size, with the instrument of the station on the circuit."""
    bench = bench_for(loom(), loom().tests[test])
    for layout in bench.layouts:
        for placed, listed in zip(layout.placed, idle_faults(bench, layout), strict=True):
            assert len(listed) > len(faults()) / 5
            circuit = layout.circuit.changed(placed.change)
            meters = {
                f"reader {place}": meter
                for place, _, reader in placed.readers
                if circuit is layout.circuit and len(reader.meter()) == 1
                for meter in reader.meter().values()
            }
            sound = solve_point(circuit.changed(meters))
            for change in random.Random(test).sample(listed, FAULTS):
                point = solve_point(circuit.changed(meters).changed(change))
                assert point.states == sound.states
                for key, amps in sound.amps.items():
                    if getattr(circuit.branches.get(key), "ohm", 1.0) < 1e-6:
                        continue  # a lead of next to no resistance: its current is a rounding of volts
                    assert point.amps.get(key, 0.0) == pytest.approx(amps, abs=1e-8), (change, key)
                for _, _, reader in placed.readers:
                    volts = sound.between(*reader.port())
                    assert point.between(*reader.port()) == pytest.approx(volts, abs=1e-6)


def test_what_is_idle_alone_is_not_beside_a_welded_contact():
    """Against one by one at full size: a weld feeds what was idle, so that a fault there is seen."""
    test = next(one for one in loom().tests if one.startswith("at-rest"))
    bench = bench_for(loom(), loom().tests[test])
    branches = bench.circuit.branches
    (layout,) = bench.layouts
    changes = [combined([one], branches) for one in faults()]
    idle = [n for n, one in enumerate(changes) if layout.idle[0].unmoved_by(one)]
    welds = [n for n, one in enumerate(faults()) if one.mode.mode.endswith("welded")]
    assert all(joins(bench.circuit, changes[one]) for one in welds)
    draw, pairs = random.Random(1), []
    for weld in welds:
        amps = solve_point(bench.circuit.changed(changes[weld])).amps
        fed = [one for one in idle if any(abs(amps.get(key, 0.0)) > 1 for key in changes[one])]
        pairs += [(weld, one) for one in draw.sample(fed, min(4, len(fed)))]
    pairs = [(one, other) for one, other in pairs if not changes[one].keys() & changes[other].keys()]
    assert len(pairs) > 10
    together = np.array(pairs)
    found = bench.run(changes, together=together).values
    both = [{**changes[one], **changes[other]} for one, other in pairs]
    alone = exactness.one_by_one(bench, both, [frozenset()] * len(both))
    for place, (label, observation) in enumerate(bench.observations):
        for row in range(len(pairs)):
            off = exactness.off_by(observation.kind, found[row, place], alone[row, place])
            assert off < 2e-5, (label, [faults()[one].spec for one in pairs[row]])


def test_a_relay_that_gets_nothing_leaves_idle_what_it_would_feed():
    """With the coil's feed open no contact closes: more is idle than with it whole."""
    bench = bench_for(loom(), loom().tests[list(loom().tests)[1]])
    circuit = bench.circuit
    off = replace(circuit, branches={k: b for k, b in circuit.branches.items() if k != "S1:30-15"})
    changes = [combined([one], off.branches) for one in faults()]
    assert sum(map(Idle(off).unmoved_by, changes)) > sum(map(Idle(circuit).unmoved_by, changes))
