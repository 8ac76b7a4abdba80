"""What it means if a step reads otherwise: each fault put in and solved, not a rule of thumb.

A fault counts as shown by a reading when it moves it by three standard uncertainties of vehicle and
meter, or to another word. Of a step only those faults are told that no earlier step has shown: what
the earlier ones would have shown is not there any more when one comes to this one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import meter_for, scale_factor
from circuitcheck.expect.words import SCALES
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import BUZZES
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import ACCURACY
from circuitcheck.solve.point import OperatingPoint
from circuitcheck.solve.wiring import Bool

_OUT = 3.0
"""Standard uncertainties that a fault must move a reading to be seen."""
_SURE = 0.9
"""Chance of another word, from which a fault counts as seen."""


@dataclass(frozen=True, slots=True)
class Sign:
    """One way in which a reading is off, and what does it.

    :param reading: its name in the step; empty for relays that never come to rest
    :param what: ``brighter``, ``higher``, ``lower``, ``silent``, ``buzzes``
    :param faults: the faults not shown before that do it, most usual first
    """

    reading: str
    what: str
    faults: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self) | {"faults": list(self.faults)}


def reaching(bench: Bench, changes: Sequence[Change], point: OperatingPoint) -> list[int]:
    """The changes that touch something which is joined to the battery; the others move nothing yet.

    :param point: of the sound loom on that bench
    """
    floating = point.floating
    branches = bench.circuit.branches

    def touches(change: Change) -> bool:
        ends = [
            end
            for key, new in change.items()
            for one in (branches.get(key), new)
            if one is not None
            for end in (one.tail, one.head)
        ]
        return any(end not in floating for end in ends)

    return [number for number, change in enumerate(changes) if touches(change)]


@dataclass(frozen=True)
class Sweep:
    """Every fault in one step.

    :param base: what a sound loom reads (readings,)
    :param spread: standard uncertainty of that from one sound vehicle to the next (readings,)
    :param moved: for each reading, each way in which it can be off and the faults that do it
    """

    base: Array
    spread: Array
    moved: tuple[tuple[tuple[str, Bool], ...], ...]

    def shows(self, place: int) -> Bool:
        """The faults that a reading shows."""
        found = [faults for _, faults in self.moved[place]]
        return np.any(found, axis=0) if found else np.zeros(0, dtype=bool)


class Signs:
    """Goes through the steps in order, and keeps what has been shown."""

    def __init__(self, harness: Harness, faults: Sequence[ChosenFault]) -> None:
        self.harness = harness
        self.faults = faults
        self.weights: Array = np.array([one.mode.weight for one in faults])
        self.shown = np.zeros(len(faults), dtype=bool)

    def sweep(self, bench: Bench) -> Sweep:
        """Every fault put into a step."""
        changes = [one.change(bench.circuit.branches) for one in self.faults]
        felt = reaching(bench, changes, bench.point({}))
        run = bench.run([{}, *(changes[n] for n in felt)])
        spread = np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1))
        values = np.repeat(run.values[:1], len(changes), axis=0)
        values[felt] = run.values[1:]
        moved = tuple(
            tuple(self._moved(one, float(run.values[0, place]), float(spread[place]), values[:, place]))
            for place, (_, one) in enumerate(bench.observations)
        )
        return Sweep(run.values[0], spread, moved)

    def worth(self, sweep: Sweep, must: Sequence[int], may: Sequence[int], most: int) -> list[int]:
        """The readings to take: those that must, and the few that show most of what is not shown yet."""
        chosen = list(must)
        seen = self.shown.copy()
        for place in must:
            seen |= sweep.shows(place)
        for _ in range(most):
            gains = {
                place: float(self.weights @ (sweep.shows(place) & ~seen))
                for place in may
                if place not in chosen
            }
            best = max(gains, key=lambda one: gains[one], default=-1)
            if best < 0 or gains[best] <= 0:
                break
            chosen.append(best)
            seen |= sweep.shows(best)
        return chosen

    def of(self, sweep: Sweep, names: Sequence[str], places: Sequence[int]) -> tuple[Sign, ...]:
        """The signs of a step, with the readings that are taken in it."""
        found: list[Sign] = []
        new = ~self.shown
        buzzing = np.zeros(len(self.faults), dtype=bool)
        for place in places:
            for what, moved in sweep.moved[place]:
                if what == BUZZES:
                    buzzing |= moved
                    continue
                if (moved & new).any():
                    found.append(Sign(names[place], what, self._named(moved & new)))
        if (buzzing & new).any():
            found.insert(0, Sign("", BUZZES, self._named(buzzing & new)))
        for place in places:
            self.shown |= sweep.shows(place)
        return tuple(found)

    def _named(self, which: Bool) -> tuple[str, ...]:
        order = sorted(np.flatnonzero(which).tolist(), key=lambda n: -self.weights[n])
        return tuple(self.faults[n].mode.spec for n in order)

    def _moved(
        self, observation: Observation, base: float, spread: float, column: Array
    ) -> Iterator[tuple[str, Bool]]:
        """Each way in which a reading can be off, with the faults that do it."""
        buzzing = np.isnan(column)
        known = np.where(buzzing, base, np.nan_to_num(column, posinf=1e9))
        if buzzing.any() and not np.isnan(base):
            yield BUZZES, buzzing
        scale = SCALES.get(observation.kind)
        if scale is None:
            meter = float(ACCURACY[meter_for(observation)].uncertainty(np.array(base)))
            width = _OUT * np.hypot(meter, spread)
            yield "higher", known > base + width
            yield "lower", known < base - width
            return
        factor = scale_factor(self.harness, observation)
        word = scale.words.index(scale.word(base / factor))
        chances = scale.chances(known / factor, np.full(len(known), spread / factor))
        for number, text in enumerate(scale.words):
            if number != word:
                yield text, chances[:, number] > _SURE
