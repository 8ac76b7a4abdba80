"""How often the tool is right, and how long it takes: vehicles simulated by ngspice, not by us.

    python tests/benchmarks/localise.py [--json] [--cases 30] [--harness NAME ...] [--jobs 2]
                                        [--meter 1.0] [--tolerance 1.0]

For each harness faults are drawn by their usual chance, and for each a vehicle: every value inside its
tolerance, an unknown value anywhere in its range, a meter with its own errors. The script does what
``next`` asks for until it stops; each reading comes from the exported deck of that very circuit, run in
``ngspice``. ``--meter`` and ``--tolerance`` multiply the errors, to see how the figures degrade; the
tool is not told.

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
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))

import numpy as np
from simulator import simulate

import circuitcheck
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import ChosenFault, combined
from circuitcheck.expect.second_opinion import Observed, look_of
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.vehicle import drawer, shown, vary
from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading
from circuitcheck.physics.meter import ACCURACY, OPEN_OHM
from circuitcheck.plan.next_test import next_test
from circuitcheck.plan.planner import Options, Planner
from circuitcheck.shipped import harness_files
from circuitcheck.solve.deck import circuit_deck, printed_name

MOST_STEPS = 12


@dataclass
class Vehicle:
    """One vehicle with its faults, whose readings the simulator gives."""

    harness: object
    faults: list
    seed: int
    meter: float = 1.0
    tolerance: float = 1.0
    blown: frozenset = field(init=False)

    def __post_init__(self):
        rule = lambda branches: combined(self.faults, branches)  # noqa: E731
        (self.blown,) = blown_in_service(self.harness, [rule])
        plain = drawer(self.seed)
        self.draw = lambda latent: self.tolerance * plain(latent)
        self.errors = plain

    def read(self, setup, observations):
        """What the meter shows of some observations, by name."""
        bench = Bench(self.harness, setup, tuple(observations))
        seen, places = [], []
        for station in bench.stations:
            varied = vary(station.circuit, self.draw)
            varied = varied.changed(combined(self.faults, varied.branches, setup.swap))
            for place, reader in station.readers:
                observation = observations[place][1]
                circuit = varied.changed(reader.meter()).after(self.blown - bench.renewed)
                seen.append(Observed(f"r{place}", observation.kind, circuit, reader))
                places.append(place)
        buzzing = [one for one in seen if one.point.buzzing]
        quiet = [one for one in seen if not one.point.buzzing]
        found = {}
        if quiet:
            found = simulate(circuit_deck("vehicle", [], [look_of(one) for one in quiet]))
        values = {one.name: found.get(printed_name(one.name), math.nan) for one in quiet}
        values |= {one.name: math.nan for one in buzzing}
        return {observations[place][0]: self._shown(*observations[place], values[f"r{place}"])
                for place in places}  # fmt: skip

    def _shown(self, name, observation, value):
        if math.isnan(value):
            return "buzzes"
        if observation.kind == "ohms" and value > OPEN_OHM:
            value = math.inf
        error = math.tanh(self.errors(f"meter {name} {observation!r}")) * self.meter
        if observation.kind in ACCURACY or math.isinf(value):
            return shown(self.harness, observation, value, error)
        return "clicks" if value > 0.5 else "silent"


@dataclass
class Outcome:
    """What came of one vehicle."""

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
    in_order: float | None = None


class Case:
    """A vehicle being tested."""

    def __init__(self, planner, vehicle, misread=None):
        self.planner, self.vehicle = planner, vehicle
        self.readings, self.setups, self.opened = [], {}, set()
        self.minutes, self.steps, self.misread, self.wrong = 0.0, 0, misread, ""

    @property
    def sheet(self):
        return Sheet("", tuple(self.readings), dict(self.setups))

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

    def follow(self, first):
        advice = first
        known = {one.name: one for one in self.planner.candidates}
        while not advice.done and self.steps < MOST_STEPS:
            test = advice.test
            candidate = known[test.name]
            wanted = {one.sound.name for one in test.readings}
            observations = [one for one in candidate.observations if one[0] in wanted]
            self.take(test.name, candidate.setup, observations, test.access)
            self.minutes += test.minutes
            self.opened |= set(test.access)
            self.steps += 1
            options = Options(opened=frozenset(self.opened))
            advice = next_test(self.planner, self.sheet, options)
        return advice.verdict

    def in_written_order(self):
        """Minutes of the harness's own tests in their order until one unit is 95 % sure."""
        harness, minutes, opened = self.planner.harness, 0.0, set()
        for name, test in harness.tests.items():
            self.take(name, test.setup, list(test.observe.items()), test.access)
            minutes += test.minutes + sum(harness.access[one].minutes for one in set(test.access) - opened)
            opened |= set(test.access)
            verdict = self.planner.locator.locate(self.sheet)
            if unit_of(verdict)[1] >= 0.95:
                break
        return minutes


