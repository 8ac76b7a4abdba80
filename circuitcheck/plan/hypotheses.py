"""What is still possible: suspects with the values they may have, and how likely each is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.model import Harness
from circuitcheck.locate.repair import unit_of
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Predictor, Suspect, Trial
from circuitcheck.physics.branch import Array
from circuitcheck.plan.problem import Index

KEPT = 0.999
"""Chance that the suspects looked at must make up together."""
_MOST = 400
_POINTS = 3
"""Values of an unknown that are looked at, over the range it may still have."""
_WIDE = 20.0
"""Ratio of the ends of a range from which five are looked at."""


@dataclass(frozen=True)
class Hypotheses:
    """Suspects with their values, row by row.

    :param suspects: most likely first
    :param trials: values of each; one that comes and goes is tried there, and gone as if sound
    :param row_suspect: number of the suspect of each row (rows,)
    :param weights: chance of each row (rows,)
    :param unit: number in ``units`` of what each row asks to put right (rows,)
    """

    harness: Harness
    suspects: tuple[Suspect, ...]
    chances: Array
    trials: tuple[Trial, ...]
    row_suspect: Index
    weights: Array
    unit: Index
    units: tuple[str, ...]

    def predictor(self) -> Predictor:
        """What predicts their readings."""
        return Predictor(self.harness, (*self.suspects, Suspect((), 1.0)), self.trials)

    def predicted(self, predictor: Predictor, bench: Bench) -> Array:
        """Readings of a bench under every row (rows, readings)."""
        return predictor.run(bench).values

    @property
    def sound_row(self) -> int:
        """The row of sound wiring."""
        return self.first_row(next(n for n, one in enumerate(self.suspects) if not one.faults))

    def first_row(self, suspect: int) -> int:
        """The row in the middle of a suspect's range."""
        rows = np.flatnonzero(self.row_suspect == suspect)
        return int(rows[len(rows) // 2])


def hypotheses(harness: Harness, standings: Sequence[Standing], kept_share: float = KEPT) -> Hypotheses:
    """From how suspects stand, most likely first.

    :param kept_share: chance that those looked at must make up together
    """
    logs = np.array([one.log_weight for one in standings])
    chances = np.exp(logs - logs.max())
    chances /= chances.sum()
    enough = int(np.searchsorted(np.cumsum(chances), kept_share)) + 1
    kept = standings[: min(enough, _MOST)]
    suspects = tuple(one.suspect for one in kept)
    of_each = [_trials(number, one, sound=len(kept)) for number, one in enumerate(kept)]
    trials = tuple(trial for many in of_each for trial in many)
    counts = [sum(len(trial.values) for trial in many) for many in of_each]
    row_suspect = np.repeat(np.arange(len(kept)), counts)
    shares = np.concatenate([_shares(count) for count in counts])
    known = chances[: len(kept)] / chances[: len(kept)].sum()
    names = [unit_of(one) for one in kept]
    units = tuple(dict.fromkeys(names))
    unit = np.array([units.index(name) for name in names], dtype=np.intp)
    return Hypotheses(
        harness,
        suspects,
        known,
        trials,
        row_suspect,
        known[row_suspect] * shares,
        unit[row_suspect],
        units,
    )


def _trials(number: int, standing: Standing, sound: int) -> list[Trial]:
    """The trials of one suspect: at its values, or there and gone."""
    if standing.suspect.passing:
        return [Trial(number, np.zeros(1)), Trial(sound, np.zeros(1))]
    return [Trial(number, _values(standing))]


def _values(standing: Standing) -> Array:
    if standing.span is None:
        return np.zeros(1)
    low, high = standing.span
    points = 5 if high > _WIDE * low else _POINTS
    if points == _POINTS:
        return np.array([low, float(np.clip(standing.value, low, high)), high])
    return np.geomspace(low, high, points)


def _shares(count: int) -> Array:
    """Weights of the values of one suspect: the ends of a range less than its middle."""
    return {1: np.ones(1), 3: np.array([0.25, 0.5, 0.25])}.get(count, np.full(count, 1 / count))
