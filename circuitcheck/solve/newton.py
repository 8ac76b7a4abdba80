"""Curves on linear networks, many at once: damped Newton on a convex function.

The volts u at the curves and the currents i that they draw obey ``u = c - R i`` and ``i = f(u)``,
with R symmetric. The solution is the minimum of a convex function of u (W. Millar, Phil. Mag. 42,
1951; from memory), whose slope along a step ``s = -R d`` needs no inverse of R:
``s . (f(u + t s) - i - t d)``. A step that overshoots the minimum along it is shortened to where that
is, so that the iteration cannot be thrown to and fro by the kink where a fan begins to turn, or by a
cold lamp.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from circuitcheck.physics.branch import Array
from circuitcheck.solve.curves import CurveSet
from circuitcheck.solve.wiring import Bool, Index

_ROUNDS = 80
_SHORTER = 40
"""Trials to shorten one step."""
_LAST_STEP = 1e-8
"""A step of all volts below this is the last [V]: what it leaves is of the order of its square."""

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Rest:
    """Where the curves come to rest, each (rows, curves).

    :param amps: what they draw beyond their tangents [A], and ``slope`` its derivative [S]
    :param rested: which rows came to rest (rows,)
    """

    volts: Array
    amps: Array
    slope: Array
    rested: Bool


def settle_curves(c: Array, r: Array, curves: CurveSet) -> Rest:
    """The curves on each row's network.

    :param c: volts at the curves while they draw nothing beyond their tangents (rows, curves)
    :param r: resistance between the curves (rows, curves, curves)
    """
    i = curves.alone(c, r)
    u, rows = c - _times(r, i), np.arange(len(c))
    flow, slope = curves.beyond(u, rows)
    rested = np.ones(len(c), dtype=bool)
    rest = Rest(np.empty(c.shape), np.empty(c.shape), np.empty(c.shape), rested)
    for _ in range(_ROUNDS):
        beyond = flow - i
        d = _step(r, slope, beyond)
        s = -_times(r, d)
        going = np.max(np.abs(s), axis=1, initial=0.0) > _LAST_STEP
        if not going.all():
            there = rows[~going]
            rest.volts[there], rest.amps[there] = (u + s)[~going], (i + d)[~going]
            rest.slope[there] = slope[~going]
            rows, r, u, i, s, d, beyond, slope = (
                one[going] for one in (rows, r, u, i, s, d, beyond, slope)
            )
            if not rows.size:
                break
        flow, slope = curves.beyond(u + s, rows)
        first, last = np.sum(s * beyond, axis=1), np.sum(s * (flow - i - d), axis=1)
        too_far = np.flatnonzero(last > 0.5 * np.abs(first))
        if too_far.size:
            t = np.ones((len(rows), 1))
            at = (rows[too_far], u[too_far], i[too_far], s[too_far], d[too_far])
            t[too_far, 0] = _shortened(curves, *at, first[too_far], last[too_far])
            d, s = t * d, t * s
            flow[too_far], slope[too_far] = curves.beyond((u + s)[too_far], rows[too_far])
        u, i = u + s, i + d
    rest.rested[rows] = False
    rest.volts[rows], rest.amps[rows], rest.slope[rows] = u, i, slope
    return rest


def _step(r: Array, slope: Array, beyond: Floats) -> Array:
    """Newton's step of the currents, ``(1 + slope R) d = beyond`` (rows, curves) [A]."""
    if r.shape[1] == 1:
        found: Array = beyond / (1 + slope * r[:, 0])
        return found
    jacobian = slope[:, :, None] * r
    jacobian[:, range(r.shape[1]), range(r.shape[1])] += 1.0
    if r.shape[1] == 2:
        (a, b), (c, d) = jacobian.transpose(1, 2, 0)
        one, two = beyond.T
        top = np.stack([d * one - b * two, a * two - c * one], axis=1)
        return np.asarray(top / (a * d - b * c)[:, None])
    return np.asarray(np.linalg.solve(jacobian, beyond[..., None])[..., 0])


def _times(r: Array, i: Floats) -> Array:
    found: Array = (r @ i[..., None])[..., 0]
    return found


def _shortened(
    curves: CurveSet, rows: Index, u: Array, i: Array, s: Array, d: Floats,
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
        flow, _ = curves.beyond(u[going] + t[:, None] * s[going], rows[going])
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
