"""Rows of changes at full size, each on a network of its own, many side by side.

The plain solver (:mod:`.plain`) does this with one circuit at a time: Newton's method on the whole
network with all its curves, and a line search on the slope of the co-content. Here it is done with
arrays whose last axis are the rows. What a row alters and the states it stands in are its own
conductances: nothing is put in afterwards, nothing is taken to be far away, and a row that moves all
of a vehicle costs as much as one that moves a lamp.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.curves import Curves, Tangent
from circuitcheck.solve.edits import held
from circuitcheck.solve.newton import shortened
from circuitcheck.solve.pattern import Pattern, Sums
from circuitcheck.solve.wiring import REFERENCE, Bool, Index, distinct

_ROUNDS = 200
_AMPS_LEFT = 1e-9
"""Largest current that may be unaccounted for at a node [A]; sets the end of the iteration."""
_VOLTS_LEFT = 1e-11
"""A step smaller than this changes nothing any more [V]."""
_LEAST = 1e-9
"""Slope that a curve is given at the least in a step [S]."""
_CELLS = 2**19
"""Numbers in one array of all rows that are solved together: it should lie in the processor's caches."""


@dataclass(frozen=True)
class Points:
    """Operating points of some rows in fixed states.

    :param curves: volts at every curve (rows, curves) [V]
    :param watched: current of each watched branch (rows, watched) [A]
    :param rested: which rows came to rest (rows,)
    """

    curves: Array
    watched: Array
    rested: Bool


