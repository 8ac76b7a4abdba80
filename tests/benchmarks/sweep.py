"""Operating points a second: the sweep against a circuit simulator, exact algebra, and plain solving.

    python tests/benchmarks/sweep.py [--json] [--harness twin-fan-switch] [--rounds 5]

Every fault of a harness at sixteen values of its unknown, in one of its tests, both sides in the same
run; medians of processor time, so that other work on the machine does not count. The simulator (``ngspice``) alters one resistance of the exported deck and solves again, in
one process, its start-up taken off; lcapy answers one point in numbers; ``numpy.linalg.solve`` is given
one nodal matrix for each point, its motors taken as linear, which is the least that plain solving costs.

Of ours the circuit and the changes are given; wiring, layout, factors and all else are made anew each time,
nothing is kept. The volts at eight places are read as they come, not mended to nine digits as a meter's are.
Only the small sweep keeps its wiring and networks, as locating does.
"""

import argparse
import json
import os
import re
import resource
import statistics
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import circuitcheck
from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.pairs import sweep_pairs
from circuitcheck.expect.second_opinion import deck, exact_point, observed
from circuitcheck.solve.changes import Changes, one_of
from circuitcheck.solve.network import Network, Networks
from circuitcheck.solve.sweep import settle
from circuitcheck.solve.wiring import Wiring

MAGNITUDES = 16
SPICE_POINTS = 400
FEW = 20
"""Rows of a small sweep, as locating makes them by the dozen."""


def timed(work, rounds):
    work()  # the machine's own caches are warm on both sides
    seconds = []
    for _ in range(rounds):
        begin = time.process_time()
        work()
        seconds.append(time.process_time() - begin)
    return statistics.median(seconds)


def of_children():
    """Processor time of the processes that this one has waited for [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def every_fault(harness, bench):
    """Changes and rows of every fault over its range."""
    changes, counts = [], []
    for mode in lasting_faults(harness):
        values = np.zeros(1)
        if mode.severity:
            values = np.geomspace(mode.severity.low, mode.severity.high, MAGNITUDES)
        changes.append(combined([ChosenFault(mode, values)], bench.circuit.branches, bench.setup.swap))
        counts.append(len(values))
    return changes, counts


def ours(harness, test, rounds):
    """Seconds for all faults from the changes on, nothing kept from before, and points."""
    bench = bench_for(harness, harness.tests[test])
    changes, counts = every_fault(harness, bench)
    circuit = bench.circuit
    probes = [(node, circuit.reference) for node in circuit.nodes[1:9]]

    def work():
        networks = Networks(circuit)
        laid_out = Changes.of(networks.wiring, changes, counts)
        for group in settle(networks, laid_out, probes).groups:
            group.batch.probe_volts  # noqa: B018

    return timed(work, rounds), sum(counts)


def a_few(harness, test, rounds):
    """Seconds for a few faults of one value each, the networks kept: what a sweep costs at the least."""
    bench = bench_for(harness, harness.tests[test])
    changes, _ = every_fault(harness, bench)
    few = [one_of(change, 0) for change in changes[:: len(changes) // FEW]][:FEW]
    networks = Networks(bench.circuit)
    probes = [(node, bench.circuit.reference) for node in bench.circuit.nodes[1:9]]

    def work():
        for _ in range(FEW):
            for group in settle(networks, Changes.of(networks.wiring, few), probes).groups:
                group.batch.probe_volts  # noqa: B018

    return timed(work, rounds) / FEW


def spice(harness, test, rounds):
    """Seconds a point of the simulator that alters one resistance and solves again."""
    text = deck(harness, test)
    head = text[: text.index(".control")]
    resistors = re.findall(r"^(r\d+) ", head, re.M | re.I)

    def run(points):
        lines = []
        for number in range(points):
            name = resistors[number % len(resistors)]
            lines += [f"alter {name} = {0.05 * 1.01**number}", "op"]
        body = "\n".join([".control", "op", *lines, "quit", ".endc", ".end", ""])
        with TemporaryDirectory() as folder:
            path = Path(folder) / "deck.cir"
            path.write_text(head + body, encoding="utf-8")
            begin = of_children()
            subprocess.run(["ngspice", "-b", str(path)], capture_output=True, check=False)
            return of_children() - begin

    found = [run(SPICE_POINTS) - run(0) for _ in range(rounds)]
    return statistics.median(found) / SPICE_POINTS


def exact(harness, test):
    """Seconds of one point by lcapy in numbers."""
    one = observed(harness, test)[0]
    begin = time.process_time()
    exact_point(one.circuit, one.point)
    return time.process_time() - begin


def plain(harness, test, rounds):
    """Seconds of one numpy.linalg.solve of the nodal matrix."""
    circuit = bench_for(harness, harness.tests[test]).circuit
    network = Network(Wiring(circuit), circuit.initial_states())
    wiring, push = network.wiring, network.injections()
    tail = np.concatenate([wiring.tail, wiring.curve_tail])
    head = np.concatenate([wiring.head, wiring.curve_head])
    siemens = np.concatenate([network.siemens, np.ones(len(wiring.curve_keys))])
    ends = np.eye(wiring.size)[tail] - np.eye(wiring.size)[head]
    matrix = (
        ends.T @ (siemens[:, None] * ends) + np.diag(np.isin(np.arange(wiring.size), network.tied))
    )[1:, 1:]
    push = push[1:]
    times = 300
    return timed(lambda: [np.linalg.solve(matrix, push) for _ in range(times)], rounds) / times


def all_pairs(loom):
    """Seconds for all pairs of faults over all tests of a harness, and how many points that is."""
    begin = time.process_time()
    pairs, values = sweep_pairs(loom.harness)
    return time.process_time() - begin, len(pairs) * len(values)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--harness", default="twin-fan-switch")
    parser.add_argument("--test")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    loom = circuitcheck.load(given.harness)
    name = given.test or list(loom.harness.tests)[-3]
    seconds, points = ours(loom.harness, name, given.rounds)
    each = seconds / points
    every = [ours(loom.harness, test, given.rounds) for test in loom.harness.tests]
    by_spice, by_exact = spice(loom.harness, name, given.rounds), exact(loom.harness, name)
    by_plain = plain(loom.harness, name, given.rounds)
    pair_seconds, pair_points = all_pairs(loom)
    found = {
        "harness": given.harness,
        "test": name,
        "points": points,
        "microseconds_a_point": 1e6 * each,
        "microseconds_a_point_all_tests": 1e6 * sum(one for one, _ in every) / sum(n for _, n in every),
        "small_sweep_milliseconds": 1e3 * a_few(loom.harness, name, given.rounds),
        "ngspice_microseconds": 1e6 * by_spice,
        "times_ngspice": by_spice / each,
        "lcapy_seconds": by_exact,
        "times_lcapy": by_exact / each,
        "plain_solve_microseconds": 1e6 * by_plain,
        "times_plain_solve": by_plain / each,
        "all_pairs_seconds": pair_seconds,
        "all_pairs_points": pair_points,
    }
    if given.json:
        print(json.dumps(found, indent=2))
    else:
        for key, value in found.items():
            print(f"{key:30} {value if isinstance(value, str | int) else f'{value:.4g}'}")
