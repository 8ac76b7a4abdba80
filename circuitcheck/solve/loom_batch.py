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

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.curves import AMPS_LEFT
from circuitcheck.solve.near import NearCurves, beyond_at, nearest
from circuitcheck.solve.network import Network
from circuitcheck.solve.newton import settle_curves
from circuitcheck.solve.ports import LoomPorts, Ports, wide_slots
from circuitcheck.solve.wiring import Bool, Ends, Index

_FOLLOWING = 12
"""Rounds in which curves far away follow."""
_ALL = slice(None)


class LoomBatch(Batch):
    """The same as its base, with only some of the curves settled in each row.

    :param near: how many; the rows that leave the tangents of others too far are ``astray``
    """

    def __init__(
        self, network: Network, changes: Changes, states: Bool, probes: Ends, near: int = 0
    ) -> None:
        self.near = near
        self._far: Array | None = None
        """What curves that are not near draw beyond their tangents (rows, curves) [A]."""
        super().__init__(network, changes, states, probes)

    def _ports(self, tail: Index, head: Index) -> Ports:
        wide = np.zeros(len(tail), dtype=bool)
        none, ties = self.changes.none, self.ties.column
        wide[wide_slots(self.edits.slot, ~self.edits.flips, none)] = True
        wide[none] = wide[self.probe_ports] = wide[self._tie_ports[ties[ties >= 0]]] = True
        return LoomPorts(self.network, tail, head, wide)

    def _solve(self) -> None:
        if self.near >= len(self.curve_ports):
            super()._solve()
        elif not self.near:
            self._stay_straight()
        else:
            near = nearest(self._straight_moves(_ALL), self._altered_curves(), self.near)
            groups = self.network.wiring.curves
            curves = NearCurves(groups, self.network.tangent, near, self.changes.curves)
            self._settle(curves, self.curve_ports[near].T.copy())
            self._follow(curves, near)

    def _altered_curves(self) -> dict[int, Index]:
        """Rows that alter a curve, by its number."""
        keys = self.network.wiring.curve_keys
        return {keys.index(key): edits.rows for key, edits in self.changes.curves.items()}

    def _straight_flow(self) -> tuple[Array, Array]:
        """Currents of the edits while every curve is its tangent [A], and what is left around them."""
        _, volts, left = self._put_in(self._edits[:0])
        return self._extra * volts - self._amps, left

    def _straight_moves(self, rows: Index | slice) -> Array:
        """Volts that the edits move every curve by, if all are their tangents (rows, curves) [V]."""
        flow, _ = self._straight_flow()
        return self.ports.pushed(self.curve_ports, self.edit_port[rows], flow[:, rows].T)

    def _stay_straight(self) -> None:
        """Leave all curves on their tangents, and find the rows that must not."""
        flow, left = self._straight_flow()
        self._note_lost(np.abs(left))
        self._near_volts = np.empty((len(self), 0))
        self._active, self._flow, self._slope = self._edits, flow, self._extra
        self.moved_most = np.sum(np.abs(flow) * self.ports.own(self._edits), axis=0)
        reach = self.network.reach
        self.astray = np.zeros(len(self), dtype=bool)
        doubtful = np.flatnonzero(~(self.moved_most < reach.straight.min()))
        some = self.edit_port[doubtful], flow[:, doubtful].T
        moves = np.abs(self.ports.pushed(self.curve_ports, *some))
        self.astray[doubtful] = np.any(~(moves <= reach.straight), axis=1)
        self.bends[doubtful] = np.sum(moves > reach.slight, axis=1)
        for rows in self._altered_curves().values():
            self.astray[rows] = True
            self.bends[rows] += 1

    def _follow(self, curves: NearCurves, near: Index) -> None:
        """Let the curves far away leave their tangents, a little, until nothing moves any more."""
        network = self.network
        reach, count = network.reach, len(self.curve_ports)
        far = np.zeros((len(self), count))
        going = np.arange(len(self))
        for turn in range(_FOLLOWING):
            volts = self.volts(self.curve_ports, going)
            bent = np.abs(volts - reach.rest) > reach.straight
            np.put_along_axis(bent, near[going], False, axis=1)
            at, curve = np.nonzero(bent)
            found = np.zeros((len(going), count))
            found[at, curve] = beyond_at(network.wiring.curves, network.tangent, curve, volts[at, curve])
            off = np.max(np.abs(found - far[going]), axis=1, initial=0.0)
            left = ~(off < AMPS_LEFT)
            going, found = going[left], found[left]
            if not going.size or turn == _FOLLOWING - 1:
                break
            far[going] = found
            self._far = far
            self._settle_again(
                curves, going, self.ports.pushed_by(self.curve_ports, found, self._active[:, going].T).T
            )
        self.astray[going] = True
        self.bends[going] = self.near + 1

    def _settle_again(self, curves: NearCurves, rows: Index, pushed: Array) -> None:
        """Some rows once more.

        :param pushed: volts at their active ports that curves far away take (active, rows) [V]
        """
        width = len(self._edits)
        r, volts, _ = self._put_in(self._active[width:, rows], pushed, rows)
        rest = settle_curves(volts[width:], r[width:, width:], curves.take(rows))
        edited = volts[:width] - np.einsum("ijs,js->is", r[:width, width:], rest.amps)
        self.astray[rows] = ~rest.rested
        self._near_volts[rows] = rest.volts.T
        extra = self._extra[:, rows]
        self._flow[:, rows] = np.concatenate([extra * edited - self._amps[:, rows], rest.amps])
        self._slope[:, rows] = np.concatenate([extra, rest.slope])

    def volts(self, ports: Index, rows: Index | slice = _ALL) -> Array:
        """Volts of wide ports in some rows (rows, ports), without a meter [V]."""
        found = super().volts(ports, rows)
        if self._far is not None:
            found -= self.ports.pushed_by(self.curve_ports, self._far[rows], ports)
        return found
