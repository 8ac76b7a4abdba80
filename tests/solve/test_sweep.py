"""The sweep of many changes at once against one by one at full size.

``solve_point`` knows nothing of ports, inverses or cuts: it sets up each changed circuit, its meter
in place, and solves it by itself. The sweep takes every fault of every harness at the low end, in
the middle and at the high end of its range, in every test, and pairs; a seeded sample of each is
compared. ``python tests/solve/test_sweep.py`` compares all of them (minutes).
"""

import random
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.circuit import conducts
from circuitcheck.circuit.fresh import swaps
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.load import load_harness
from circuitcheck.joined import Joined
from circuitcheck.physics.diode import Junction
from circuitcheck.shipped import harness_files
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.sweep import settle

TESTS = Path(__file__).parents[1]
OWN = [str(TESTS / "data" / "bench.yaml"), str(TESTS / "solve" / "every-kind.yaml")]
HARNESSES = [*sorted(harness_files()), *OWN]
PLACES = [(name, test) for name in HARNESSES for test in load_harness(name).tests]
each_test = pytest.mark.parametrize(
    ("name", "test"), PLACES, ids=[f"{Path(name).stem}-{test}" for name, test in PLACES]
)
VOLTS = 1e-6
"""Largest difference of volts [V]; of amps the same [A], or this share of them."""
METERED_VOLTS = 2e-5
"""The same for a meter: where it alone holds an island, 1e-7 S beside joints of 1e4 S leave some
microvolts of rounding in the plain solver, a fiftieth of a meter's last digit at most."""
ROWS = 40
"""Faults and values of each test that are compared; the sweep itself takes all of them."""
METERED = 6
PAIRS = 9


@cache
def harness_of(name):
    return load_harness(name)


@cache
def single_faults(name):
    """Every fault, alone, at each end and in the middle of its range."""
    found = []
    for mode in lasting_faults(harness_of(name)):
        one = mode.severity
        values = (one.low, one.typical, one.high) if one else (0.0,)
        found += [(ChosenFault(mode, value),) for value in values]
    return [(), *found]


@cache
def pairs(name):
    """A seeded sample of two faults on different parts."""
    draw = random.Random(f"pairs {Path(name).stem}")
    singles = single_faults(name)[1:]
    found = []
    while len(found) < PAIRS:
        (one,), (other,) = draw.sample(singles, 2)
        if one.mode.where != other.mode.where:
            found.append((one, other))
    return found


@cache
def swapped(name):
    """Two wires in each other's place, in every plug and socket."""
    return [(), *((ChosenFault(mode, 0.0),) for mode in swaps(harness_of(name)))]


def cases_of(name, kind):
    return {"singles": single_faults, "pairs": pairs, "swapped": swapped}[kind](name)


@cache
def blown_by(name, kind):
    """The fuses that each case has blown in service: most circuits have one state or another."""
    cases = cases_of(name, kind)
    rules = [lambda branches, case=case: combined(case, branches) for case in cases]
    return blown_in_service(harness_of(name), rules)


def title(case):
    return " + ".join(one.spec for one in case) or "sound"


def held(circuit, point):
    """Nodes that something holds: not those behind a diode that blocks. Its leakage of 1e-8 S
    leaves them to the last picoampere, and the first meter put there pulls them away; what that
    shows is compared with the meter in place."""
    joined = Joined(
        (one.tail, one.head)
        for key, one in circuit.branches.items()
        if conducts(one, point.states)
        and not (isinstance(one, Junction) and abs(point.amps[key]) < 1e-6)
    )
    return {node for node in circuit.nodes if joined.together(node, circuit.reference)}


def near(one, other):
    """Amps, ohms or speeds: within a millionth, or a millionth part."""
    if np.isinf(one) or np.isinf(other) or np.isnan(one) or np.isnan(other):
        return bool(one == other or (np.isnan(one) and np.isnan(other)))
    return abs(one - other) <= VOLTS * max(1.0, abs(other))


def sample(count, most, *seed):
    """Numbers of rows, all or a seeded choice, the sound one always among them."""
    if count <= most:
        return list(range(count))
    draw = random.Random(" ".join(map(str, seed)))
    return [0, *sorted(draw.sample(range(1, count), most - 1))]


