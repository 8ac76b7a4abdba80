"""Readings between the values that were solved: where they run smoothly, nothing needs solving again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.physics.branch import Array

_SMOOTH = 0.5
"""Share of the meter's standard uncertainty by which every other value may be missed when it is told
from those beside it. At half the distance a cubic misses by a sixteenth of that."""


@dataclass(frozen=True)
class Solved:
    """A suspect as it was solved.

    :param grid: logs of its values, evenly spaced; empty where nothing is unknown (values,)
    :param predicted: readings (values, readings)
    :param moves: shift of each reading for each latent of the vehicle (values, readings, latents)
    """

    grid: Array
    predicted: Array
    moves: Array

    def at(self, evidence: Evidence, logs: Array) -> Solved | None:
        """The same at values in between; None outside, and where readings do not run smoothly."""
        if not self._runs_smoothly(evidence, logs):
            return None
        weights = _weights(self.grid, logs)
        # An open line or a relay that buzzes stays as it is.
        steady = np.where(np.isfinite(self.predicted), self.predicted, 0.0)
        predicted = np.where(np.isfinite(self.predicted[0]), weights @ steady, self.predicted[0])
        moves = np.tensordot(weights, self.moves, axes=1)
        return Solved(logs, predicted, moves)

    def _runs_smoothly(self, evidence: Evidence, logs: Array) -> bool:
        """Whether a cubic tells every other value around the new ones from those beside it."""
        grid, step = self.grid, self.grid[1] - self.grid[0]
        if logs[0] < grid[0] - 1e-9 or logs[-1] > grid[-1] + 1e-9:
            return False
        # A cubic rests on two values to each side.
        near = (grid > logs[0] - 2.5 * step) & (grid < logs[-1] + 2.5 * step)
        seen = np.isfinite(self.predicted)
        if np.any(near[:, None] & (seen != seen[0])) or np.any(np.isnan(self.predicted) & seen[0]):
            return False
        known = np.where(seen, self.predicted, 0.0)
        told = _weights(grid[::2], grid[1::2]) @ known[::2]
        missed = np.abs(told - known[1::2]) / evidence.meter_uncertainty(known[1::2])
        return bool(np.all(missed[near[1::2]] < _SMOOTH))


def _weights(grid: Array, logs: Array) -> Array:
    """What each value of an even grid counts in the cubic through the four around (logs, values)."""
    at = (logs - grid[0]) / (grid[1] - grid[0])
    first = np.clip(np.floor(at).astype(np.intp) - 1, 0, len(grid) - 4)
    x = at - first
    four = np.stack(
        [
            -(x - 1) * (x - 2) * (x - 3) / 6,
            x * (x - 2) * (x - 3) / 2,
            -x * (x - 1) * (x - 3) / 2,
            x * (x - 1) * (x - 2) / 6,
        ],
        axis=1,
    )
    found = np.zeros((len(logs), len(grid)))
    np.put_along_axis(found, first[:, None] + np.arange(4), four, axis=1)
    return found


def stacked(lines: list[Solved]) -> tuple[Array, Array]:
    """The readings of several, row under row, and how they move."""
    most = max(one.moves.shape[2] for one in lines)
    moves = [np.pad(one.moves, ((0, 0), (0, 0), (0, most - one.moves.shape[2]))) for one in lines]
    return np.concatenate([one.predicted for one in lines]), np.concatenate(moves)
