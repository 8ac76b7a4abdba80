"""One reading of a step against what sound looms give there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.expected import ExpectedReading, scale_factor
from circuitcheck.expect.words import LAMP, SCALES
from circuitcheck.harness.readings import Reading
from circuitcheck.inspect.powerup.observe import LAMP_LABEL
from circuitcheck.inspect.powerup.plan import PowerupPlan, Step, digits_of, expected_words, far_reach

UNUSUAL = 0.02
"""Chance of a word in a sound loom below which it is off."""


@dataclass(frozen=True, slots=True)
class Off:
    """A reading that sound looms do not give.

    :param danger: whether it means that too much current flows
    """

    reading: str
    read: str
    expected: str
    danger: bool

    @property
    def words(self) -> str:
        """As half a sentence."""
        return f"'{self.reading}' read {self.read}, expected {self.expected}"


def off_reading(plan: PowerupPlan, step: Step, reading: Reading) -> Off | None:
    """Whether a reading is off, and whether dangerously so; None for one that the step does not list."""
    found = _listed(step, reading)
    if found is None:
        return None
    expected, spread = found
    danger = _is_danger(step, reading, expected)
    if reading.word:
        fits = _word_fits(plan, reading, expected, spread)
    else:
        fits = _number_fits(reading, expected)
    if fits and not danger:
        return None
    return Off(reading.name, reading.shown, expected_words(expected), danger)


def a_little_off(step: Step, reading: Reading) -> Off | None:
    """A number outside the range that is printed, which holds 95 sound looms in 100; it may be sound."""
    found = _listed(step, reading)
    if found is None or reading.word or found[0].expected is None:
        return None
    low, high = found[0].low, found[0].high
    if low is None or high is None:
        return None
    digits = digits_of(high)
    if round(low, digits) <= reading.value <= round(high, digits):
        return None
    return Off(reading.name, reading.shown, expected_words(found[0]), danger=False)


def _listed(step: Step, reading: Reading) -> tuple[ExpectedReading, float] | None:
    """What sound looms give where a reading was taken, and how much that varies."""
    return next(
        (
            (one, u)
            for one, u in zip(step.readings, step.spread, strict=True)
            if one.name == reading.name
        ),
        None,
    )


def _word_fits(plan: PowerupPlan, reading: Reading, expected: ExpectedReading, spread: float) -> bool:
    scale = SCALES.get(reading.observation.kind)
    if scale is None or reading.word not in scale.words or expected.expected is None:
        return reading.word == expected.word
    factor = scale_factor(plan.harness, reading.observation)
    chances = scale.chances(np.array([expected.expected / factor]), np.array([spread / factor]))[0]
    return bool(chances[scale.words.index(reading.word)] > UNUSUAL)


def _number_fits(reading: Reading, expected: ExpectedReading) -> bool:
    if expected.expected is None:
        return math.isinf(reading.value)
    low, high = far_reach(expected)
    return low <= reading.value <= high


def _is_danger(step: Step, reading: Reading, expected: ExpectedReading) -> bool:
    if reading.name == LAMP_LABEL and reading.word in LAMP.words and expected.word in LAMP.words:
        return LAMP.words.index(reading.word) > LAMP.words.index(expected.word)
    return reading.value > step.stop_above.get(reading.name, math.inf)
