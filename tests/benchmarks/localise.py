"""How often the tool is right, and how long it takes: vehicles simulated by ngspice, not by us.

    python tests/benchmarks/localise.py [--json] [--cases 30] [--first 0] [--harness NAME ...] [--jobs 2]
                                        [--meter-error 0.05 [--told]] [--tolerance 0.2] [--keep FILE]

For each harness lasting faults are drawn by their usual chance (and a few that come and go, which count
where a reading has met them), and for each a vehicle: every value inside its tolerance, an unknown value
anywhere in its range, a meter with its own errors. The script does what ``next`` asks for until it stops;
each reading comes from the exported deck of that very circuit, run in ``ngspice``. The repair that is
judged is what the verdict names to be put right together; how many units that is, is printed beside it,
and how often the likeliest unit alone is right. Vehicles with two faults go on, once with
``next --thorough`` from where ``next`` stopped, once through the repairs: the unit named is put right, the
readings that ``prove`` asks for are taken on a sheet that says so, and if they are not sound ``next`` goes on
with them. All of the harness's tests are read as well, and located at once. ``--meter-error`` and
``--tolerance`` show how the figures degrade; the tool is not told, but for the meter's error with ``--told``. Seeds are fixed: harnesses may be
run one by one, and a long run in pieces (``--first``).
"""

import argparse
import json
import math
import os
import random
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from case import Case, unit_of
from figures import failures, figures
from full_sheet import FullSheet
from optimum import next_against_locate, rollout_against_optimum
from utility import utilities
from vehicles import Vehicle, both_show, drawn_faults, is_visible

import circuitcheck
from circuitcheck.harness.readings import Sheet
from circuitcheck.loom import Loom
from circuitcheck.plan.next_test import next_test
from circuitcheck.plan.planner import Options, Planner
from circuitcheck.shipped import harness_files


@dataclass
class Outcome:
    """What came of one vehicle.

    :param unit: the likeliest to be at fault, ``sure`` its chance as stated when ``next`` stopped
    :param repair: the units that the verdict names to be put right together
    :param utilities: m_utl over units and over places, of one fault
    :param met: whether a reading does not fit a sound circuit
    :param shown: for two faults, whether neither hides the other wholly
    :param culprits: the faults of the first three culprits
    :param found: for two faults, those among the first three culprits at some stop
    :param repairs: units put right, in their order
    :param stops: for two faults, the first groups at the stops on the way through the repairs
    :param thorough: for two faults, where they stand after ``next --thorough``
    :param minutes_thorough: what ``next --thorough`` takes in all
    :param full: for two faults of which no single one explains a full sheet, where they stand on it
    :param again: the same once what it asked for again was read again
    """

    harness: str
    kind: str
    seed: int
    truth: list
    units: list
    verdict: str
    top: list
    culprits: list
    first: list
    unit: str
    repair: list
    sure: float
    repeat: list
    wrong: str
    minutes: float
    steps: int
    estimate: tuple | None
    visible: bool
    utilities: tuple
    met: bool
    tied: bool
    in_order: float | None = None
    shown: bool = False
    found: list = field(default_factory=list)
    repairs: list = field(default_factory=list)
    stops: list = field(default_factory=list)
    thorough: dict = field(default_factory=dict)
    minutes_thorough: float | None = None
    full: dict | None = None
    again: dict | None = None


def outcome_of(loom, planner, sheets, first, kind, seed, meter_error, tolerance):
    draw = random.Random(f"{planner.harness.name} {kind} {seed}")
    faults = drawn_faults(loom, draw, {"sound": 0, "two": 2}.get(kind, 1), passing=kind == "passing")
    harness = planner.harness.model_copy(update={"meter_within": 0.0})  # its meter errs by itself
    vehicle = Vehicle(harness, faults, seed + 1000, meter_error, tolerance)
    case = Case(planner, vehicle, draw if kind == "misread" else None)
    advice = case.follow(first)
    verdict = advice.verdict
    group = [one for one in verdict.suspects if one.group == 1]
    unit, sure = unit_of(verdict)
    truth = [one.mode.spec for one in faults]
    scores = (math.nan, math.nan)
    if kind == "single":
        scores = utilities(planner, loom.faults(), faults[0], group)
    found = Outcome(
        planner.harness.name,
        kind,
        seed,
        truth,
        [one.mode.replace for one in faults],
        verdict.verdict,
        [one.spec for one in verdict.suspects[:3]],
        first_three(verdict),
        [one.spec for one in group],
        unit,
        list(verdict.repair.units),
        sure,
        list(verdict.repeat),
        case.wrong,
        case.minutes,
        case.steps,
        _estimate(faults, verdict.suspects[0]),
        not faults or is_visible(planner, faults),
        scores,
        not all(one.fits for one in verdict.readings),
        "cutting the loom open" in advice.why,
        Case(planner, vehicle).in_written_order() if kind == "single" else None,
    )
    if kind in ("single", "two"):
        careful = case.went_on()
        after = careful.follow(next_test(planner, careful.sheet, careful.options)).verdict
        found.minutes_thorough = careful.minutes
    if kind == "two":
        found.thorough = where_both(truth, after)
        if sheets.needs_both(faults):
            whole = Case(planner, vehicle)
            sheet = whole.full_sheet()
            found.full = where_both(truth, sheet)
            found.again = where_both(truth, whole.read_again(sheet))
        verdicts, found.repairs = case.repaired(verdict)
        top = {spec for each in verdicts for spec in first_three(each)}
        found.found = [spec for spec in truth if spec in top]
        group = {
            spec
            for each in verdicts
            for one in each.suspects
            if one.group == 1
            for spec in one.spec.split(" + ")
        }
        found.stops = [spec for spec in truth if spec in group]
        found.shown = both_show(planner, faults)
    return found


