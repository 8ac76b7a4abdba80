"""The sweep against one by one at full size: every harness, test, reading and fault, and drawn pairs.

    python tests/benchmarks/exactness.py [HARNESS ...] [--pairs 100] [--worst 8]

Every fault is taken at the low end, in the middle and at the high end of its range. A difference counts
relative to what one by one reads. Where that is less than the smallest that a meter shows of that kind (1 mV,
1 mA, 1 mohm, 1 rpm, a thousandth of a lamp's power) it is a dead reading: what is left of the volts of
a battery that nothing holds, at the floor of the arithmetic, which is given as it is and not as a share.
Prints for each harness and kind of reading the worst of both, and how many live ones are above 1e-9, then
where the worst are; exit status 1 if any is above.
"""

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))

import test_sweep
from test_sweep import OWN, blown_by, pairs, single_faults, title

from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.harness.load import load_harness
from circuitcheck.shipped import harness_files
from circuitcheck.solve.point import solve_point

WANTED = 1e-9
FLOOR = 1e-7
"""What may be left over of a dead reading: volts, amperes, ohms; a ten-thousandth of what a meter shows."""
SMALLEST = {
    "volts": 1e-3,
    "drop": 1e-3,
    "amps": 1e-3,
    "ohms": 1e-3,
    "speed": 1.0,
    "lamp": 1e-3,
    "click": 1.0,
}


@dataclass(frozen=True, order=True)
class Difference:
    """One reading that the sweep and one by one do not say alike.

    :param off: relative difference, of a dead one in its unit; infinite where one of them is an open
        line or buzzes
    """

    off: float
    kind: str
    test: str
    fault: str
    reading: str
    swept: float
    alone: float

    @property
    def dead(self) -> bool:
        """Whether one by one reads less than a meter shows."""
        return abs(self.alone) < SMALLEST[self.kind]

    def __str__(self) -> str:
        return (
            f"{self.off:.1e}  {self.test}: {self.reading} ({self.kind}) with {self.fault}: "
            f"swept {self.swept:.15g}, one by one {self.alone:.15g}"
        )


def off_by(kind, swept, alone):
    """Relative difference of two readings, of a dead one in its unit; 0 for the same open line or buzz."""
    if np.array_equal(swept, alone, equal_nan=True):
        return 0.0
    if not (np.isfinite(swept) and np.isfinite(alone)):
        return np.inf
    live = abs(alone) >= SMALLEST[kind]
    return float(abs(swept - alone) / (abs(alone) if live else 1.0))


def one_by_one(bench, changes, blown):
    """Every reading under every change (changes, readings), each meter in place by itself."""
    values = np.full((len(changes), len(bench.observations)), np.nan)
    for row, change in enumerate(changes):
        for station in bench.stations:
            circuit = station.circuit.changed(station.carried(change)).after(blown[row])
            bare = solve_point(circuit)
            for place, reader in () if bare.buzzing else station.readers:
                meter = {key: one for key, one in reader.meter().items() if key not in circuit.branches}
                point = solve_point(circuit.changed(meter)) if meter else bare
                values[row, place] = reader.value_at(circuit, point)
    return values


def differences(name, test, kind):
    """Of all readings of one test."""
    harness = load_harness(name)
    cases = single_faults(name) if kind == "singles" else pairs(name)
    bench = bench_for(harness, harness.tests[test])
    changes = [combined(case, bench.circuit.branches, bench.setup.swap) for case in cases]
    blown = blown_by(name, kind)
    swept = bench.run(changes, blown=blown).values
    alone = one_by_one(bench, changes, blown)
    for place, (label, observation) in enumerate(bench.observations):
        for row, case in enumerate(cases):
            values = float(swept[row, place]), float(alone[row, place])
            yield Difference(
                off_by(observation.kind, *values), observation.kind, test, title(case), label, *values
            )


def report(name, most_pairs, worst):
    """Compare a harness and print what was found; how many readings are off."""
    started = time.perf_counter()
    found = [
        one
        for test in load_harness(name).tests
        for kind in ("singles", "pairs")[: 1 + bool(most_pairs)]
        for one in differences(name, test, kind)
    ]
    above = [one for one in found if one.off > (FLOOR if one.dead else WANTED)]
    print(
        f"{Path(name).stem}: {len(found)} readings, {len(above)} above, "
        f"{time.perf_counter() - started:.0f} s"
    )
    for kind in dict.fromkeys(one.kind for one in found):
        live, dead = (
            [one for one in found if one.kind == kind and one.dead == it] for it in (False, True)
        )
        print(
            f"  {kind:6} {len(live):7} readings, worst {max(live).off if live else 0.0:.1e}; "
            f"{len(dead):6} dead, left over {max(dead).off if dead else 0.0:.1e}"
        )
    for one in sorted(above, reverse=True)[:worst]:
        print(f"    {one}")
    sys.stdout.flush()
    return len(above)


def main() -> int:
    """Compare, print, and answer the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("harnesses", nargs="*", default=[*sorted(harness_files()), *OWN])
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--worst", type=int, default=8)
    given = parser.parse_args()
    test_sweep.PAIRS = given.pairs
    off = [report(name, given.pairs, given.worst) for name in given.harnesses]
    return 1 if any(off) else 0


if __name__ == "__main__":
    sys.exit(main())
