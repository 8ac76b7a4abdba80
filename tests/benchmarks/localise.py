"""How often the tool is right, and how long it takes: vehicles simulated by ngspice, not by us.

    python tests/benchmarks/localise.py [--json] [--cases 30] [--first 0] [--harness NAME ...] [--jobs 2]
                                        [--meter-error 0.05] [--tolerance 0.2]

For each harness faults are drawn by their usual chance, and for each a vehicle: every value inside its
tolerance, an unknown value anywhere in its range, a meter with its own errors. The script does what
``next`` asks for until it stops; each reading comes from the exported deck of that very circuit, run in
``ngspice``. Vehicles with two faults go on: the unit named is put right, the readings that ``prove``
asks for are taken, and if they are not sound ``next`` goes on with them. ``--meter-error`` and
``--tolerance`` show how the figures degrade; the tool is not told. Seeds are fixed: harnesses may be
run one by one, and a long run in pieces (``--first``).

m_utl is the isolation utility of the Diagnostic Competition framework (A. Feldman et al., *Empirical
Evaluation of Diagnostic Algorithm Performance Using a Generic Framework*, IJPHM), averaged over the
first group.
"""

import argparse
import json
import math
import os
import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from figures import failures, figures
from optimum import next_against_locate, rollout_against_optimum
from vehicles import Vehicle, both_show, drawn_faults, is_visible

import circuitcheck
from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading
from circuitcheck.plan.next_test import next_test
from circuitcheck.plan.planner import Options, Planner
from circuitcheck.plan.prove import prove
from circuitcheck.shipped import harness_files

MOST_STEPS = 12
MOST_REPAIRS = 3


@dataclass
class Outcome:
    """What came of one vehicle.

    :param sure: chance of the unit named, as stated when ``next`` stopped
    :param shown: for two faults, whether neither hides the other wholly
    :param found: for two faults, those among the first three suspects at some stop
    :param repairs: units put right, in their order
    """

    harness: str
    kind: str
    truth: list
    units: list
    verdict: str
    top: list
    first: list
    unit: str
    sure: float
    repeat: list
    wrong: str
    minutes: float
    steps: int
    estimate: tuple | None
    visible: bool
    utility: float
    tied: bool
    in_order: float | None = None
    shown: bool = False
    found: list = field(default_factory=list)
    repairs: list = field(default_factory=list)


class Case:
    """A vehicle being tested."""

    def __init__(self, planner, vehicle, misread=None, opened=()):
        self.planner, self.vehicle = planner, vehicle
        self.readings, self.setups, self.opened = [], {}, set(opened)
        self.minutes, self.steps, self.misread, self.wrong = 0.0, 0, misread, ""
        self.known = {one.name: one for one in planner.candidates}

    @property
    def sheet(self):
        return Sheet("", tuple(self.readings), dict(self.setups))

    @property
    def options(self):
        return Options(opened=frozenset(self.opened))

    def take(self, name, setup, observations, access=()):
        written = self.vehicle.read(setup, observations)
        for label, observation in observations:
            text = self._misread(label, observation, written[label])
            parsed = parse_reading(observation.kind, text)
            self.readings.append(Reading(name, label, observation, *parsed))
        observe = dict(self.setups[name].observe) if name in self.setups else {}
        self.setups[name] = Test(title=name, setup=setup, observe={**observe, **dict(observations)},
                                 access=list(access))  # fmt: skip

    def _misread(self, label, observation, text):
        """One reading in the whole case is plain wrong: another value that the meter could show."""
        if self.misread is None or self.wrong or self.misread.random() > 0.3:
            return text
        if observation.kind not in ("volts", "drop", "amps") or text == "buzzes":
            return text
        ceiling = 14.0 if observation.kind != "amps" else 30.0
        other = self.misread.uniform(0, ceiling)
        if abs(other - float(text.split()[0])) < 0.1 * ceiling:
            return text
        self.wrong = label
        return f"{other:.2f} {text.split()[1]}"

    def do(self, name, wanted, minutes, access):
        """One test as it was asked for."""
        candidate = self.known[name]
        observations = [one for one in candidate.observations if one[0] in wanted]
        self.take(name, candidate.setup, observations, access)
        self.minutes += minutes
        self.opened |= set(access)

    def follow(self, advice):
        """Do what is asked for until it stops."""
        while not advice.done and self.steps < MOST_STEPS:
            test = advice.test
            self.do(test.name, {one.sound.name for one in test.readings}, test.minutes, test.access)
            self.steps += 1
            advice = next_test(self.planner, self.sheet, self.options)
        return advice

    def in_written_order(self):
        """Minutes of the harness's own tests in their order until one unit is 95 % sure."""
        harness, minutes, opened = self.planner.harness, 0.0, set()
        for name, test in harness.tests.items():
            self.take(name, test.setup, list(test.observe.items()), test.access)
            minutes += test.minutes + sum(harness.access[one].minutes for one in set(test.access) - opened)
            opened |= set(test.access)
            verdict = self.planner.locator.locate(self.sheet)
            if likeliest_unit(verdict)[1] >= 0.95:
                break
        return minutes

    def repaired(self, verdict):
        """Put right what is named, prove, and go on where the proof is not sound.

        :returns: the verdicts at which it was put right or stopped, and the units put right
        """
        case, verdicts, named = self, [verdict], []
        while len(named) < MOST_REPAIRS:
            unit = unit_of(verdicts[-1], named)[0]
            if not unit:
                break
            named.append(unit)
            proof = prove(self.planner, case.sheet, None, case.options)
            case = Case(self.planner, case.vehicle.repaired(unit.split(" and ")), None, case.opened)
            for test in proof.tests:
                case.do(test.name, {one.name for one in test.readings}, test.minutes, test.access)
            if self.planner.locator.locate(case.sheet).verdict == "sound":
                break
            advice = next_test(self.planner, case.sheet, case.options)
            verdicts.append(case.follow(advice).verdict)
        return verdicts, [unit for one in named for unit in one.split(" and ")]