def unit_of(verdict):
    units = Counter()
    for one in verdict.suspects:
        units[one.replace] += one.probability
    unit, chance = units.most_common(1)[0]
    return unit, chance / sum(units.values())


def utility(accused, true, elements):
    """m_utl of one accused set against the true one."""
    wrong, size = len(accused - true), len(accused)
    missed, outside = len(true - accused), elements - len(accused)
    useless = wrong * (size + 1) / (elements * (wrong + 1))
    return 1 - useless - missed * (outside + 1) / (elements * (missed + 1))


def drawn_value(mode, draw):
    if mode.severity is None:
        return 0.0
    low, high = math.log(mode.severity.low), math.log(mode.severity.high)
    return math.exp(draw.uniform(low, high))


def drawn_faults(loom, draw, count):
    modes = loom.faults()
    found = []
    while len(found) < count:
        mode = draw.choices(modes, [one.weight for one in modes])[0]
        if mode.where not in {one.mode.where for one in found}:
            found.append(ChosenFault(mode, drawn_value(mode, draw)))
    return found


def is_visible(planner, faults):
    """Whether any reading that could be taken moves by more than the meter's error and a little."""
    for one in planner.candidates:
        if one.setup.swap:
            continue
        bench = planner.bench(one)
        change = combined(faults, bench.circuit.branches, one.setup.swap)
        rule = lambda branches: combined(faults, branches)  # noqa: E731
        blown = blown_in_service(planner.harness, [rule]) * 2
        values = bench.run([{}, change], blown=[frozenset(), blown[0]]).values
        for place, (_, observation) in enumerate(one.observations):
            sound, now = values[:, place]
            if np.isfinite(sound) != np.isfinite(now):
                return True
            if observation.kind not in ("volts", "drop", "amps", "ohms") or not np.isfinite(sound):
                continue
            meter = float(ACCURACY[observation.kind].uncertainty(np.array(sound)))
            if abs(now - sound) > 3 * math.hypot(meter, 0.03 * sound):
                return True
    return False


def outcome_of(loom, planner, first, kind, seed, meter, tolerance, written):
    draw = random.Random(f"{planner.harness.name} {kind} {seed}")
    count = {"sound": 0, "two": 2}.get(kind, 1)
    faults = drawn_faults(loom, draw, count)
    vehicle = Vehicle(planner.harness, faults, seed + 1000, meter, tolerance)
    case = Case(planner, vehicle, draw if kind == "misread" else None)
    verdict = case.follow(first)
    group = [one for one in verdict.suspects if one.group == 1]
    unit, sure = unit_of(verdict)
    truth = [one.mode.spec for one in faults]
    leader = verdict.suspects[0]
    estimate = None
    if len(truth) == 1 and leader.spec == truth[0] and leader.estimate is not None:
        estimate = (leader.estimate.low, float(faults[0].value), leader.estimate.high)
    elements = len({one.where for one in loom.faults()})
    true_set = {one.mode.where for one in faults}
    utilities = [utility(set(one.where.split(" + ")) - {""}, true_set, elements) for one in group]
    weights = [one.probability for one in group]
    score = sum(u * w for u, w in zip(utilities, weights, strict=True)) / sum(weights)
    order = Case(planner, vehicle).in_written_order() if written else None
    return Outcome(
        planner.harness.name, kind, truth, [one.mode.replace for one in faults], verdict.verdict,
        [one.spec for one in verdict.suspects[:3]], [one.spec for one in group], unit, sure,
        list(verdict.repeat), case.wrong, case.minutes, case.steps, estimate,
        not faults or is_visible(planner, faults), score, order,
    )  # fmt: skip


