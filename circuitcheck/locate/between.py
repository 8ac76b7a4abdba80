"""Readings between the values that were solved: where they run smoothly, nothing needs solving again."""

from __future__ import annotations

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool

SMOOTH, SMOOTH_IF_FAR = 0.5, 0.1
"""Share of the meter's standard uncertainty by which every other value may be missed when it is told
from those beside it. At half the distance a cubic misses by a sixteenth of that; where values lie far
apart it gains less."""
_FEWEST = 7
"""Values of which every other one is enough for a cubic."""
_REACH = 2.5
"""Steps to each side of a value that its cubic rests on."""


def weights(grid: Array, logs: Array) -> Array:
    """What each value of an even grid counts in the cubic through the four around.

    :param grid: logs of the values that were solved (suspects, solved)
    :param logs: of those in between (suspects, values)
    :returns: (suspects, values, solved)
    """
    at = (logs - grid[:, :1]) / (grid[:, 1:2] - grid[:, :1])
    first = np.clip(np.floor(at).astype(np.intp) - 1, 0, grid.shape[1] - 4)
    x = at - first
    four = np.stack(
        [
            -(x - 1) * (x - 2) * (x - 3) / 6,
            x * (x - 2) * (x - 3) / 2,
            -x * (x - 1) * (x - 3) / 2,
            x * (x - 1) * (x - 2) / 6,
        ],
        axis=-1,
    )
    found = np.zeros((*logs.shape, grid.shape[1]))
    np.put_along_axis(found, first[..., None] + np.arange(4), four, axis=-1)
    return found


def runs_smoothly(
    evidence: Evidence, grid: Array, predicted: Array, logs: Array, most: float = SMOOTH
) -> Bool:
    """Whether a cubic tells every other value around the new ones from those beside it.

    Not outside the grid, nor where a line opens or a relay begins to buzz.

    :param grid: logs of the values that were solved (suspects, solved)
    :param predicted: readings there (suspects, solved, readings)
    :param logs: of the values in between (suspects, values)
    :param most: share of the meter's standard uncertainty by which one may be missed so
    :returns: of each suspect (suspects,)
    """
    if grid.shape[1] < _FEWEST:
        return np.zeros(len(grid), dtype=bool)
    inside = (logs[:, 0] >= grid[:, 0] - 1e-9) & (logs[:, -1] <= grid[:, -1] + 1e-9)
    reach = _REACH * (grid[:, 1:2] - grid[:, :1])
    near = (grid > logs[:, :1] - reach) & (grid < logs[:, -1:] + reach)
    seen = np.isfinite(predicted)
    turns = near[..., None] & ((seen != seen[:, :1]) | (np.isnan(predicted) & seen[:, :1]))
    known = np.where(seen, predicted, 0.0)
    told = weights(grid[:, ::2], grid[:, 1::2]) @ known[:, ::2]
    missed = np.abs(told - known[:, 1::2]) / evidence.meter_uncertainty(known[:, 1::2])
    rough = near[:, 1::2] & np.any(missed >= most, axis=-1)
    found: Bool = inside & ~np.any(turns, axis=(1, 2)) & ~np.any(rough, axis=1)
    return found


def told(found: Array, predicted: Array) -> Array:
    """Readings in between; an open line or a relay that buzzes stays as it is.

    :param found: the weights (suspects, values, solved)
    :param predicted: readings that were solved (suspects, solved, readings)
    :returns: (suspects, values, readings)
    """
    seen = np.isfinite(predicted)
    steady = np.where(seen, predicted, 0.0)
    return np.where(seen[:, :1], found @ steady, predicted[:, :1])
