"""Curves on linear networks, many at once: damped Newton on a convex function.

The volts u at the curves and the currents i that they draw obey ``u = c - R i`` and ``i = f(u)``,
with R symmetric. The solution is the minimum of a convex function of u (W. Millar, Phil. Mag. 42,
1951; from memory), whose slope along a step ``s = -R d`` needs no inverse of R:
``s . (f(u + t s) - i - t d)``. A step that overshoots the minimum along it is shortened to where that
is, so that the iteration cannot be thrown to and fro by the kink where a fan begins to turn, or by a
cold lamp.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import Bool, Index

_ROUNDS = 80
_SHORTER = 40
"""Trials to shorten one step."""
_VOLTS_LEFT = 1e-10
"""Largest error of a curve's volts at which the iteration ends [V]."""

Floats = NDArray[np.floating[Any]]
Curves = Callable[[Array, Index], tuple[Array, Array]]
"""Currents [A] and slopes [S] at some volts, of some rows."""


def settle_curves(c: Array, r: Array, curves: Curves, start: Array) -> tuple[Array, Array, Bool]:
    """Volts and currents of the curves on each row's network.

    :param c: volts at the curves while they draw nothing (rows, curves)
    :param r: resistance between the curves (rows, curves, curves)
    :param start: currents to begin from (rows, curves)
    :returns: volts [V], currents [A], and which rows came to rest
    """
    volts, amps = c - _times(r, start), start.copy()
    rows = np.arange(len(c))
    u, i = volts, amps
    flow, slope = curves(u, rows)
    for _ in range(_ROUNDS):
        beyond = flow - i
        going = np.max(np.abs(_times(r, beyond)), axis=1, initial=0.0) > _VOLTS_LEFT
        if not going.all():
            volts[rows[~going]], amps[rows[~going]] = u[~going], flow[~going]
            rows, r, u, i, beyond, slope = (
                one[going] for one in (rows, r, u, i, beyond, slope)
            )
            if not rows.size:
                break
        jacobian = slope[:, :, None] * r
        jacobian[:, range(r.shape[1]), range(r.shape[1])] += 1.0
        d = np.linalg.solve(jacobian, beyond[..., None])[..., 0]
        s = -_times(r, d)
        flow, slope = curves(u + s, rows)
        first, last = np.sum(s * beyond, axis=1), np.sum(s * (flow - i - d), axis=1)
        too_far = np.flatnonzero(last > 0.5 * np.abs(first))
        if too_far.size:
            t = np.ones((len(rows), 1))
            at = (rows[too_far], u[too_far], i[too_far], s[too_far], d[too_far])
            t[too_far, 0] = _shortened(curves, *at, first[too_far], last[too_far])
            d, s = t * d, t * s
            flow[too_far], slope[too_far] = curves((u + s)[too_far], rows[too_far])
        u, i = u + s, i + d
    rested = np.ones(len(c), dtype=bool)
    rested[rows] = False
    volts[rows], amps[rows] = u, i
    return volts, amps, rested


def _times(r: Array, i: Floats) -> Array:
    found: Array = (r @ i[..., None])[..., 0]
    return found


def _shortened(
    curves: Curves, rows: Index, u: Array, i: Array, s: Array, d: Floats,
    low_at: Array, high_at: Array,
) -> Array:  # fmt: skip
    """The share of a step at which its slope is nearly nought: false position, Illinois rule.

    :param low_at: slope before the step, below 0
    :param high_at: slope after all of it, above 0
    """
    low, high, share = np.zeros(len(rows)), np.ones(len(rows)), np.ones(len(rows))
    goal = 0.1 * np.abs(low_at)
    side = np.zeros(len(rows), dtype=int)
    going = np.arange(len(rows))
    for _ in range(_SHORTER):
        at_low, at_high = low_at[going], high_at[going]
        t = (low[going] * at_high - high[going] * at_low) / (at_high - at_low)
        flow, _ = curves(u[going] + t[:, None] * s[going], rows[going])
        at = np.sum(s[going] * (flow - i[going] - t[:, None] * d[going]), axis=1)
        share[going] = t
        below = at < 0
        # Twice on the same side: the other end counts half, so that it comes nearer too.
        again = side[going] == np.where(below, -1, 1)
        high_at[going] = np.where(below, np.where(again, 0.5, 1.0) * at_high, at)
        low_at[going] = np.where(below, at, np.where(again, 0.5, 1.0) * at_low)
        low[going], high[going] = np.where(below, t, low[going]), np.where(below, high[going], t)
        side[going] = np.where(below, -1, 1)
        going = going[np.abs(at) > goal[going]]
        if not going.size:
            break
    return share
