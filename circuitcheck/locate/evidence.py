"""The readings of a sheet laid out for weighing: benches, values, and what each word could mean."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import accuracy_of, scale_factor
from circuitcheck.expect.words import SCALES, Scale
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.locate.absurd import Absurd, sorted_out
from circuitcheck.locate.wordings import Wording, Wordings
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import Accuracy
from circuitcheck.solve.wiring import Bool, Index

MISREAD = 0.01
"""Chance that any one reading is plain wrong; common practice, no source."""
DOUBTED = 0.5
"""Chance of a misreading from which a reading is likely to be wrong."""


@dataclass(frozen=True)
class Seen:
    """One reading, and how a prediction of it is to be judged."""

    reading: Reading
    scale: Scale | None
    factor: float
    wild: float
    """Density of a wrong reading, per unit of the reading (or chance of a wrong word)."""
    accuracy: Accuracy
    times: int = 1
    """How often it was taken in this set-up."""

    @property
    def is_word(self) -> bool:
        """Whether it is a word and not a number."""
        return bool(self.reading.word)

    @property
    def wording(self) -> Wording:
        """The word that was noted."""
        return Wording.of(self.reading.word, self.scale, self.factor, self.times)


@dataclass(frozen=True)
class Evidence:
    """All that was seen, bench by bench; the columns of every array here follow ``seen``.

    :param absurd: readings that nothing can give, with what is wrong with each
    :param put_right: units that were put right before the readings
    """

    harness: Harness
    benches: tuple[Bench, ...]
    seen: tuple[Seen, ...]
    absurd: tuple[Absurd, ...] = ()
    put_right: tuple[str, ...] = ()

    def part(self, number: int) -> Evidence:
        """The evidence of one bench alone."""
        first = sum(len(bench.observations) for bench in self.benches[:number])
        last = first + len(self.benches[number].observations)
        return Evidence(self.harness, (self.benches[number],), self.seen[first:last])

    def meter_uncertainty(self, predicted: Array) -> Array:
        """Standard uncertainty of the instruments at predicted readings, these in the last axis.

        What the meter is off the first time it is off the second time as well, so that a reading taken
        again makes it no sharper. The mean of n readings has an n-th of the variance of each (JCGM
        100:2008, 4.2.3), so that each is given n times that of one.
        """
        share, offset, rounding, often = self._meters
        half = share * np.where(np.isfinite(predicted), np.abs(predicted), 0.0) + offset
        found: Array = np.sqrt(often * (half**2 / 3 + rounding))
        return found

    @cached_property
    def _meters(self) -> Array:
        """Share, offset, variance of rounding, and how often it was read, of each instrument."""
        found = [
            (one.accuracy.share, one.accuracy.offset, one.accuracy.digit**2 / 12, one.times)
            for one in self.seen
        ]
        return np.array(found).reshape(-1, 4).T

    @cached_property
    def measured(self) -> Array:
        """The numbers read; NaN for words (readings,)."""
        return np.array([one.reading.value for one in self.seen])

    @cached_property
    def wild(self) -> Array:
        """Density of a wrong reading, or chance of a wrong word (readings,)."""
        return np.array([one.wild for one in self.seen])

    @cached_property
    def is_word(self) -> Bool:
        """Which readings are words (readings,)."""
        return np.array([one.is_word for one in self.seen], dtype=bool)

    @cached_property
    def words(self) -> Index:
        """The columns of the words."""
        return np.flatnonzero(self.is_word)

    def word_chances(self, predicted: Array, spread: Array) -> Array:
        """Chance of each word, for all predicted readings and their uncertainties (..., words)."""
        return self._wordings.chances(predicted[..., self.words], spread[..., self.words])

    @cached_property
    def _wordings(self) -> Wordings:
        return Wordings([one.wording for one in self.seen if one.is_word])


def lay_out(harness: Harness, sheet: Sheet, known: dict[str, Bench]) -> Evidence:
    """Readings grouped by the test they were taken in.

    :param known: benches laid out before, by their key, with all that was worked out of them
    """
    sheet, absurd = sorted_out(harness, sheet)
    benches, seen = [], []
    taken = Counter(_what(sheet, one) for one in sheet.readings)
    for name, test in sheet.setups.items():
        mine = [one for one in sheet.readings if one.test == name]
        if not mine:
            continue
        bench = Bench(harness, test.setup, tuple((one.name, one.observation) for one in mine))
        benches.append(known.setdefault(bench.key, bench))
        seen += [_judge(harness, one, taken[_what(sheet, one)]) for one in mine]
    return Evidence(harness, tuple(benches), tuple(seen), absurd, sheet.put_right)


def _what(sheet: Sheet, reading: Reading) -> tuple[str, str]:
    """What makes one reading the same as another: set-up and observation."""
    return repr(sheet.setups[reading.test].setup), repr(reading.observation)


def times_taken(sheet: Sheet, reading: Reading) -> int:
    """How often a reading was taken in its set-up."""
    return sum(_what(sheet, one) == _what(sheet, reading) for one in sheet.readings)


def _judge(harness: Harness, reading: Reading, times: int) -> Seen:
    kind = reading.observation.kind
    scale = SCALES.get(kind)
    factor = scale_factor(harness, reading.observation)
    if reading.word:
        wild = 1 / (len(scale.words) if scale else 2)
    else:
        size = 0.0 if not np.isfinite(reading.value) else abs(reading.value)
        range_of = {
            "volts": 1.5 * harness.volts,
            "drop": 1.5 * harness.volts,
            "amps": 60.0,
            "speed": 4000.0,
            "ohms": 10 * (size + 1.0),
        }
        wild = 1 / range_of.get(kind, 1.0)
    accuracy = accuracy_of(harness, reading.observation)
    return Seen(reading, scale, factor, wild, accuracy, times)