def unit_of(verdict, tried=()):
    """The unit to put right first, with its chance; none where the verdict is sound."""
    if verdict.verdict == "sound":
        return "", sum(one.probability for one in verdict.suspects if one.group == 1)
    return likeliest_unit(verdict, tried)


def likeliest_unit(verdict, tried=()):
    """The unit that is most likely at fault, with its chance."""
    units = Counter()
    for one in verdict.suspects:
        units[one.replace] += one.probability
    total = sum(units.values())
    for unit in tried:
        units.pop(unit, None)
    unit, chance = units.most_common(1)[0] if units else ("", 0.0)
    return unit, chance / total


def utility(accused, true, elements):
    """m_utl of one accused set against the true one."""
    wrong, size = len(accused - true), len(accused)
    missed, outside = len(true - accused), elements - len(accused)
    useless = wrong * (size + 1) / (elements * (wrong + 1))
    return 1 - useless - missed * (outside + 1) / (elements * (missed + 1))


def outcome_of(loom, planner, first, kind, seed, meter_error, tolerance, written):
    draw = random.Random(f"{planner.harness.name} {kind} {seed}")
    faults = drawn_faults(loom, draw, {"sound": 0, "two": 2}.get(kind, 1))
    vehicle = Vehicle(planner.harness, faults, seed + 1000, meter_error, tolerance)
    case = Case(planner, vehicle, draw if kind == "misread" else None)
    advice = case.follow(first)
    verdict = advice.verdict
    group = [one for one in verdict.suspects if one.group == 1]
    unit, sure = unit_of(verdict)
    truth = [one.mode.spec for one in faults]
    elements = len({one.where for one in loom.faults()})
    true_set = {one.mode.where for one in faults}
    utilities = [utility(set(one.where.split(" + ")) - {""}, true_set, elements) for one in group]
    weights = [one.probability for one in group]
    found = Outcome(
        planner.harness.name, kind, truth, [one.mode.replace for one in faults], verdict.verdict,
        [one.spec for one in verdict.suspects[:3]], [one.spec for one in group], unit, sure,
        list(verdict.repeat), case.wrong, case.minutes, case.steps,
        _estimate(faults, verdict.suspects[0]), not faults or is_visible(planner, faults),
        sum(u * w for u, w in zip(utilities, weights, strict=True)) / sum(weights),
        "cutting the loom open" in advice.why,
        Case(planner, vehicle).in_written_order() if written else None,
    )  # fmt: skip
    if kind == "two":
        verdicts, found.repairs = case.repaired(verdict)
        top = {spec for each in verdicts for one in each.suspects[:3] for spec in one.spec.split(" + ")}
        found.found = [spec for spec in truth if spec in top]
        found.shown = both_show(planner, faults)
    return found


def _estimate(faults, leader):
    """The range of an unknown value with the true one inside or outside it."""
    if len(faults) != 1 or leader.spec != faults[0].mode.spec or leader.estimate is None:
        return None
    return leader.estimate.low, float(faults[0].value), leader.estimate.high


def harness_outcomes(job):
    name, cases, begin, kinds, meter_error, tolerance, part, parts = job
    loom = circuitcheck.load(name)
    planner = loom._planner
    first = next_test(planner, Sheet("", (), {}), Options())
    share = {"single": cases, "sound": max(cases // 6, 2), "two": max(cases // 4, 2),
             "misread": max(cases // 4, 2)}  # fmt: skip
    found = []
    for kind in kinds:
        for seed in range(begin + part, begin + share[kind], parts):
            try:
                found.append(outcome_of(loom, planner, first, kind, seed, meter_error, tolerance,
                                        kind == "single" and seed % 4 == 0))  # fmt: skip
            except Exception as error:
                print(f"{name} {kind} {seed}: {error!r}", file=sys.stderr)
                raise
    return found


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
        table[name] |= {"minutes_against_optimum": sum(here) / len(here),
                        "next_against_locate_most": max(speed)}  # fmt: skip
        ratios, speeds = ratios + here, speeds + speed
    table["all"] = figures(outcomes) | {
        "minutes_against_optimum": sum(ratios) / len(ratios), "next_against_locate_most": max(speeds)
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
    parser.add_argument("--kinds", nargs="*", default=["single", "sound", "two", "misread"])
    parser.add_argument("--harness", nargs="*", default=list(harness_files()))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--meter-error", type=float, default=0.0, help="0.05: five per cent besides")
    parser.add_argument("--tolerance", type=float, default=0.0, help="0.2: every value twenty per cent")
    given = parser.parse_args()
    begin = time.perf_counter()
    jobs = [(name, given.cases, given.first, given.kinds, given.meter_error, given.tolerance, part, given.jobs)
            for name in given.harness for part in range(given.jobs)]  # fmt: skip
    with ProcessPoolExecutor(given.jobs) as pool:
        everything = [one for part in pool.map(harness_outcomes, jobs) for one in part]
    table = table_of(given.harness, everything, given.first == 0)
    table["all"]["seconds"] = time.perf_counter() - begin
    if given.json:
        clean = json.loads(json.dumps(table), parse_constant=lambda _: None)
        print(json.dumps({"figures": clean, "failures": list(failures(everything))}, indent=2))
    else:
        show(table, everything)
