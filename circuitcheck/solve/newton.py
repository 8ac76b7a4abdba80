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
_MANY = 10
"""Rows for each unknown above which all at once are solved sooner than one by one, and right sides up to
which."""

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Rest:
    """Where the curves come to rest, each (curves, rows).

    :param amps: what they draw beyond their tangents [A], and ``slope`` its derivative [S]
    :param rested: which rows came to rest (rows,)
    """

    volts: Array
    amps: Array
    slope: Array
    rested: Bool


def settle_curves(c: Array, r: Array, curves: CurveSet) -> Rest:
    """The curves on each row's network. Rows come last: what is done to all of them lies side by side.

    :param c: volts at the curves while they draw nothing beyond their tangents (curves, rows)
    :param r: resistance between the curves (curves, curves, rows)
    """
    if not len(c):
        return Rest(c, c, c, np.ones(c.shape[1], dtype=bool))
    i = curves.alone(c, r)
    u, rows = c - _times(r, i), np.arange(c.shape[1])
    flow, slope = curves.beyond(u, rows)
    going = np.ones(len(rows), dtype=bool)
    rest: Rest | None = None
    for _ in range(_ROUNDS):
        beyond = flow - i
        d = _step(r, slope, beyond)
        s = -_times(r, d)
        going &= np.abs(s).max(axis=0) > _LAST_STEP
        left = np.count_nonzero(going)
        if not left and rest is None:
            return Rest(u + s, i + d, slope, ~going)
        # Rows at rest take part, which harms nothing, until there are so many that moving the
        # others together costs less.
        if 2 * left <= len(rows):
            if rest is None:
                rest = Rest(u + s, i + d, slope.copy(), np.ones(len(rows), dtype=bool))
            else:
                rest.volts[:, rows], rest.amps[:, rows], rest.slope[:, rows] = u + s, i + d, slope
            if not left:
                return rest
            stay = np.flatnonzero(going)
            rows, r, going = rows[stay], r.take(stay, axis=2), going[stay]
            u, i, s, d, beyond, slope = (one.take(stay, 1) for one in (u, i, s, d, beyond, slope))
        flow, slope = curves.beyond(u + s, rows)
        first, last = _along(s, beyond), _along(s, flow - i - d)
        too_far = last > 0.5 * np.abs(first)
        too_far &= going
        if too_far.any():
            which = np.flatnonzero(too_far)
            t = np.ones(len(rows))
            at = u[:, which], i[:, which], s[:, which], d[:, which]
            along = _slopes(curves, rows[which], *at)
            t[which] = shortened(along, first[which], last[which])
            d, s = t * d, t * s
            flow[:, which], slope[:, which] = curves.beyond((u + s)[:, which], rows[which])
        u, i = u + s, i + d
    rested = np.ones(c.shape[1], dtype=bool) if rest is None else rest.rested
    rested[rows] = ~going
    return Rest(u, i, slope, rested) if rest is None else rest


def _step(r: Array, slope: Array, beyond: Floats) -> Array:
    """Newton's step of the currents, ``(1 + slope R) d = beyond`` (curves, rows) [A]."""
    if len(r) == 1:
        found: Array = beyond / (1 + slope * r[0])
        return found
    if len(r) > 2:
        return solved(slope[:, None] * r, beyond[:, None])[:, 0]
    one, two = slope
    a, d = 1 + one * r[0, 0], 1 + two * r[1, 1]
    b, c = one * r[0, 1], two * r[1, 0]
    found = np.empty(beyond.shape)
    np.subtract(d * beyond[0], b * beyond[1], out=found[0])
    np.subtract(a * beyond[1], c * beyond[0], out=found[1])
    found /= a * d - b * c
    return found


def solved(matrix: Array, right: Floats) -> Array:
    """The solution x of ``(1 + matrix) x = right`` of each row, all rows at once (k, n, rows).

    No pivots are sought: the matrix is that of conductances on a network with others beside them, of
    which every leading part is one too.

    :param matrix: (k, k, rows)
    :param right: (k, n, rows)
    """
    size = len(matrix)
    if matrix.shape[2] < _MANY * size or right.shape[1] > _MANY:  # a library, row by row
        whole = matrix.transpose(2, 0, 1) + np.eye(size)
        by_row = np.linalg.solve(whole, np.asarray(right).transpose(2, 0, 1))
        return np.asarray(by_row.transpose(1, 2, 0), dtype=np.float64)
    a = np.concatenate([matrix, right], axis=1)
    for k in range(size):
        a[k, k] += 1.0
    for k in range(size):
        a[k, k + 1 :] /= a[k, k]
        a[k + 1 :, k + 1 :] -= a[k + 1 :, k, None] * a[k, None, k + 1 :]
    x: Array = a[:, size:]
    for k in range(size - 1, 0, -1):
        x[:k] -= a[:k, k, None] * x[k]
    return x


def _times(r: Array, i: Floats) -> Array:
    found: Array = np.einsum("ijs,js->is", r, i)
    return found


def _along(step: Array, slope: Floats) -> Array:
    """The slope along each row's step (rows,)."""
    found: Array = np.einsum("is,is->s", step, slope)
    return found


def _slopes(
    curves: CurveSet, rows: Index, u: Array, i: Array, s: Array, d: Floats
) -> Callable[[Array, Index], Array]:
    """The slope at a share of each row's step, for :func:`shortened`."""

    def along(share: Array, some: Index) -> Array:
        step = s[:, some]
        flow, _ = curves.beyond(u[:, some] + share * step, rows[some])
        return _along(step, flow - i[:, some] - share * d[:, some])

    return along


def shortened(along: Callable[[Array, Index], Array], low_at: Array, high_at: Array) -> Array:
    """The share of a step at which its slope is nearly nought: false position, Illinois rule.

    :param along: the slope at some shares of the steps of some rows; both are told
    :param low_at: slope before the step, below 0 (rows,)
    :param high_at: slope after all of it, above 0 (rows,)
    """
    count = len(low_at)
    low, high, share = np.zeros(count), np.ones(count), np.ones(count)
    goal = 0.1 * np.abs(low_at)
    side = np.zeros(count, dtype=int)
    going = np.arange(count)
    for _ in range(_SHORTER):
        at_low, at_high = low_at[going], high_at[going]
        t = (low[going] * at_high - high[going] * at_low) / (at_high - at_low)
        at = along(t, going)
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
