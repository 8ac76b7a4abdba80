"""The sweep against one by one at full size: every harness, test, reading and fault, and drawn pairs.

    python tests/benchmarks/exactness.py [HARNESS ...] [--values 3] [--pairs 320] [--worst 8] [--third]

Every fault is taken at so many values from the low end of its range to the high end (3: at both and in the
middle; 0: not at all), and so many drawn pairs are shared out among the tests. A difference counts
relative to what one by one reads. Where that is less than the smallest that a meter shows of that kind (1 mV,
1 mA, 1 mohm, 1 rpm, a thousandth of a lamp's power) it is a dead reading: what is left of the volts of
a battery that nothing holds, at the floor of the arithmetic, which is given as it is and not as a share.
Prints for each harness and kind of reading the worst of both, and how many live ones are above 1e-9, then
where the worst are; exit status 1 if any is above. With ``--third`` those, or if there are none the worst, are
solved once more in mpmath's arithmetic of fifty digits (``tests/solve/third.py``), which says who is off.
"""

import argparse
import sys
import time
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))

import test_sweep
from test_sweep import OWN, pairs, single_faults, title
from third import metered, third_reading

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in_service
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
    reading: str
    swept: float
    alone: float
    case: tuple = field(compare=False)

    @property
    def dead(self) -> bool:
        """Whether one by one reads less than a meter shows."""
        return abs(self.alone) < SMALLEST[self.kind]

    def __str__(self) -> str:
        return (
            f"{self.off:.1e}  {self.test}: {self.reading} ({self.kind}) with {title(self.case)}: "
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
                with_meter = metered(circuit, reader)
                point = bare if with_meter is circuit else solve_point(with_meter)
                values[row, place] = reader.value_at(with_meter, point)
    return values


@cache
def singles_at(name, count):
    """Every fault at so many values from one end of its range to the other; none for 0 values."""
    if not count:
        return []
    if count == 3:
        return single_faults(name)
    found = [()]
    for mode in lasting_faults(load_harness(name)):
        one = mode.severity
        values = np.geomspace(one.low, one.high, count) if one else (0.0,)
        found += [(ChosenFault(mode, float(value)),) for value in values]
    return found


def differences(name, test, cases):
    """Of all readings of one test."""
    harness = load_harness(name)
    bench = bench_for(harness, harness.tests[test])
    changes = [combined(case, bench.circuit.branches, bench.setup.swap) for case in cases]
    rules = [lambda branches, case=case: combined(case, branches) for case in cases]
    blown = blown_in_service(harness, rules)
    swept = bench.run(changes, blown=blown).values
    alone = one_by_one(bench, changes, blown)
    for place, (label, observation) in enumerate(bench.observations):
        for row, case in enumerate(cases):
            values = float(swept[row, place]), float(alone[row, place])
            off = off_by(observation.kind, *values)
            yield Difference(off, observation.kind, test, label, *values, case)


def cases_of(name, values, most_pairs):
    """The cases of each test: all single faults, and its share of the pairs."""
    test_sweep.PAIRS, tests = most_pairs, list(load_harness(name).tests)
    drawn = pairs(name) if most_pairs else []
    return {
        test: [*singles_at(name, values), *drawn[number :: len(tests)]]
        for number, test in enumerate(tests)
    }


def report(name, given):
    """Compare a harness and print what was found; how many readings are off."""
    started = time.perf_counter()
    cases = cases_of(name, given.values, given.pairs)
    found = [one for test in cases for one in differences(name, test, cases[test])]
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
    live = [one for one in found if not one.dead]
    for one in sorted(above or live, reverse=True)[: given.worst if above or given.third else 0]:
        print(f"    {one}")
        if given.third:
            value = third_reading(load_harness(name), one.test, one.case, one.reading)
            swept, alone = (off_by(one.kind, each, value) for each in (one.swept, one.alone))
            print(f"      a third {value:.15g}: swept {swept:.1e} off, one by one {alone:.1e}")
    sys.stdout.flush()
    return len(above)


def main() -> int:
    """Compare, print, and answer the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("harnesses", nargs="*", default=[*sorted(harness_files()), *OWN])
    parser.add_argument("--values", type=int, default=3)
    parser.add_argument("--pairs", type=int, default=320)
    parser.add_argument("--worst", type=int, default=8)
    parser.add_argument("--third", action="store_true")
    given = parser.parse_args()
    off = [report(name, given) for name in given.harnesses]
    return 1 if any(off) else 0


if __name__ == "__main__":
    sys.exit(main())