def where_both(truth, verdict):
    """Whether two faults stand together in the first group of a verdict, both in its first three culprits,
    both in its first three suspects by name, and both in what it says to put right."""
    sets = [(set(one.spec.split(" + ")), one.group) for one in verdict.suspects]
    return {
        "first_group": any(set(truth) == specs for specs, group in sets if group == 1),
        "first_three": set(truth) <= set(first_three(verdict)),
        "by_name": set(truth) <= set().union(*(specs for specs, _ in sets[:3])),
        "named": sum(len(one.faults) for one in verdict.culprits[:3]),
        "repair": list(verdict.repair.units),
    }


def first_three(verdict):
    """All faults of the first three culprits."""
    return [spec for one in verdict.culprits[:3] for spec in one.faults]


def _estimate(faults, leader):
    """The range of an unknown value with the true one inside or outside it."""
    if len(faults) != 1 or leader.spec != faults[0].mode.spec or leader.estimate is None:
        return None
    return leader.estimate.low, float(faults[0].value), leader.estimate.high


def harness_outcomes(job):
    """The outcomes of one harness; with a file to keep them in, those in it are not made again.

    :param job: the harness's name, and what was asked for
    """
    name, asked = job
    loom = circuitcheck.load(name)
    if asked.told:
        loom = Loom(loom.harness.model_copy(update={"meter_within": asked.meter_error}))
    planner = loom._planner
    first = next_test(planner, Sheet("", (), {}), Options())
    sheets = FullSheet(planner.harness)
    found = {(one.kind, one.seed): one for one in kept(asked.keep) if one.harness == name}
    share = {
        "single": asked.cases,
        "sound": max(asked.cases // 6, 2),
        "two": max(asked.cases // 4, 2),
        "misread": max(asked.cases // 4, 2),
        "passing": max(asked.cases // 6, 2),
    }
    wanted = [
        (kind, seed) for kind in asked.kinds for seed in range(asked.first, asked.first + share[kind])
    ]
    for kind, seed in wanted:
        if (kind, seed) in found:
            continue
        try:
            one = outcome_of(
                loom, planner, sheets, first, kind, seed, asked.meter_error, asked.tolerance
            )
        except Exception as error:
            print(f"{name} {kind} {seed}: {error!r}", file=sys.stderr)
            raise
        found[kind, seed] = one
        if asked.keep:
            with asked.keep.open("a") as file:
                print(json.dumps(asdict(one)), file=file)
    return [found[one] for one in wanted]


def kept(file):
    """The outcomes in a file, a line each."""
    if file is None or not file.exists():
        return []
    return [Outcome(**json.loads(line)) for line in file.read_text().splitlines()]


def table_of(names, outcomes, compared):
    """Figures of each harness and of all.

    :param compared: whether the choice of tests is compared with the exact optimum and ``locate``, too
    """
    table = {name: figures([one for one in outcomes if one.harness == name]) for name in names}
    if not compared:
        return table | {"all": figures(outcomes)}
    ratios, speeds = [], []
    for name in names:
        planner = Planner((loom := circuitcheck.load(name)).harness, loom._locator)
        here, speed = rollout_against_optimum(planner), next_against_locate(name)
        table[name] |= {
            "minutes_against_optimum": sum(here) / len(here),
            "next_against_locate_most": max(speed),
        }
        ratios, speeds = ratios + here, speeds + speed
    table["all"] = figures(outcomes) | {
        "minutes_against_optimum": sum(ratios) / len(ratios),
        "next_against_locate_most": max(speeds),
    }
    return table


def show(table, outcomes):
    """For people."""
    for key in table["all"]:
        cells = [f"{table[name].get(key, math.nan):10.3g}" for name in table]
        print(f"{key:40}{''.join(cells)}")
    print(f"{'':40}{''.join(f'{name[-9:]:>10}' for name in table)}")
    for line in failures(outcomes):
        print(line)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--cases", type=int, default=30, help="single faults a harness")
    parser.add_argument("--first", type=int, default=0, help="first seed: to go on where a run ended")
    parser.add_argument("--kinds", nargs="*", default=["single", "sound", "two", "misread", "passing"])
    parser.add_argument("--harness", nargs="*", default=list(harness_files()))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--meter-error", type=float, default=0.0, help="0.05: five per cent besides")
    parser.add_argument("--told", action="store_true", help="the tool is told of the meter's error")
    parser.add_argument("--tolerance", type=float, default=0.0, help="0.2: every value twenty per cent")
    parser.add_argument("--keep", type=Path, help="file of outcomes: what is in it is not done again")
    given = parser.parse_args()
    begin = time.perf_counter()
    jobs = [(name, given) for name in given.harness]
    with ProcessPoolExecutor(given.jobs) as pool:
        everything = [one for part in pool.map(harness_outcomes, jobs) for one in part]
    table = table_of(given.harness, everything, given.first == 0)
    table["all"]["seconds"] = time.perf_counter() - begin
    if given.json:
        clean = json.loads(json.dumps(table), parse_constant=lambda _: None)
        print(json.dumps({"figures": clean, "failures": list(failures(everything))}, indent=2))
    else:
        show(table, everything)