def differences_at_nodes(name, test, kind, most):
    """Compare volts of every node, watched currents and states, no meter in place."""
    cases = cases_of(name, kind)
    bench = bench_for(harness_of(name), harness_of(name).tests[test])
    circuit, swapped = bench.circuit, bench.setup.swap
    changes = [combined(case, circuit.branches, swapped) for case in cases]
    blown = blown_by(name, kind)
    nodes = circuit.nodes
    settled = settle(
        networks := Networks(circuit),
        Changes.of(networks.wiring, changes),
        [(node, circuit.reference) for node in nodes],
        blown,
    )
    wanted = set(sample(len(cases), most, Path(name).stem, test, kind))
    at_rest = [row for group in settled.groups for row in group.rows.tolist()]
    everywhere = [*at_rest, *settled.buzzing.tolist(), *settled.unsure.tolist()]
    assert sorted(everywhere) == list(range(len(cases)))
    for row in sorted(wanted & set(settled.buzzing.tolist())):
        if not solve_point(circuit.changed(changes[row]).after(blown[row])).buzzing:
            yield f"{title(cases[row])}: buzzes in the sweep, at rest one by one"
    # Rows that the sweep does not trust itself with go to solve_point; they must stay few.
    if len(settled.unsure) > 0.25 * len(cases):
        yield f"{len(settled.unsure)} of {len(cases)} handed over"
    for group in settled.groups:
        volts = group.batch.volts(group.batch.probe_ports)
        names = group.batch.network.wiring.watched.names
        watched = dict(zip(names, group.batch.watched_flow().T, strict=True))
        for row, local in zip(group.rows.tolist(), group.local.tolist(), strict=True):
            if row not in wanted:
                continue
            point = solve_point(circuit.changed(changes[row]).after(blown[row]))
            known = held(circuit.changed(changes[row]), point)
            states = dict(zip(circuit.thresholds, group.batch.states[local].tolist(), strict=True))
            yield from compared(
                cases[row],
                point,
                known,
                states,
                circuit,
                nodes,
                volts[local],
                {k: v[local] for k, v in watched.items()},
            )


def compared(case, point, known, states, circuit, nodes, volts, watched):
    if point.buzzing or {k: point.states[k] for k in states} != states:
        yield f"{title(case)}: other states, {point.buzzing}"
        return
    for node, ours in zip(nodes, volts.tolist(), strict=True):
        # A floating node has volts only against its own island: a matter of where it is tied.
        if node in known and abs(ours - point.volts[node]) > VOLTS:
            yield f"{title(case)}: {node} {ours:.9g} V, one by one {point.volts[node]:.9g} V"
    for name, ours in watched.items():
        theirs = point.amps.get(circuit.thresholds[name].watch, 0.0)
        if not near(abs(float(ours)), abs(theirs)):
            yield f"{title(case)}: {name} {float(ours):.9g} A, one by one {theirs:.9g} A"


def differences_of_readings(name, test, kind, most):
    """Compare what the instruments show, each in place by itself."""
    cases = cases_of(name, kind)
    bench = bench_for(harness_of(name), harness_of(name).tests[test])
    blown = blown_by(name, kind)
    rows = sample(len(cases), most, Path(name).stem, test, kind, "metered")
    changes = [combined(cases[row], bench.circuit.branches, bench.setup.swap) for row in rows]
    run = bench.run(changes, blown=[blown[row] for row in rows])
    for station in bench.stations:
        for place, reader in station.readers:
            label, observation = bench.observations[place]
            for number, row in enumerate(rows):
                circuit = station.circuit.changed(changes[number]).changed(reader.meter())
                point = solve_point(circuit.after(blown[row]))
                theirs = np.nan if point.buzzing else reader.value_at(circuit, point)
                ours = run.values[number, place]
                volts = observation.kind in ("volts", "drop")
                close = volts and abs(ours - theirs) <= METERED_VOLTS
                if not (close if volts and np.isfinite(theirs) else near(ours, theirs)):
                    yield f"{title(cases[row])}: {label} {ours:.9g}, one by one {theirs:.9g}"


@each_test
def test_single_faults_at_every_node(name, test):
    assert list(differences_at_nodes(name, test, "singles", ROWS)) == []


@each_test
def test_single_faults_with_the_meters_in_place(name, test):
    assert list(differences_of_readings(name, test, "singles", METERED)) == []


@each_test
def test_pairs(name, test):
    assert list(differences_at_nodes(name, test, "pairs", PAIRS)) == []
    assert list(differences_of_readings(name, test, "pairs", PAIRS // 4)) == []


@pytest.mark.parametrize("name", HARNESSES, ids=[Path(name).stem for name in HARNESSES])
def test_swapped_wires(name):
    """In one test of each harness; what a swap takes away is held by what it adds."""
    test = next(iter(harness_of(name).tests))
    assert list(differences_at_nodes(name, test, "swapped", ROWS)) == []


def test_the_comparison_can_fail():
    """A case with other values than the sweep was given must show up as a difference."""
    name = OWN[0]
    circuit = bench_for(harness_of(name), harness_of(name).tests["high-at-the-plug"]).circuit
    nodes = circuit.nodes
    ports = [(node, circuit.reference) for node in nodes]
    (group,) = settle(networks := Networks(circuit), Changes.of(networks.wiring, [{}]), ports).groups
    volts = group.batch.volts(group.batch.probe_ports)[0]
    bad = next(case for case in single_faults(name) if title(case).startswith("E1 high"))
    point = solve_point(circuit.changed(combined(bad, circuit.branches)))
    assert list(compared(bad, point, set(nodes), {}, circuit, nodes, volts, {}))


if __name__ == "__main__":
    for place in PLACES:
        every = len(single_faults(place[0]))
        for one in differences_at_nodes(*place, "singles", every):
            print(*place, one)
        for one in differences_of_readings(*place, "singles", every):
            print(*place, "metered,", one)
        print(*place, every, "cases compared", flush=True)