def harness_outcomes(job):
    name, cases, meter, tolerance, part, parts = job
    loom = circuitcheck.load(name)
    planner = Planner(loom.harness, loom._locator)
    first = next_test(planner, Sheet("", (), {}), Options())
    share = {"single": cases, "sound": max(cases // 6, 2), "two": max(cases // 4, 2),
             "misread": max(cases // 4, 2)}  # fmt: skip
    found = []
    for kind, number in share.items():
        for seed in range(part, number, parts):
            try:
                found.append(outcome_of(loom, planner, first, kind, seed, meter, tolerance,
                                        kind == "single" and seed % 4 == 0))  # fmt: skip
            except Exception as error:
                print(f"{name} {kind} {seed}: {error!r}", file=sys.stderr)
                raise
    return found


def share(rows, test):
    rows = list(rows)
    return sum(map(bool, map(test, rows))) / len(rows) if rows else math.nan


def figures(found):
    single = [one for one in found if one.kind == "single" and one.visible]
    wrong = [one for one in found if one.kind == "misread" and one.wrong and one.visible]
    two = [one for one in found if one.kind == "two" and one.visible]
    sound = [one for one in found if one.kind == "sound"]
    sure = [(one.sure, one.unit in one.units if one.units else one.unit == "")
            for one in found if one.kind in ("single", "sound")]  # fmt: skip
    bins = [[r for p, r in sure if low <= p < high] for low, high in BINS]
    means = [[p for p, r in sure if low <= p < high] for low, high in BINS]
    calibration = sum(abs(sum(r) / len(r) - sum(p) / len(p)) * len(r)
                      for r, p in zip(bins, means, strict=True) if r) / max(len(sure), 1)  # fmt: skip
    ranges = [one.estimate for one in single if one.estimate]
    ordered = [one for one in single if one.in_order]
    return {
        "cases": len(found), "single_visible": len(single),
        "unit_right": share(single, lambda o: o.unit in o.units),
        "true_fault_in_first_group": share(single, lambda o: o.truth[0] in o.first),
        "sound_called_sound": share(sound, lambda o: o.unit == ""),
        "two_both_in_first_three": share(two, lambda o: set(o.truth) <= {
            spec for one in o.top for spec in one.split(" + ")}),
        "misread_still_right": share(wrong, lambda o: o.unit in o.units),
        "misread_flagged": share(wrong, lambda o: any(o.wrong in one for one in o.repeat)),
        "calibration_error": calibration,
        "ranges_hold": share(ranges, lambda r: r[0] <= r[1] <= r[2]), "ranges": len(ranges),
        "isolation_utility": sum(o.utility for o in single) / max(len(single), 1),
        "minutes": sum(o.minutes for o in single) / max(len(single), 1),
        "steps": sum(o.steps for o in single) / max(len(single), 1),
        "minutes_against_written_order": sum(o.minutes for o in ordered)
        / max(sum(o.in_order for o in ordered), 1e-9),
    }  # fmt: skip


BINS = ((0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))


def failures(found):
    for one in found:
        if one.kind in ("single", "misread") and one.visible and one.unit not in one.units:
            yield f"{one.harness} {one.kind}: {one.truth} called {one.top[0]} ({one.sure:.2f})"
        if one.kind == "sound" and one.unit:
            yield f"{one.harness} sound called {one.top[0]} ({one.sure:.2f})"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--cases", type=int, default=30)
    parser.add_argument("--harness", nargs="*", default=list(harness_files()))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--meter", type=float, default=1.0)
    parser.add_argument("--tolerance", type=float, default=1.0)
    given = parser.parse_args()
    begin = time.perf_counter()
    jobs = [(name, given.cases, given.meter, given.tolerance, part, given.jobs)
            for name in given.harness for part in range(given.jobs)]  # fmt: skip
    with ProcessPoolExecutor(given.jobs) as pool:
        everything = [one for part in pool.map(harness_outcomes, jobs) for one in part]
    table = {name: figures([one for one in everything if one.harness == name])
             for name in given.harness}  # fmt: skip
    table["all"] = figures(everything) | {"seconds": time.perf_counter() - begin}
    if given.json:
        clean = json.loads(json.dumps(table), parse_constant=lambda _: None)
        print(json.dumps({"figures": clean, "failures": list(failures(everything))}, indent=2))
    else:
        for key in table[given.harness[0]]:
            cells = [f"{table[name].get(key, math.nan):10.3g}" for name in table]
            print(f"{key:32}{''.join(cells)}")
        print(f"{'':32}{''.join(f'{name[-9:]:>10}' for name in table)}")
        print(f"{table['all']['seconds']:.0f} s")
        for line in failures(everything):
            print(line)
