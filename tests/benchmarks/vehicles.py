"""Vehicles with faults whose readings come from the circuit simulator ngspice, not from us."""

import math
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))

import numpy as np
from simulator import simulate

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.second_opinion import Observed, look_of
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.vehicle import drawer, is_there, shown, vary
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.meter import ACCURACY, OPEN_OHM
from circuitcheck.solve.deck import circuit_deck, printed_name


@dataclass
class Vehicle:
    """One vehicle with its faults.

    :param meter_error: share of each number by which the meter may be out besides its own accuracy
    :param tolerance: share by which every value of every part may be out at the least
    """

    harness: object
    faults: list
    seed: int
    meter_error: float = 0.0
    tolerance: float = 0.0
    blown: frozenset = field(init=False)

    def __post_init__(self):
        (self.blown,) = blown_in_service(self.harness, [lambda known: combined(self.faults, known)])
        self.draw = drawer(self.seed)

    def repaired(self, units):
        """The same vehicle once some units are put right, with the fuses that they blew."""
        left = [one for one in self.faults if one.mode.replace not in units]
        return Vehicle(self.harness, left, self.seed, self.meter_error, self.tolerance)

    def read(self, setup, observations):
        """What the meter shows of some observations, by name."""
        bench = Bench(self.harness, setup, tuple(observations))
        seen, places = [], []
        for station in bench.stations:
            varied = vary(self._loosened(station.circuit), self.draw)
            there = [one for one in self.faults if is_there(one, repr(setup), self.draw)]
            varied = varied.changed(combined(there, varied.branches, setup.swap))
            for place, reader in station.readers:
                observation = observations[place][1]
                circuit = varied.changed(reader.meter()).after(self.blown - bench.renewed)
                seen.append(Observed(f"r{place}", observation.kind, circuit, reader))
                places.append(place)
        quiet = [one for one in seen if not one.point.buzzing]
        found = {}
        if quiet:
            found = simulate(circuit_deck("vehicle", [], [look_of(one) for one in quiet]))
        values = {one.name: math.nan for one in seen}
        values |= {one.name: found.get(printed_name(one.name), math.nan) for one in quiet}
        return {
            observations[place][0]: self._shown(*observations[place], values[f"r{place}"])
            for place in places
        }

    def _loosened(self, circuit):
        """Every value of every part with at least the tolerance asked for, two standard deviations."""
        least = 0.5 * self.tolerance
        if not least:
            return circuit
        found = {}
        for key, branch in circuit.branches.items():
            if isinstance(branch, Conductor | Source):
                found[key] = replace(branch, spread=max(branch.spread, least))
            elif hasattr(branch, "spreads"):
                found[key] = replace(
                    branch, spreads=tuple(max(one, least) if one else one for one in branch.spreads)
                )
        return circuit.changed(found)

    def _shown(self, name, observation, value):
        if math.isnan(value):
            return "buzzes"
        if observation.kind == "ohms" and value > OPEN_OHM:
            value = math.inf
        error = math.tanh(self.draw(f"meter {name} {observation!r}"))
        if observation.kind in ACCURACY or math.isinf(value):
            if observation.kind in ("volts", "drop", "amps", "ohms"):
                value *= 1 + self.meter_error * math.tanh(self.draw(f"besides {name} {observation!r}"))
            return shown(self.harness, observation, value, error)
        return "clicks" if value > 0.5 else "silent"


def drawn_value(mode, draw):
    """An unknown value anywhere in its range, evenly on a log scale."""
    if mode.severity is None:
        return 0.0
    low, high = math.log(mode.severity.low), math.log(mode.severity.high)
    return math.exp(draw.uniform(low, high))


def drawn_faults(loom, draw, count, *, passing=False):
    """Lasting faults by their usual chance, on different parts; or such as come and go."""
    modes = [one for one in loom.faults() if bool(one.while_there) == passing]
    found = []
    while len(found) < count:
        mode = draw.choices(modes, [one.weight for one in modes])[0]
        if mode.where not in {one.mode.where for one in found}:
            found.append(ChosenFault(mode, drawn_value(mode, draw)))
    return found


def tells_apart(planner, one, other):
    """Whether a reading that could be taken, as the vehicle stands, differs between two sets of faults
    by more than the meter's error and three per cent."""
    rules = [lambda known, f=faults: combined(f, known) for faults in (one, other)]
    blown = blown_in_service(planner.harness, rules)
    for candidate in planner.candidates:
        if candidate.setup.swap:
            continue
        bench = planner.bench(candidate)
        changes = [rule(bench.circuit.branches) for rule in rules]
        before, after = bench.run(changes, blown=blown).values
        for place, (_, observation) in enumerate(candidate.observations):
            if differ(observation, before[place], after[place]):
                return True
    return False


def differ(observation, one, other):
    """Whether a number differs by more than the meter's error and three per cent."""
    if np.isfinite(one) != np.isfinite(other):
        return True
    if observation.kind not in ("volts", "drop", "amps", "ohms") or not np.isfinite(one):
        return False
    meter = float(ACCURACY[observation.kind].uncertainty(np.array(one)))
    return abs(other - one) > 3 * math.hypot(meter, 0.03 * one)


def is_visible(planner, faults):
    """Whether some reading shows that there is any fault."""
    return tells_apart(planner, [], faults)


def both_show(planner, faults):
    """Whether neither of two faults hides the other wholly while both are there."""
    return all(tells_apart(planner, [one], faults) for one in faults)
