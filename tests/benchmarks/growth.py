"""How the sweep grows: with the wires of a loom, with the number of faults, and a whole vehicle at once.

    python tests/benchmarks/growth.py [--json] [--circuits 7 30 80 400 960] [--faults 50] [--whole] [--jobs 2]

Looms come from ``big_loom.py``, all seeds fixed; 960 circuits make 21,000 wires. What the faults blow in
use is asked too. An exponent is the slope of the straight line through the logarithms: 1 means twice the
work for twice the size. ``--whole`` also takes every fault of a loom of some thousand wires at sixteen
values over all its twenty tests, in several processes.
"""

import argparse
import json
import os
import resource
import time
from concurrent.futures import ProcessPoolExecutor

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from big_loom import make, some_faults

from circuitcheck.expect.sweep import sweep

SEED = 1


def seconds(harness, test, faults):
    """Processor seconds of one test under some faults at sixteen values, and operating points."""
    names = [one.spec for one in some_faults(harness, faults, SEED)]
    begin = time.process_time()
    (found,) = sweep(harness, [test], names)
    return time.process_time() - begin, len(found.values)


def exponent(sizes, taken):
    slope, _ = np.polyfit(np.log(sizes), np.log(taken), 1)
    return float(slope)


def with_wires(circuits, faults):
    found = []
    for number in circuits:
        harness = make(number, SEED)
        test = list(harness.tests)[1]
        taken, points = seconds(harness, test, faults)
        found.append(
            {
                "circuits": number,
                "wires": len(harness.wires),
                "points": points,
                "seconds": taken,
                "most_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
            }
        )
    sizes, each = [one["wires"] for one in found], [one["seconds"] / one["points"] for one in found]
    return {"runs": found, "exponent": exponent(sizes, each)}


def with_faults(circuits, counts):
    harness = make(circuits, SEED)
    test = list(harness.tests)[1]
    found = []
    for number in counts:
        taken, points = seconds(harness, test, number)
        found.append({"faults": number, "points": points, "seconds": taken})
    return {
        "runs": found,
        "exponent": exponent([one["points"] for one in found], [one["seconds"] for one in found]),
    }


def whole(circuits, jobs):
    harness = make(circuits, SEED)
    begin, before = time.perf_counter(), processor_seconds()
    with ProcessPoolExecutor(jobs) as pool:
        found = sweep(harness, executor=pool)
    taken = time.perf_counter() - begin
    most = max(resource.getrusage(who).ru_maxrss for who in ALL) / 1024
    return {
        "wires": len(harness.wires),
        "tests": len(found),
        "points": sum(len(one.values) for one in found),
        "seconds": taken,
        "processor_seconds": processor_seconds() - before,
        "largest_process_mb": most,
    }


ALL = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)


def processor_seconds():
    """Of this process and of those that it has started and that have ended."""
    return sum(used.ru_utime + used.ru_stime for used in map(resource.getrusage, ALL))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--circuits", type=int, nargs="+", default=[7, 30, 80, 400, 960])
    parser.add_argument("--faults", type=int, default=50)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    result = {
        "wires": with_wires(given.circuits, given.faults),
        "faults": with_faults(30, [25, 50, 100, 200, 400]),
    }
    if given.whole:
        result["whole"] = whole(80, given.jobs)
    if given.json:
        print(json.dumps(result, indent=2))
    else:
        for name, part in result.items():
            print(name, *(f"{key} {value:.4g}" for key, value in part.items() if key != "runs"))
            for run in part.get("runs", ()):
                print("   ", *(f"{key} {value:.4g}" for key, value in run.items()))
