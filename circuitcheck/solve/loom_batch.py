"""A batch on a network of many curves: a row costs what it moves, not what the loom has.

Most changes of a whole loom move nothing that is bent: what they alter carries next to nothing, or
the volts at every curve stay where its tangent is good to a nanoampere. Such rows are one or two linear
edits and no more. How far they move anything is known beforehand: an ampere between two nodes of a
network of resistances puts no more volts between any two others than between these (the potential is
highest and lowest where current comes in and goes out).

The others settle with the curves that they bend, and the rest follow their tangents, and what little
they leave them by.
"""

from __future__ import annotations

from functools import cached_property
from typing import ClassVar

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.curves import AMPS_LEFT
from circuitcheck.solve.near import NearCurves, beyond_at, nearest
from circuitcheck.solve.network import Network
from circuitcheck.solve.newton import settle_curves
from circuitcheck.solve.ports import LoomPorts, Ports, wide_slots
from circuitcheck.solve.rounds import After, next_states
from circuitcheck.solve.wiring import Bool, Ends, Index

_ALL = slice(None)
_NOTHING = 1e-30
_MAIN_PART = 0.02
"""Share of the largest current that is missing from which on a curve is one of those that keep a row."""


class LoomBatch(Batch):
    """The same as its base, with only some of the curves settled in each row.

    The curves that are not near are first left on their tangents. What they draw beyond them there is
    all that is still missing. No current anywhere is off by more than the sum of that: an ampere
    that comes in at one place of a network of resistances passes no branch with more than itself. No
    volts are off by more than the sum of it times the resistance that each curve sees. That is often
    enough to say what the relays do next. :meth:`follow` lets the curves leave their tangents, again
    and again, until nothing moves by more than a nanoampere.

    :param near: how many are settled; the rows that leave the tangents of others too far are ``astray``
    :param settled: volts of all curves at rest, if they are known already (rows, curves) [V]
    """

    least_left: ClassVar[float] = 1e-7
    """A digit less than of a small circuit: to leave a branch out costs a network of a whole loom."""

    def __init__(
        self,
        network: Network,
        changes: Changes,
        states: Bool,
        probes: Ends,
        near: int = 0,
        settled: Array | None = None,
    ) -> None:
        self.near = near
        self._settled = settled
        self._far: Array | None = None
        """What curves that are not near draw beyond their tangents (rows, curves) [A]."""
        self.left = np.zeros((2, len(changes)))
        """The most by which any current is off, and any volts (2, rows) [A, V]."""
        self._missing = np.full(len(changes), np.inf)
        """The largest current that a curve far away will draw and does not yet (rows,) [A]."""
        self._share_left = np.zeros(len(changes))
        """Share of what was missing before the last step that still is (rows,) [1]."""
        self.done = np.zeros(len(changes), dtype=bool)
        """Rows in which nothing is missing any more (rows,)."""
        super().__init__(network, changes, states, probes)

    def _ports(self, tail: Index, head: Index) -> Ports:
        wide = np.zeros(len(tail), dtype=bool)
        none, ties = self.changes.none, self.ties.column
        wide[wide_slots(self.edits.slot, ~self.edits.flips, none)] = True
        wide[none] = wide[self.probe_ports] = wide[self._tie_ports[ties[ties >= 0]]] = True
        self._loom_ports = LoomPorts(self.network, tail, head, wide)
        return self._loom_ports

    def _solve(self) -> None:
        if self.near >= len(self.curve_ports):
            super()._solve()
            self.done = ~self.astray
        elif not self.near:
            self._stay_straight()
        else:
            groups, tangent = self.network.wiring.curves, self.network.tangent
            moved = self._straight_moves() if self._settled is None else self._bent_by(self._settled)
            self._near = nearest(moved, self._altered_curves(), self.near)
            self._curves = NearCurves(groups, tangent, self._near, self.changes.curves)
            ports = self.curve_ports[self._near].T.copy()
            if self._settled is None:
                self._settle(self._curves, ports)
            else:
                every = np.arange(len(self))
                self._far = self._beyond_far(self._settled, every)
                self._settle(
                    self._curves, ports, self._pushed_far(every, np.concatenate([self._edits, ports]))
                )
            self._found = np.empty((len(self), len(self.curve_ports)))
            self._look_far(np.arange(len(self)))

    def _altered_curves(self) -> dict[int, Index]:
        """Rows that alter a curve, by its number."""
        keys = self.network.wiring.curve_keys
        return {keys.index(key): edits.rows for key, edits in self.changes.curves.items()}

    def _straight_flow(self) -> tuple[Array, Array]:
        """Currents of the edits while every curve is its tangent [A], and what is left around them."""
        _, volts, left = self._put_in(self._edits[:0])
        return self._extra * volts - self._amps, left

    def _straight_moves(self) -> Array:
        """Volts that the edits move every curve by, if all are their tangents (rows, curves) [V]."""
        flow, _ = self._straight_flow()
        return self.ports.pushed(self.curve_ports, self.edit_port, flow.T)

    def _bent_by(self, volts: Array) -> Array:
        """How far off their tangents all curves are, as volts at their ends (rows, curves) [V]."""
        every = np.tile(np.arange(len(self.curve_ports)), len(volts))
        groups, tangent = self.network.wiring.curves, self.network.tangent
        beyond = beyond_at(groups, tangent, every, volts.reshape(-1)).reshape(volts.shape)
        found: Array = np.abs(beyond) * self.ports.own(self.curve_ports)
        return found

    def _stay_straight(self) -> None:
        """Leave all curves on their tangents, and find the rows that must not."""
        flow, left = self._straight_flow()
        self._note_lost(np.abs(left))
        self._near_volts = np.empty((len(self), 0))
        self._active, self._flow, self._slope = self._edits, flow, self._extra
        self.moved_most = np.sum(np.abs(flow) * self.ports.own(self._edits), axis=0)
        reach = self.network.reach
        self.astray = np.zeros(len(self), dtype=bool)
        altered = np.zeros(len(self), dtype=bool)
        for rows in self._altered_curves().values():
            altered[rows] = True
        doubtful = np.flatnonzero(altered | ~(self.moved_most < reach.straight.min(initial=np.inf)))
        port, flow = self.edit_port[doubtful], flow[:, doubtful]
        _, seen, place = self._loom_ports.seen_by(self.curve_ports, port)
        # The most that any curve is moved by an ampere there, against what it bears.
        most = np.max(np.abs(seen) / np.maximum(reach.straight, _NOTHING), axis=1, initial=0.0)
        over = ~(np.sum(most[place] * np.abs(flow.T), axis=1) < 1)
        over = np.flatnonzero(over | altered[doubtful])
        doubtful, flow, place = doubtful[over], flow[:, over], place[over]
        moves = np.zeros((len(doubtful), len(self.curve_ports)))
        for column in range(place.shape[1]):
            moves += seen[place[:, column]] * flow[column][:, None]
        row, curve = np.nonzero(~(np.abs(moves) <= reach.straight))
        volts = reach.rest[curve] - moves[row, curve]
        beyond = np.zeros(moves.shape)
        beyond[row, curve] = beyond_at(self.network.wiring.curves, self.network.tangent, curve, volts)
        bent = np.abs(moves) > reach.slight
        self._alter(doubtful, moves, beyond, bent)
        row, curve = np.nonzero(beyond)
        self._note_left(doubtful, row, curve, beyond[row, curve])
        self.bends[doubtful] = np.sum(bent, axis=1)
        # An altered curve also yields otherwise, to a meter that lies across it.
        self.astray[doubtful] = beyond.any(axis=1) | altered[doubtful]
        self.done = ~self.astray

    def _alter(self, rows: Index, moves: Array, beyond: Array, bent: Bool) -> None:
        """Put what altered curves draw beyond the tangents of those that they were, in place.

        :param rows: of this batch, among them all that alter a curve, in order
        :param moves: volts that each curve has moved by (rows, curves) [V], ``beyond`` what it draws
            beyond its tangent [A], and ``bent`` where it leaves that too far to be followed
        """
        rest, tangent = self.network.reach.rest, self.network.tangent
        for group in self.network.wiring.curves:
            for place, key in enumerate(group.keys):
                if key not in self.changes.curves:
                    continue
                edits, curve = self.changes.curves[key], group.columns.start + place
                at = np.searchsorted(rows, edits.rows)
                volts = rest[curve] - moves[at, curve]
                amps, _ = group.kind.current_and_slope(edits.parameters, volts)
                beyond[at, curve] = amps - tangent.amps[curve] - tangent.siemens[curve] * volts
                bent[at, curve] = True

    # -- the curves far away --------------------------------------------------------------

    def _look_far(self, rows: Index) -> None:
        """How much of some rows is missing while the curves that are not near are where they are."""
        self._found[rows] = self._beyond_far(self.volts(self.curve_ports, rows), rows)
        off = self._found[rows] if self._far is None else self._found[rows] - self._far[rows]
        row, curve = np.nonzero(off)
        self._note_left(rows, row, curve, off[row, curve])
        off = np.abs(off)
        astray, missing = self.astray[rows], off.max(axis=1, initial=0.0)
        far = missing < AMPS_LEFT
        self._share_left[rows] = missing / np.maximum(self._missing[rows], _NOTHING)
        self._missing[rows] = missing
        self.bends[rows] = self.near + np.sum(off > _MAIN_PART * missing[:, None], axis=1)
        self.done[rows] = far & ~astray
        self.left[:, rows[far]] = 0.0
        self.left[:, rows[astray]] = np.inf

    def _note_left(self, rows: Index, row: Index, curve: Index, amps: Array) -> None:
        """Note how far anything may be off in some rows.

        :param row: of each current that is missing the place of its row among ``rows``, and ``curve`` of
            the curve that will draw it (n,)
        :param amps: these currents (n,) [A]
        """
        amps, ports = np.abs(amps), self.curve_ports[curve]
        ohm = self.ports.own(ports)
        if len(self._edits):
            ohm = self._softened(rows, row, ports, ohm)
        # The curve's own tangent out of it, and twice that for what the slopes of the others do.
        alone = 1 - self.network.tangent.siemens[curve] * ohm
        with np.errstate(invalid="ignore"):
            volts = 2 * amps * ohm / np.maximum(alone, _NOTHING)
        self.left[0, rows] = np.bincount(row, amps, len(rows))
        self.left[1, rows] = np.bincount(row, volts, len(rows))

    def _softened(self, rows: Index, row: Index, ports: Index, ohm: Array) -> Array:
        """The most that resistances at some ports come to by what their rows open (n,) [ohm].

        What a row adds makes none of them larger.

        :param row: of each the place of its row among ``rows`` (n,), and ``ohm`` what it is while
            nothing is altered [ohm]
        """
        opened = self._extra[:, rows] < 0
        column, many = np.argmax(opened, axis=0), opened.sum(axis=0)
        some = np.flatnonzero(many[row] == 1)
        at = row[some]
        port, less = self._edits[column[at], rows[at]], -self._extra[column[at], rows[at]]
        across = self.ports.between(port, ports[some])
        found = np.where(many[row] > 1, np.inf, ohm)
        found[some] += less * across**2 / np.maximum(1 - less * self.ports.own(port), _NOTHING)
        return found

    def _beyond_far(self, volts: Array, rows: Index) -> Array:
        """What curves that are not near draw beyond their tangents (rows, curves) [A].

        :param volts: at all curves in these rows (rows, curves) [V]
        """
        network = self.network
        bent = np.abs(volts - network.reach.rest) > network.reach.straight
        np.put_along_axis(bent, self._near[rows], False, axis=1)
        at, curve = np.nonzero(bent)
        found = np.zeros(volts.shape)
        found[at, curve] = beyond_at(network.wiring.curves, network.tangent, curve, volts[at, curve])
        return found

    def _pushed_far(self, rows: Index, ports: Index) -> Array:
        """Volts that the curves far away take from some ports of each row (ports, rows) [V]."""
        assert self._far is not None
        return self.ports.pushed_by(self.curve_ports, self._far[rows], ports.T).T

    def follow(self, rows: Index) -> None:
        """Let the curves far away of some rows leave their tangents by what was missing, a little."""
        if self._far is None:
            self._far = np.zeros((len(self), len(self.curve_ports)))
        self._far[rows] = self._found[rows]
        self._settle_again(rows, self._pushed_far(rows, self._active[:, rows]))
        self._look_far(rows)

    def slow(self, rows: Index, steps: int) -> Bool:
        """Rows whose curves far away will hardly come to rest within so many steps more (rows,)."""
        with np.errstate(invalid="ignore", over="ignore"):
            found: Bool = ~(self._missing[rows] * self._share_left[rows] ** steps < AMPS_LEFT)
        return found

    def _settle_again(self, rows: Index, pushed: Array) -> None:
        """Some rows once more.

        :param pushed: volts at their active ports that curves far away take (active, rows) [V]
        """
        width = len(self._edits)
        r, volts, _ = self._put_in(self._active[width:, rows], pushed, rows)
        curves = self._curves.take(rows, self._flow[width:, rows])
        rest = settle_curves(volts[width:], r[width:, width:], curves)
        edited = volts[:width] - np.einsum("ijs,js->is", r[:width, width:], rest.amps)
        self.astray[rows] = ~rest.rested
        self._near_volts[rows] = rest.volts.T
        extra = self._extra[:, rows]
        self._flow[:, rows] = np.concatenate([extra * edited - self._amps[:, rows], rest.amps])
        self._slope[:, rows] = np.concatenate([extra, rest.slope])

    # -- the states -----------------------------------------------------------------------

    def next_states(self, rows: Index, fuses: Array) -> After:
        """What the states of some rows come to next, as far as that is certain.

        :param fuses: by how much every fuse of these rows opens above its usual limit (rows,) [1]
        """
        network, states, left = self.network, self.states[rows], self.left[:, rows]
        calm = network.calm(float(fuses.min(initial=1.0)))
        like = self.stands_as_network[rows] & ~self.alters_watched[rows]
        sure = like & (self.moved_most[rows] < calm.volts) & (left[0] == 0)
        doubtful = np.flatnonzero(like & ~sure & (calm.volts > 0))
        if doubtful.size:
            sure[doubtful] = self._disturbed(rows[doubtful], left[:, doubtful], calm.amps) < 1
        after, stays = states.copy(), sure & np.all(calm.after == network.state_row)
        after[sure] = calm.after
        others = np.flatnonzero(~sure)
        if others.size:
            watched = self.watched_flow(rows[others])
            look = next_states(
                network.wiring.limits, states[others], watched, fuses[others], self.off(left[:, others])
            )
            after[others], sure[others], stays[others] = look.states, look.sure, look.stays
        return After(after, sure, stays)

    def _disturbed(self, rows: Index, left: Array, margins: Array) -> Array:
        """How near any watched current may come to its limit, at the most (rows,) [1].

        :param left: by how much any current, and any volts may be off (2, rows) [A, V]
        :param margins: by how much each watched current may be another (watched,) [A]
        """
        wiring = self.network.wiring
        at = np.array([wiring.place[key] for key in wiring.watched.keys], dtype=np.intp)
        _, seen, place = self._loom_ports.seen_by(self.watch_ports, self._active[:, rows].T)
        seen = np.abs(seen) * self.network.siemens[at]
        # An ampere at each port, against what the current nearest to its limit bears.
        most = np.max(seen / np.maximum(margins, _NOTHING), axis=1, initial=0.0)
        if self._far is not None:
            far = self._far[rows]
            row, curve = np.nonzero(far)
            left = left + np.bincount(row, np.abs(far[row, curve]), len(rows))
        off = np.max(self.off(left) / np.maximum(margins, _NOTHING)[:, None], axis=0, initial=0.0)
        found: Array = np.sum(most[place] * np.abs(self._flow[:, rows].T), axis=1) + off
        return found

    def off(self, left: Array) -> Array:
        """The most by which the current of each watched branch may be off (watched, rows) [A].

        :param left: any current, and any volts (2, rows) [A, V]
        """
        wiring = self.network.wiring
        at = np.array([wiring.place[key] for key in wiring.watched.keys], dtype=np.intp)
        with np.errstate(invalid="ignore"):
            found: Array = np.fmin(left[0], self.network.siemens[at, None] * left[1])
        return found

    @cached_property
    def probe_volts(self) -> Array:
        """Volts at the probes without a meter (rows, probes) [V]; not at the many branches watched."""
        return self.volts(self.probe_ports)

    def _note_hanging(self, slope: Array, own: Array) -> None:
        """Nothing: what is read of a whole loom is not mended."""

    @cached_property
    def read_volts(self) -> Array:
        """Volts at the probes as they come (rows, probes) [V]."""
        return self.probe_volts

    def _watched_volts(self, rows: Index | slice) -> Array:
        """Volts at the watched branches in some rows (rows, watched) [V]; they move as curves follow."""
        return self.volts(self.watch_ports, rows)

    def volts(self, ports: Index, rows: Index | slice = _ALL) -> Array:
        """Volts of wide ports in some rows (rows, ports), without a meter [V]."""
        found = super().volts(ports, rows)
        if self._far is not None:
            found -= self.ports.pushed_by(self.curve_ports, self._far[rows], ports)
        return found
