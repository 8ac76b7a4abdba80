"""The words of a sheet side by side: how likely each is for what is predicted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.words import Scale, normal
from circuitcheck.harness.readings import BUZZES, RUNS
from circuitcheck.physics.branch import Array

NUMBER_NOTED = 0.02
"""Chance that a number, or a fan that runs, is noted where a relay buzzes; common practice,
no source."""


@dataclass(frozen=True)
class Wording:
    """A word that was noted, between two limits of its quantity.

    :param low: from which it is used, and ``high`` up to which; None where there is no such end
    :param blur: standard deviation of a person's limits, as a share of them
    :param factor: what the quantity is divided by first, in its own unit
    :param buzzing: chance of the word where a relay buzzes; ``steady`` is 0 for one that says it does
    :param times: how often it was noted
    """

    low: float | None
    high: float | None
    blur: float
    factor: float
    buzzing: float
    steady: float
    times: int

    @classmethod
    def of(cls, word: str, scale: Scale | None, factor: float, times: int) -> Wording:
        """The wording of a word on a scale; of one that says that a relay buzzes, on any or none."""
        if word == BUZZES:
            return cls(None, None, 0.0, factor, 1.0, 0.0, times)
        assert scale is not None
        if word == RUNS:
            return cls(scale.limits[0], None, scale.blur, factor, NUMBER_NOTED, 1.0, times)
        place = scale.words.index(word)
        low = scale.limits[place - 1] if place else None
        high = scale.limits[place] if place < len(scale.limits) else None
        return cls(low, high, scale.blur, factor, 1 / len(scale.words), 1.0, times)


class Wordings:
    """Some words, the last axis of every array."""

    def __init__(self, words: Sequence[Wording]) -> None:
        self._factor = np.array([one.factor for one in words])
        self._blur = np.array([one.blur for one in words])
        self._buzzing = np.array([one.buzzing for one in words])
        self._steady = np.array([one.steady for one in words])
        # The same eyes on the same fan: seen twice it is no likelier than seen once.
        self._power = 1 / np.array([one.times for one in words], dtype=float)
        self._low = np.array([-math.inf if one.low is None else one.low for one in words])
        self._high = np.array([math.inf if one.high is None else one.high for one in words])

    def chances(self, predicted: Array, spread: Array) -> Array:
        """Chance of each word, for predicted values (..., words) and their standard uncertainties."""
        buzzes = np.isnan(predicted)
        value, width = np.where(buzzes, 0.0, predicted) / self._factor, spread / self._factor
        chance = self._below(self._high, value, width) - self._below(self._low, value, width)
        chance = np.where(buzzes, self._buzzing, self._steady * chance)
        found: Array = np.where(self._power == 1.0, chance, chance**self._power)
        return found

    def _below(self, limit: Array, value: Array, width: Array) -> Array:
        """Chance that a person sees a value below limits, which may be infinite."""
        known = np.where(np.isfinite(limit), limit, 0.0)
        blurred = np.sqrt(width**2 + (self._blur * known) ** 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            below = normal((known - value) / blurred)
        found: Array = np.where(np.isfinite(limit), below, np.where(limit > 0, 1.0, 0.0))
        return found
