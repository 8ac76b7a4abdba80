"""Curves on linear networks, many at once: damped Newton on a convex function.

The volts u at the curves and the currents i that they draw obey ``u = c - R i`` and ``i = f(u)``,
with R symmetric. The solution is the minimum of a convex function of u (W. Millar, Phil. Mag. 42,
1951; from memory), whose slope along a step ``s = -R d`` needs no inverse of R:
``s . (f(u + t s) - i - t d)``. After a few plain rounds a step that does not bring that slope down is
shortened to where it does, so that the iteration cannot be thrown to and fro for ever by the kink
where a fan begins to turn.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import Bool, Index

_ROUNDS = 80
_PLAIN = 5
"""Rounds of plain Newton before steps are looked at: most are done by then."""
_VOLTS_LEFT = 1e-10
"""Largest error of a curve's volts at which the iteration ends [V]."""

Curves = Callable[[Array, Index], tuple[Array, Array]]
"""Currents [A] and slopes [S] at some volts, of some rows."""


def settle_curves(c: Array, r: Array, curves: Curves, start: Array) -> tuple[Array, Array, Bool]:
    """Volts and currents of the curves on each row's network.

    :param c: volts at the curves while they draw nothing (rows, curves)
    :param r: resistance between the curves (rows, curves, curves)
    :param start: currents to begin from (rows, curves)
    :returns: volts [V], currents [A], and which rows came to rest
    """
    i = start.copy()
    u = c - _times(r, i)
    rows = np.arange(len(c))
    unit = np.eye(c.shape[1])
    for turn in range(_ROUNDS):
        flow, slope = curves(u[rows], rows)
        beyond = flow - i[rows]
        missing = _times(r[rows], beyond)
        open_ = np.max(np.abs(missing), axis=1, initial=0.0) > _VOLTS_LEFT
        i[rows[~open_]] = flow[~open_]
        if not open_.any():
            return u, i, np.ones(len(c), dtype=bool)
        rows, beyond, slope = rows[open_], beyond[open_], slope[open_]
        jacobian = unit + slope[:, :, None] * r[rows]
        d = np.linalg.solve(jacobian, beyond[..., None])[..., 0]
        s = -_times(r[rows], d)
        if turn >= _PLAIN:
            t = _share(curves, rows, u[rows], i[rows], s, d)[:, None]
            d, s = t * d, t * s
        i[rows] += d
        u[rows] += s
    rested = np.ones(len(c), dtype=bool)
    rested[rows] = False
    return u, i, rested


def _times(r: Array, i: Array) -> Array:
    found: Array = (r @ i[..., None])[..., 0]
    return found


def _share(curves: Curves, rows: Index, u: Array, i: Array, s: Array, d: Array) -> Array:
    """How much of its step each row takes: all of it, or to where the slope has come down."""

    def slope(t: Array, some: Index) -> Array:
        flow, _ = curves(u[some] + t[:, None] * s[some], rows[some])
        found: Array = np.sum(s[some] * (flow - i[some] - t[:, None] * d[some]), axis=1)
        return found

    everyone = np.arange(len(rows))
    share = np.ones(len(rows))
    first = np.abs(slope(np.zeros(len(rows)), everyone))
    bad = np.flatnonzero(np.abs(slope(share, everyone)) > 0.5 * first + 1e-18)
    low, high = np.zeros(len(bad)), np.ones(len(bad))
    for _ in range(30):
        if not bad.size:
            break
        middle = 0.5 * (low + high)
        at = slope(middle, bad)
        low, high = np.where(at < 0, middle, low), np.where(at < 0, high, middle)
        share[bad] = middle
        left = np.abs(at) > 0.1 * first[bad]
        bad, low, high = bad[left], low[left], high[left]
    return share