class Abreast:
    """The rows of some changes, to be solved at full size.

    A branch is a linear one of the circuit, one that a change adds, or a curve, in this order.
    """

    def __init__(self, changes: Changes) -> None:
        wiring = self.wiring = changes.wiring
        self.changes = changes
        added = distinct(changes.slot.reshape(-1))
        added = added[(added >= len(wiring.keys)) & (added != changes.none)]
        self._place = np.arange(len(changes.tail))
        self._place[len(wiring.keys) :] = -1
        self._place[added] = len(wiring.keys) + np.arange(len(added))
        """Among the linear branches, of each slot; -1 of one that no row has."""
        self._linear = len(wiring.keys) + len(added)
        none = np.zeros(len(added))
        self._siemens = np.concatenate([wiring.siemens, none])
        self._emf = np.concatenate([wiring.emf, none])
        self._tail = np.concatenate([wiring.tail, changes.tail[added], wiring.curve_tail])
        self._head = np.concatenate([wiring.head, changes.head[added], wiring.curve_head])

    @cached_property
    def pattern(self) -> Pattern:
        """What joins what in any row."""
        return Pattern(self.wiring.size, self._tail, self._head)

    @cached_property
    def _edges(self) -> Sums:
        """Of branches, which edge of the pattern they belong to."""
        return Sums(self.pattern.places(self._tail, self._head), self.pattern.edges)

    @cached_property
    def _leaving(self) -> Sums:
        """Of branches and branches once more, the node that they leave, and the one they go to."""
        return Sums(np.concatenate([self._tail, self._head]), self.wiring.size)

    def points(self, rows: Index, states: Bool, start: Array) -> Points:
        """Solve some rows.

        :param states: of every threshold in each of them (rows, thresholds)
        :param start: node volts to begin from (nodes, rows) [V]; any will do
        """
        size = max(1, _CELLS // max(self.pattern.edges, len(self._tail)))
        parts = []
        for first in range(0, len(rows), size):
            here = slice(first, first + size)
            some = _Rows(self, self.changes.take(rows[here]), states[here])
            parts.append(some.points(start[:, here].copy()))
        return Points(
            np.concatenate([one.curves for one in parts]),
            np.concatenate([one.watched for one in parts]),
            np.concatenate([one.rested for one in parts]),
        )

    def branches_of(self, changes: Changes, states: Bool) -> tuple[Array, Array]:
        """Conductance [S] and emf [V] of the linear branches of some rows (linear, rows)."""
        holds = held(changes.conditions, self.wiring.circuit, states)
        siemens = np.repeat(self._siemens[:, None], len(changes), axis=1)
        emf = np.repeat(self._emf[:, None], len(changes), axis=1)
        siemens[self.wiring.contact_places] *= holds[:, self.wiring.contact_conditions].T
        row = np.arange(len(changes))
        for column in range(changes.slot.shape[1]):
            mine = np.flatnonzero(changes.slot[:, column] != changes.none)
            at = self._place[changes.slot[mine, column]], mine
            closed = holds[row[mine], changes.condition[mine, column]]
            siemens[at] = changes.siemens[mine, column] * closed
            emf[at] = changes.emf[mine, column]
        return siemens, emf


class _Rows:
    """Rows that are solved together."""

    def __init__(self, every: Abreast, changes: Changes, states: Bool) -> None:
        self.every = every
        self.wiring = wiring = every.wiring
        self.siemens, self.emf = every.branches_of(changes, states)
        none = np.zeros(len(wiring.curve_keys))
        self.curves = Curves(wiring.curves, Tangent(none, none), len(changes), changes.curves)

    def points(self, volts: Array) -> Points:
        """Newton's method, all rows together; those at rest leave when half of them are.

        :param volts: of the nodes, to begin from (nodes, rows) [V]
        """
        count = volts.shape[1]
        volts[REFERENCE] = 0.0
        found, rested = np.empty(volts.shape), np.ones(count, dtype=bool)
        rows = np.arange(count)
        going = np.ones(count, dtype=bool)
        for _ in range(_ROUNDS):
            step, left = self._step(volts, rows)
            # One step beyond what is asked for: a node held by leakage moves far for little current.
            going &= ~(left < _AMPS_LEFT)
            step *= self._share(volts, step, rows)
            volts += step
            going &= ~(np.max(np.abs(step), axis=0) < _VOLTS_LEFT)
            if 2 * np.count_nonzero(going) <= len(rows):
                found[:, rows] = volts
                stay = np.flatnonzero(going)
                rows, volts, going = rows[stay], volts[:, stay], going[stay]
                if not rows.size:
                    break
        found[:, rows] = volts
        rested[rows] = ~going
        return self._points(found, rested)

    def _points(self, volts: Array, rested: Bool) -> Points:
        wiring = self.wiring
        at = wiring.watched.places
        across = volts[wiring.watched.tail] - volts[wiring.watched.head]
        curves = volts[wiring.curve_tail] - volts[wiring.curve_head]
        return Points(curves.T, (self.siemens[at] * across).T, rested)

    def _across(self, volts: Array) -> Array:
        """Volts across every branch (branches, rows) [V]."""
        every = self.every
        found: Array = volts[every._tail] - volts[every._head]
        return found

    def _flow(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Current of every branch [A], and slopes of the curves [S] (branches or curves, rows)."""
        linear = self.every._linear
        flow = self._across(volts)
        amps, slope = self.curves.drawn(flow[linear:], rows)
        flow[:linear] -= self.emf[:, rows]
        flow[:linear] *= self.siemens[:, rows]
        flow[linear:] = amps
        return flow, slope

    def _step(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Newton's step of the node volts [V], and the largest current that is missing at a node [A].

        Branch by branch: a product with the nodal matrix would lose a leak beside milliohms.
        """
        every = self.every
        flow, slope = self._flow(volts, rows)
        leaving = every._leaving.of(np.concatenate([flow, -flow]))
        leaving[REFERENCE] = 0.0
        siemens = np.concatenate([self.siemens[:, rows], np.maximum(slope, _LEAST)])
        step = every.pattern.solve(every.pattern.factored(every._edges.of(siemens)), -leaving)
        return step, np.max(np.abs(leaving), axis=0)

    def _share(self, volts: Array, step: Array, rows: Index) -> Array:
        """How much of each row's step to take: where the co-content stops falling, or nearly (rows,)."""
        linear = self.every._linear
        at, by = self._across(volts), self._across(step)
        siemens = self.siemens[:, rows]
        begin = np.einsum("bs,bs->s", siemens * (at[:linear] - self.emf[:, rows]), by[:linear])
        rise = np.einsum("bs,bs->s", siemens * by[:linear], by[:linear])
        u, s = at[linear:], by[linear:]

        def slope(share: Array, some: Index) -> Array:
            amps, _ = self.curves.drawn(u[:, some] + share * s[:, some], rows[some])
            found: Array = begin[some] + share * rise[some] + np.einsum("cs,cs->s", amps, s[:, some])
            return found

        every, taken = np.arange(len(rows)), np.ones(len(rows))
        first, last = slope(np.zeros(len(rows)), every), slope(taken, every)
        far = np.flatnonzero(last > 0.5 * np.abs(first))
        if far.size:
            taken[far] = shortened(lambda share, some: slope(share, far[some]), first[far], last[far])
        return taken
