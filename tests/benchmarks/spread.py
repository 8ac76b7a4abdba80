"""How far small losses still differ from vehicle to vehicle once other readings have been taken.

    python tests/benchmarks/spread.py [--faults 6] [--draws 8]

``circuitcheck/plan/spread.py`` gives a reading the spread that is left of it while a plan is followed.
What is left is worked out here: the joint covariance of the readings of one set-up over every stated
tolerance (JCGM 100:2008, 5.2, from the sensitivities to each), the meters' own errors added,
conditioned on some of the other readings as a normal distribution is (any textbook of statistics).
That for the shipped harnesses, sound and with drawn faults; medians of the relative standard
uncertainty are printed for each size of the reading: beforehand, and after one, three and six others.
"""

import argparse
import random
from itertools import pairwise

import numpy as np

import circuitcheck
from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.expected import accuracy_of
from circuitcheck.shipped import harness_files

SIZES = (0.003, 0.01, 0.03, 0.1, 0.5, 1.1)
"""Limits of the sizes of a reading, as a share of the supply's volts."""
TAKEN = (0, 1, 3, 6)
"""Other readings that have been taken."""


def left_over(covariance, noise, one, others):
    """Standard uncertainty of one reading once others have been taken, its own meter's left out."""
    if not len(others):
        return float(np.sqrt(covariance[one, one]))
    of_others = covariance[np.ix_(others, others)] + np.diag(noise[others])
    told = covariance[one, others] @ np.linalg.solve(of_others, covariance[others, one])
    return float(np.sqrt(max(covariance[one, one] - told, 0.0)))


def shares(name, faults, draws, draw):
    """Size of each volts reading as a share of the supply's, and its relative uncertainty (taken,)."""
    loom = circuitcheck.load(name)
    planner, harness = loom._planner, loom.harness
    modes = [one for one in loom.faults() if not one.while_there]
    for candidate in planner.candidates:
        if candidate.setup.battery == "disconnected" or candidate.setup.swap:
            continue
        bench = planner.bench(candidate)
        some = [loom.fault(one.spec) for one in draw.sample(modes, faults)]
        changes = [{}, *(combined(one, bench.circuit.branches) for one in some)]
        run = bench.run(changes)
        shifts = run.shifts(np.arange(len(changes))).values
        kinds = [observation.kind for _, observation in candidate.observations]
        for values, moves in zip(run.values, shifts, strict=True):
            places = [
                n
                for n, kind in enumerate(kinds)
                if kind in ("volts", "drop", "amps") and np.isfinite(values[n])
            ]
            if len(places) < 2:
                continue
            covariance = moves[places] @ moves[places].T
            known = [candidate.observations[n][1] for n in places]
            noise = np.array(
                [
                    float(accuracy_of(harness, one).uncertainty(np.array(values[n]))) ** 2
                    for n, one in zip(places, known, strict=True)
                ]
            )
            lost = [n for n, one in enumerate(known) if one.kind != "amps"]
            for _ in range(draws):
                one = draw.choice(lost)
                size = abs(values[places[one]])
                if size < 0.02:
                    continue
                rest = [
                    n for n in range(len(places)) if n != one and known[n].points != known[one].points
                ]
                found = [
                    left_over(
                        covariance, noise, one, np.array(draw.sample(rest, min(k, len(rest))), int)
                    )
                    for k in TAKEN
                ]
                yield size / harness.volts, np.array(found) / size


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--faults", type=int, default=6, help="drawn faults in each set-up")
    parser.add_argument("--draws", type=int, default=8, help="readings drawn in each set-up and fault")
    parser.add_argument("--harness", nargs="*", default=list(harness_files()))
    given = parser.parse_args()
    draw = random.Random(1)
    found = [each for name in given.harness for each in shares(name, given.faults, given.draws, draw)]
    size, left = np.array([one for one, _ in found]), np.array([one for _, one in found])
    print(f"{'share of supply':>18}{'readings':>10}" + "".join(f"{f'after {k}':>10}" for k in TAKEN))
    for low, high in pairwise(SIZES):
        here = (size >= low) & (size < high)
        middle = np.median(left[here], axis=0) if here.any() else np.full(len(TAKEN), np.nan)
        print(
            f"{low:>8g} to {high:<7g}{here.sum():>10}" + "".join(f"{100 * one:>9.1f}%" for one in middle)
        )
