"""Through what the power comes in a step: a lamp of how many watts, or a supply limited to how much.

Chosen from the solved circuit. It must let a sound loom do what the step asks, with relays held by a
margin, also while a fan still stands; whatever is wrong, it must not pass more than wires and resistors
bear; and then the lamp is best that tells most faults by its light alone, and of those as good the
smallest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.circuit.through import LEAD_OHM
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import LAMPS
from circuitcheck.expect.words import LAMP
from circuitcheck.harness.model import THROUGH, Observation, Setup
from circuitcheck.inspect.feeds import wire_capacity
from circuitcheck.inspect.powerup.order import TURNS, Order, Stage, setup_of
from circuitcheck.inspect.powerup.signs import reaching
from circuitcheck.parts.resistor import Resistor
from circuitcheck.physics.branch import Array
from circuitcheck.physics.lamp import EXPONENT
from circuitcheck.solve.point import OperatingPoint, solve_point

WATTS = {volts: (*sold, 2 * sold[-1]) for volts, sold in LAMPS.items()}
"""Lamps [W] for the nominal volts; the last is two of the one before, side by side."""
LIMITS = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
"""Settings of a bench supply [A]; common practice, no source."""
_HOLDS, _RESTS = 1.15, 0.85
"""Share of its limit that a relay or an input must be above or below; common practice, no source."""
_SURE = 0.97
"""Chance that a sound loom's lamp is called what it should be."""
_AS_GOOD = 0.01
"""Share of the faults that two lamps may differ by and still be as good."""
_FLICKERS = 1.0
"""Light of a lamp ahead of relays that never come to rest, as a share of its own: nobody misses it."""
DARK = 1e-3
"""Less than this makes no lamp glow [A]."""

Through = dict[str, object]
"""What a step is fed through, as in a description; empty straight on the battery."""


