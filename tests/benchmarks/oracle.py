"""ngspice against our readings: every test of every harness, sound and with every fault.

    python tests/benchmarks/oracle.py [HARNESS ...] [--pairs N]

The test suite takes a share of this; here is all of it. ``--pairs N`` adds N random pairs of faults
a harness. Prints one line a harness and every reading out of tolerance; exit status 1 if any is.
"""

import argparse
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))

from simulator import TOLERANCE, compare, typical

from circuitcheck.harness.load import load_harness
from circuitcheck.shipped import harness_files


def main() -> int:
    """Compare, print, and answer the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("harnesses", nargs="*", default=list(harness_files()))
    parser.add_argument("--pairs", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    wrong = 0
    for name in given.harnesses:
        started = time.perf_counter()
        harness = load_harness(name)
        faults = typical(harness)
        draw = random.Random(given.seed)
        pairs = [draw.sample(faults, 2) for _ in range(given.pairs)]
        found = compare(harness, [[], *([one] for one in faults), *pairs])
        worst = {
            kind: max(
                (max(one.off(one.ours), one.off(one.point)) for one in found.rows if one.kind == kind),
                default=0.0,
            )
            for kind in TOLERANCE
        }
        print(
            f"{harness.name}: {len(faults)} faults, {len(harness.tests)} tests, "
            f"{len(found.rows)} readings, {found.buzzing} buzz, {len(found.wrong)} out, "
            f"{time.perf_counter() - started:.0f} s; worst in tolerances: "
            + ", ".join(f"{kind} {value:.2g}" for kind, value in worst.items())
        )
        for one in found.wrong:
            print(
                f"  {one.test}, {one.fault}, {one.name}: {one.ours:.6g} on the bench, "
                f"{one.point:.6g} at full size, {one.spice:.6g} simulated"
            )
        wrong += len(found.wrong)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
