"""Seeded faults in every shipped harness, powered up step by step: stopped before anything burns?

    python tests/benchmarks/powerup.py [HARNESS ...] [--json] [--each N] [--sound N] [--seed S]

Each vehicle is drawn from the sound ones, with a fault put in, and its steps are read one by one with
the errors of a meter, up to the step at which the tool says stop. In every step that was taken the
circuit is solved for itself, to see whether it has blown a fuse or carries more than a wire, a contact
or a resistor is made for.

Figures: ``sound`` share of sound looms that pass every step; for each class of fault, ``stopped`` share
that is stopped, ``unharmed`` share that comes to the stop, or to the end, with nothing overloaded;
``behind the lamp`` share that is stopped before the battery is on; ``named`` share of those stopped in
which the verdict has the fault in its first group; ``steps`` how many steps were taken on average.
"""

import argparse
import json
import random
import sys
import time
from collections import Counter

from circuitcheck.circuit.build import build_circuit, lasting_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.vehicle import drawer, read_vehicle, vary
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.readings import parse_readings, sheet_text
from circuitcheck.inspect.feeds import wire_capacity
from circuitcheck.inspect.powerup.judge import judge
from circuitcheck.inspect.powerup.order import Order
from circuitcheck.inspect.powerup.plan import powerup_plan
from circuitcheck.locate.locate import Locator
from circuitcheck.parts.relay import Relay
from circuitcheck.parts.resistor import Resistor
from circuitcheck.shipped import harness_files
from circuitcheck.solve.point import solve_point

CLASSES = {
    "short to ground": lambda one: one.mode == "short to ground",
    "short to supply": lambda one: one.mode == "short to supply",
    "swapped": lambda one: one.mode.startswith("swapped"),
    "wrong relay": lambda one: one.mode.startswith("with ") or one.mode == "diode reversed",
    "open": lambda one: one.mode in ("open", "blown", "coil open") or one.mode.endswith("stuck open"),
    "welded or shorted": lambda one: one.mode.endswith(("welded", "shorted", "seized")),
}


class Bench:
    """A harness with its plan; takes vehicles through it."""

    def __init__(self, name):
        self.harness = load_harness(name)
        self.plan = powerup_plan(self.harness)
        self.locator = Locator(self.plan.harness)
        self.design = Order(self.plan.harness).design

    def take(self, faults, seed):
        """The steps taken, the result, and the first step in which something was overloaded."""
        written, harmed = {}, None
        for step in self.plan.steps:
            written |= read_vehicle(self.plan.harness, [step.name], faults, seed)
            harmed = harmed or (step.name if self.overloads(step, faults, seed) else None)
            sheet = parse_readings(self.plan.harness, sheet_text(self.harness.name, written))
            last = step is self.plan.steps[-1]
            if last or self.may_be_off(step, sheet):
                result = judge(self.plan, sheet, self.locator)
                if result.status in ("stop", "repeat"):
                    return len(written), result, harmed
        return len(written), result, harmed

    def may_be_off(self, step, sheet):
        """A first look, so that steps which read as they should cost nothing."""
        mine = {one.name: one for one in sheet.readings if one.test == step.name}
        for expected in step.readings:
            one = mine[expected.name]
            if one.word != expected.word or expected.low is None:
                return True
            if not one.word and not expected.low <= one.value <= expected.high:
                return True
        return False

    def overloads(self, step, faults, seed):
        """Whether anything carries more than it is made for, in the steady state of a step."""
        circuit = vary(build_circuit(self.harness, step.test.setup), drawer(seed))
        for one in faults:
            circuit = circuit.changed(one.change(circuit.branches))
        point = solve_point(circuit)
        if any(on for name, on in point.states.items() if name.endswith("blown")):
            return True
        amps = {key: abs(one) for key, one in point.amps.items()}
        wires = self.harness.wires.items()
        if any(amps.get(key, 0.0) > wire_capacity(self.design, one) for key, one in wires):
            return True
        for name, part in self.harness.parts.items():
            if isinstance(part, Relay):
                contacts = [amps.get(f"{name}:30-{pin}", 0.0) for pin in ("87", "87a")]
                if max(contacts) > part.rating:
                    return True
            if isinstance(part, Resistor) and part.watts:
                branch = circuit.branches[f"{name}:element"]
                if amps.get(f"{name}:element", 0.0) ** 2 * branch.ohm > part.watts:
                    return True
        return False


def measure(name, options):
    """All figures of one harness."""
    begun = time.perf_counter()
    bench = Bench(name)
    planned = time.perf_counter() - begun
    passed = [bench.take([], options.seed + n)[1] for n in range(options.sound)]
    found = {
        "harness": name,
        "steps": len(bench.plan.steps),
        "plan_s": round(planned, 2),
        "sound": sum(one.status == "done" for one in passed) / max(len(passed), 1),
        "sound_stopped_at": [one.stopped.step.name for one in passed if one.stopped],
    }
    sound_harm = [bench.take([], options.seed + n)[2] for n in range(min(3, options.sound))]
    found["sound_overloads"] = sorted({one for one in sound_harm if one})
    draw = random.Random(f"{name} {options.seed}")
    modes = lasting_faults(bench.plan.harness)
    for label, belongs in CLASSES.items():
        mine = [one for one in modes if belongs(one)]
        chosen = draw.sample(mine, min(options.each, len(mine)))
        found[label] = faulty(bench, chosen, options.seed) if chosen else None
    found["seconds"] = round(time.perf_counter() - begun, 1)
    return found


def faulty(bench, modes, seed):
    """The figures of one class."""
    count, where, missed = Counter(), Counter(), []
    for number, mode in enumerate(modes):
        fault = ChosenFault(mode, mode.severity.typical if mode.severity else 0.0)
        steps, result, harmed = bench.take([fault], seed + number)
        count["steps"] += steps
        count["unharmed"] += harmed is None
        if harmed:
            missed.append(f"{mode.spec}: overloads in {harmed}")
        if result.status == "done":
            missed.append(f"{mode.spec}: not stopped")
            continue
        count["stopped"] += 1
        at = next(one.step for one in result.steps if one.status in ("stop", "repeat"))
        where[at.name] += 1
        count["behind"] += at.test.setup.through is not None
        count["named"] += any(
            one.spec == mode.spec and one.group == 1 for one in result.verdict.suspects
        )
    size = len(modes)
    return {
        "drawn": size,
        "stopped": count["stopped"] / size,
        "unharmed": count["unharmed"] / size,
        "behind_the_lamp": count["behind"] / size,
        "named": count["named"] / max(count["stopped"], 1),
        "steps": count["steps"] / size,
        "at": dict(where),
        "notes": missed,
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("harness", nargs="*")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--each", type=int, default=6)
    parser.add_argument("--sound", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    found = [measure(name, options) for name in options.harness or sorted(harness_files())]
    if options.json:
        json.dump(found, sys.stdout, indent=2)
        print()
        return
    for one in found:
        print(f"{one['harness']}: {one['steps']} steps, {one['sound']:.0%} of sound looms pass all")
        for label in CLASSES:
            row = one[label]
            if row:
                print(
                    f"  {label:18} {row['drawn']:3} drawn  {row['stopped']:4.0%} stopped  "
                    f"{row['unharmed']:4.0%} unharmed  {row['behind_the_lamp']:4.0%} behind the lamp  "
                    f"{row['named']:4.0%} named  {row['steps']:.1f} steps"
                )
                for note in row["notes"]:
                    print(f"      {note}")


if __name__ == "__main__":
    main()