class Feeds:
    """Chooses, step after step."""

    def __init__(self, order: Order, faults: Sequence[ChosenFault], *, limited: bool) -> None:
        self.order = order
        self.harness = order.harness
        self.faults = [one for one in faults if one.mode.overloads]
        self.limited = limited

    def choose(self, stage: Stage) -> Through:
        """What a step is fed through; nothing on the battery, or where no lamp will do."""
        if stage.battery:
            return {}
        if self.limited and not stage.at:
            return self._limit(stage)
        plain = self._on_battery(stage)
        lamps = (one for one in self._lamps(stage) if self._works(stage, one, plain))
        told: list[tuple[float, Through]] = []
        for one in lamps:
            share, amps = self._told(stage, one)
            told.append((share, one))
            if amps < DARK:
                break  # so it stays behind a bigger lamp, of which any fault makes less light
        best = max((share for share, _ in told), default=0.0)
        if best == 0.0:  # it glows in any case, and more can be read off a loom that gets more
            return [{}, *(one for _, one in told), *lamps][-1]
        return next(one for share, one in told if share >= best - _AS_GOOD)

    def _on_battery(self, stage: Stage) -> OperatingPoint:
        """What the loom does in a step without anything between."""
        return solve_point(build_circuit(self.harness, setup_of(self.harness, _straight(stage))))

    def _lamps(self, stage: Stage) -> Iterator[Through]:
        """The lamps that nothing in the loom would be overloaded behind, the smallest first."""
        place: Through = {"at": stage.at} if stage.at else {}
        for watts in WATTS[self.harness.volts]:
            if self._safe(stage, watts):
                yield {"lamp": f"{watts:g} W", **place}

    def _safe(self, stage: Stage, watts: float) -> bool:
        """Whether wires and resistors that are in bear all that the lamp ever passes."""
        volts = self.harness.supply.resting
        most = watts / self.harness.volts * (volts / self.harness.volts) ** EXPONENT
        wires = (wire_capacity(self.order.design, wire) for wire in self.harness.wires.values())
        if most > min(wires, default=most):
            return False
        out = {*stage.out, *stage.held}
        return all(
            _watts_behind(watts, self.harness.volts, volts, part.ohms) <= part.watts
            for name, part in self.harness.parts.items()
            if isinstance(part, Resistor) and part.watts and name not in out
        )

    def _works(self, stage: Stage, through: Through, plain: OperatingPoint) -> bool:
        """Whether a sound loom does behind the lamp what it would do without it."""
        circuit = build_circuit(self.harness, setup_of(self.harness, stage, through))
        point = solve_point(circuit)
        points = [(circuit, point)]
        motors = self.order.design.motors
        if any(abs(plain.amps.get(f"{one}:motor", 0.0)) > TURNS for one in motors):
            still = circuit.changed(
                {
                    key: one
                    for motor in motors
                    for key, one in self.order.design.faults[f"{motor} seized"]
                    .change(circuit.branches, 0.0)
                    .items()
                }
            )
            points.append((still, solve_point(still)))
        return all(_holds(one, found, plain) for one, found in points)

    def _told(self, stage: Stage, through: Through) -> tuple[float, float]:
        """The share of the overloading faults that the lamp alone tells, by their usual chance.

        With it, what a sound loom draws [A]. The share is 0 where a sound loom's lamp would itself be
        called now this, now that.
        """
        setup = setup_of(self.harness, stage, through)
        bench = Bench(self.harness, setup, (("lamp", Observation(lamp=THROUGH)),))
        changes = [one.change(bench.circuit.branches) for one in self.faults]
        point = bench.point({})
        amps = abs(point.amps[THROUGH])
        felt = reaching(bench, changes, point)
        run = bench.run([{}, *(changes[n] for n in felt)])
        light = np.where(np.isnan(run.values[:, 0]), _FLICKERS, run.values[:, 0])
        spread = np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1))
        word = sure_word(float(light[0]), float(spread[0]))
        if word is None:
            return 0.0, amps
        brighter = LAMP.chances(light[1:], np.zeros(len(light) - 1))[:, word + 1 :].sum(axis=1)
        weights: Array = np.array([one.mode.weight for one in self.faults])
        return float(weights[felt] @ brighter / weights.sum()), amps

    def _limit(self, stage: Stage) -> Through:
        """The lowest setting with which a sound loom does what it should, and some to spare."""
        plain = self._on_battery(stage)
        for amps in LIMITS:
            through: Through = {"limit": f"{amps:g} A"}
            point = solve_point(build_circuit(self.harness, setup_of(self.harness, stage, through)))
            if abs(point.amps[THROUGH]) < 0.7 * amps and self._works(stage, through, plain):
                return through
        return {}


def sure_word(light: float, spread: float) -> int | None:
    """The number of the word for a sound loom's lamp; None where it may be called one or another."""
    chances = LAMP.chances(np.array([light]), np.array([spread]))[0]
    word = int(np.argmax(chances))
    return word if chances[word] >= _SURE else None


def _straight(stage: Stage) -> Stage:
    """The same without anything between battery and loom."""
    return replace(stage, at="")


def _holds(circuit: Circuit, point: OperatingPoint, plain: OperatingPoint) -> bool:
    """Whether every relay and input is as it is on the battery, with a margin."""
    if point.buzzing:
        return False
    for name, one in circuit.thresholds.items():
        size = abs(point.amps.get(one.watch, 0.0))
        wanted = plain.states.get(name, False)
        if one.latching:
            if point.states[name] != wanted:
                return False
        elif size < _HOLDS * one.on_amps if wanted else size > _RESTS * one.on_amps:
            return False
    return True


def _watts_behind(watts: float, rated: float, volts: float, ohms: float) -> float:
    """What a resistor gives off behind a lamp with a dead short after it [W].

    :param watts: of the lamp, at its ``rated`` volts [V]
    :param volts: of the battery [V]
    """
    low, high = 0.0, volts
    for _ in range(40):  # across the resistor: the lamp's current falls as this rises
        middle = 0.5 * (low + high)
        amps = watts / rated * max((volts - middle) / rated, 0.0) ** EXPONENT
        low, high = (middle, high) if amps * (ohms + LEAD_OHM) > middle else (low, middle)
    return low * low / (ohms + LEAD_OHM)


def setup_for(order: Order, stage: Stage, through: Through) -> Setup:
    """The set-up of a step with what was chosen."""
    return setup_of(order.harness, stage if through else _straight(stage), through)
