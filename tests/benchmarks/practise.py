"""What testing is worth: somebody who follows ``next`` beside somebody who swaps parts.

    python tests/benchmarks/practise.py [--json] [--seeds 0 1] [--level 1 2 3 4 5] [--harness NAME ...]
                                        [--jobs 1]

Both are given the same practice cases. The follower does what ``next`` asks for, in the words of
``practise`` and at its minutes, puts right what the verdict holds likeliest and what the readings cannot
tell from it, drives after each, and tests again, with what he has put right on his sheet, until the
customer is content. The guesser tests nothing: he puts right one unit after another in the order of
usual frequency, and drives after each, until the customer is content. Each unit that was not at fault costs
what the planner says it costs (its way to the shop included); the cost of the right ones is left out, as
both have it.

    cured              nothing was left wrong in the end
    nothing_needless   cured, and all that was put right was due
    first_right        the first unit put right was due; where nothing was, none was put right
    but_for_alike      cured, and all put right in vain stood in one group of the verdict with what was
                       due: the readings that can be taken do not tell them apart
"""

import argparse
import itertools
import json
import math
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import circuitcheck
from circuitcheck.circuit.build import all_faults
from circuitcheck.learn.case import LEVELS, WELL, complaint, draw_case
from circuitcheck.learn.follow import follow
from circuitcheck.learn.workshop import MINUTES, Workshop
from circuitcheck.plan.planner import PRICE
from circuitcheck.shipped import harness_files


@dataclass
class Outcome:
    """One case, both ways."""

    harness: str
    level: int
    seed: int
    truth: list
    due: list
    named: list
    units: list
    cured: bool
    nothing_needless: bool
    first_right: bool
    but_for_alike: bool
    needless: int
    minutes: float
    total: float
    guessed_needless: int
    guessed_total: float
    cpu_seconds: float


def guess(case):
    """Needless units and minutes of the one who swaps."""
    harness, left = case.harness, list(case.faults)
    weights, opened, minutes, needless = Counter(), set(), 0.0, 0
    shop = Workshop(case)
    for mode in all_faults(harness):
        weights[mode.replace] += mode.weight
    for unit, _ in weights.most_common():
        minutes += MINUTES["drive"] + sum(
            harness.access[one].minutes for one in access_of(harness, unit) - opened
        )
        opened |= access_of(harness, unit)
        due = [one for one in left if one.mode.replace == unit]
        needless += bool(shop.needless([unit]))
        left = [one for one in left if one not in due]
        if complaint(harness, left) == WELL:
            break
    return needless, minutes + PRICE * needless


def access_of(harness, unit):
    """What must be open to put a unit right."""
    things = [*harness.parts.items(), *harness.wires.items()]
    names = [name for name, one in things if unit in (name, one.belongs_to)] or [unit.partition(".")[0]]
    found = [{**harness.parts, **harness.wires}[name].access for name in names]
    return {one for one in found if one}


def outcomes(job):
    """All cases of one harness and one level."""
    name, level, seeds = job
    loom = circuitcheck.load(name)
    found = []
    for seed in seeds:
        case = draw_case(loom.harness, level, seed)
        begin = time.process_time()
        done = follow(case, loom._planner)
        seconds = time.process_time() - begin
        needless, total = guess(case)
        found.append(
            Outcome(
                name,
                level,
                seed,
                [one.spec for one in case.faults],
                [one.mode.replace for one in case.faults],
                list(done.named),
                list(done.units),
                done.cured,
                done.first_time,
                done.first_right,
                done.cured and set(done.needless) <= set(done.unparted),
                len(done.needless),
                done.minutes,
                done.minutes + PRICE * len(done.needless),
                needless,
                total,
                seconds,
            )
        )
    return found


def mean(rows, what):
    rows = [what(one) for one in rows]
    return sum(rows) / len(rows) if rows else math.nan


def figures(found):
    """One row of the table."""
    total, guessed = mean(found, lambda o: o.total), mean(found, lambda o: o.guessed_total)
    return {
        "cases": len(found),
        "cured": mean(found, lambda o: o.cured),
        "nothing_needless": mean(found, lambda o: o.nothing_needless),
        "first_right": mean(found, lambda o: o.first_right),
        "but_for_alike": mean(found, lambda o: o.but_for_alike),
        "needless": mean(found, lambda o: o.needless),
        "testing_minutes": mean(found, lambda o: o.minutes),
        "minutes": total,
        "guesser_needless": mean(found, lambda o: o.guessed_needless),
        "guesser_minutes": guessed,
        "guesser_over_follower": guessed / total if total else math.nan,
        "cpu_seconds_each": mean(found, lambda o: o.cpu_seconds),
    }


def failures(found):
    """Cases that were not cured, or in which something was put right in vain."""
    for one in found:
        if not one.nothing_needless:
            yield (
                f"{one.harness} level {one.level} seed {one.seed}: {one.truth} ({one.due}); put right "
                f"{one.units}{'' if one.cured else ', and it is still wrong'}"
                f"{', which readings cannot part' if one.but_for_alike else ''}"
            )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--seeds", nargs="*", type=int, default=[0])
    parser.add_argument("--level", nargs="*", type=int, default=list(LEVELS))
    parser.add_argument("--harness", nargs="*", default=list(harness_files()))
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    jobs = list(itertools.product(given.harness, given.level, [given.seeds]))
    with ProcessPoolExecutor(given.jobs) as pool:
        everything = [one for part in pool.map(outcomes, jobs) for one in part]
    table = {
        f"level {level}": figures([one for one in everything if one.level == level])
        for level in given.level
    }
    table["all"] = figures(everything)
    if given.json:
        clean = json.loads(json.dumps(table), parse_constant=lambda _: None)
        print(json.dumps({"figures": clean, "cases": [asdict(one) for one in everything]}, indent=2))
        sys.exit()
    for key in table["all"]:
        print(f"{key:24}" + "".join(f"{row[key]:10.3g}" for row in table.values()))
    print(f"{'':24}" + "".join(f"{name:>10}" for name in table))
    for line in failures(everything):
        print(line)
