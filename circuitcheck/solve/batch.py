"""All changes whose states come near those of one network, solved together.

The linear network is factored once and seen from its ports only: the branches that a row alters,
the curves, the watched branches, and the points a meter is put on. With R the resistance between
ports and v their volts, a change is exact in port space:

    u = v - R f(u),     f = (dg u - dj) at altered branches, i(u) - (tangent) at curves

so that each operating point is a Newton iteration on a handful of unknowns (:mod:`.newton`), done
for all rows together. Opens are exact limits: whether a branch holds something to the rest is a
question to the graph (``cuts``), not to arithmetic.

A meter's own resistance is put on at the end as a Thevenin divider; its microampere moves no curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import ClassVar

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.bridges import held_by
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.curves import Curves, CurveSet
from circuitcheck.solve.edits import Edits
from circuitcheck.solve.network import CURVE_SIEMENS, Network
from circuitcheck.solve.newton import settle_curves, solved
from circuitcheck.solve.ports import Ports
from circuitcheck.solve.refined import refined
from circuitcheck.solve.ties import ties_of
from circuitcheck.solve.wiring import TIE_SIEMENS, Bool, Ends, Index

_ALL = slice(None)
_HANGING = 1e-3
"""Share of a blocking diode's surroundings below which it is that what holds them."""


class Batch:
    """The operating points of all rows of changes, in their states, from one network.

    :param states: of every threshold in each row (rows, thresholds)
    :param probes: numbers of the nodes that something will be read between
    """

    least_left: ClassVar[float] = 1e-6
    """Share of a branch's surroundings that has to be left of it, if digits are not to be lost."""

    def __init__(self, network: Network, changes: Changes, states: Bool, probes: Ends) -> None:
        self.network = network
        self.circuit = network.circuit
        self.changes = changes
        self.states = states
        self.bends = np.zeros(len(changes), dtype=np.intp)
        """Of rows astray, how many curves they bend too much to be followed."""
        self.moved_most = np.full(len(changes), np.inf)
        """No volts anywhere have moved by more, against the network unchanged (rows,) [V]."""
        self._shared = np.zeros(0, dtype=np.intp)
        """Ports of the curves, if all rows settle with the same."""
        self.edits = Edits(network, changes, states)
        self.ties = ties_of(network.island, self.edits.slot, self.edits.adds, changes)
        self._number_ports(probes)
        self._list_edits()
        self._extra, self._amps = self.extra_siemens.T.copy(), self.extra_amps.T.copy()
        if self.bridging.any():
            self._extra[self.bridging.T] = self._amps[self.bridging.T] = 0.0
        self._edits = self.edit_port.T.copy()
        self._solve()

    def __len__(self) -> int:
        return len(self.changes)

    # -- ports ----------------------------------------------------------------------------

    def _number_ports(self, probes: Ends) -> None:
        """Slots by their numbers, then curves, probes and the ties of islands."""
        numbers = self.network.numbered(self.changes.tail, self.changes.head, probes)
        self.curve_ports, self.probe_ports, self._tie_ports = (
            numbers.curves,
            numbers.probes,
            numbers.ties,
        )
        self.watch_ports = self.network.wiring.watched.places
        self.ports = self._ports(numbers.tail, numbers.head)

    def _ports(self, tail: Index, head: Index) -> Ports:
        return Ports(self.network, tail, head)

    def _list_edits(self) -> None:
        """Ports and sizes of what each row alters; ties that come off join as columns of their own."""
        edits, ties = self.edits, self.ties.column
        self.edit_port = edits.slot
        self.bridging, self._held_open = held_by(edits, self.ports, self.curve_ports)
        self.slot, self.siemens = edits.slot, edits.siemens
        self.altered = (edits.slot != self.changes.none) & ~edits.flips
        """Which of them the row's change alters, and not its states."""
        self.extra_siemens, self.extra_amps = edits.extra_siemens, edits.extra_amps
        if not ties.shape[1]:
            return
        there = ties >= 0
        none = np.full(ties.shape, self.changes.none)
        self.edit_port = np.concatenate(
            [edits.slot, np.where(there, self._tie_ports[ties], none)], axis=1
        )
        held, nothing = np.zeros(ties.shape, dtype=bool), np.zeros(ties.shape)
        self.bridging = np.concatenate([self.bridging, held], axis=1)
        self.slot = np.concatenate([edits.slot, none], axis=1)
        self.altered = np.concatenate([self.altered, held], axis=1)
        self.siemens = np.concatenate([edits.siemens, nothing], axis=1)
        self.extra_siemens = np.concatenate(
            [edits.extra_siemens, np.where(there, -TIE_SIEMENS, 0.0)], axis=1
        )
        self.extra_amps = np.concatenate([edits.extra_amps, nothing], axis=1)

    # -- the operating points -------------------------------------------------------------

    def _solve(self) -> None:
        """The altered branches are linear and go into the network; the curves are settled on it."""
        self.curves = Curves(
            self.network.wiring.curves, self.network.tangent, len(self), self.changes.curves
        )
        if not self.network.has_many_curves:
            self.curves.open_for_good(len(self), self._held_open)
        self._settle(self.curves, self.curve_ports[:, None])

    def _put_in(
        self, others: Index, pushed: Array | float = 0.0, rows: Index | slice = _ALL
    ) -> tuple[Array, Array, Array]:
        """Each row's network with its edits in it, seen from their ports and then from others.

        :param others: (others, rows), or (others, 1) where they are the same for all rows
        :param pushed: volts that curves far away take from the ports (ports, rows) [V]
        :returns: resistances (ports, ports, rows), volts (ports, rows), and how much is left of each
            edit's surroundings (edits, rows) [1]
        """
        between, edits, width = self.ports.between, self._edits[:, rows], len(self._edits)
        extra, amps = self._extra[:, rows], self._amps[:, rows]
        size = width + len(others)
        r, volts = np.empty((size, size, edits.shape[1])), np.empty((size, edits.shape[1]))
        r[:width, :width] = between(edits[:, None], edits[None])
        r[:width, width:] = between(edits[:, None], others[None])
        r[width:, :width] = r[:width, width:].transpose(1, 0, 2)
        r[width:, width:] = between(others[:, None], others[None])
        volts[:width], volts[width:] = self.ports.volts[edits], self.ports.volts[others]
        volts -= pushed
        left = np.empty(edits.shape)
        for column in range(width):
            left[column] = put_in(r, volts, column, extra[column], amps[column])
        return r, volts, left

    def _settle(self, curves: CurveSet, others: Index, pushed: Array | float = 0.0) -> None:
        """The operating points.

        :param others: ports of the curves (curves, rows) or (curves, 1)
        :param pushed: volts that curves far away take from the edits and these (ports, rows) [V]
        """
        width = len(self._edits)
        r, volts, left = self._put_in(others, pushed)
        rest = settle_curves(volts[width:], r[width:, width:], curves)
        edited = volts[:width] - np.einsum("ijs,js->is", r[:width, width:], rest.amps)
        self._note_lost(np.abs(left))
        self._note_hanging(rest.slope, np.einsum("iis->is", r[width:, width:]))
        self.astray = ~rest.rested
        self._near_volts = rest.volts.T
        self._active = np.empty((width + len(others), len(self)), dtype=np.intp)
        self._active[:width], self._active[width:] = self._edits, others
        if others.shape[1] == 1:
            self._shared = others[:, 0]
        self._flow = np.concatenate([self._extra * edited - self._amps, rest.amps])
        self._slope = np.concatenate([self._extra, rest.slope])

    @property
    def active(self) -> Index:
        """Ports of the edits, then of the curves that are settled, of each row (rows, active)."""
        return self._active.T

    @property
    def flow(self) -> Array:
        """What they draw beyond the network (rows, active) [A]."""
        return self._flow.T

    @property
    def slope(self) -> Array:
        """Its derivative by the volts at them (rows, active) [S]."""
        return self._slope.T

    def _note_lost(self, left: Array) -> None:
        """Which rows have lost digits, and the place of the branch that cost them; -1 if unknown."""
        self.least = np.min(left, axis=0, initial=1.0)
        self.delicate = self.least < self.least_left
        self.costly = np.full(len(self), -1)
        rows = np.flatnonzero(self.delicate)
        if rows.size:
            worst = self.slot[rows, np.argmin(left[:, rows], axis=0)]
            self.costly[rows] = np.where(worst < len(self.network.wiring.keys), worst, -1)

    def _note_hanging(self, slope: Array, own: Array) -> None:
        """Which rows hang on a diode that blocks, by little more than its leakage.

        What stands in for it in the network is taken off it whole, and next to nothing is left.

        :param slope: of what each curve draws beyond that (curves, rows) [S], and ``own`` the resistance
            that it sees (curves, rows) [ohm]
        """
        knees = self.network.knees
        self.hanging = np.any(1 + slope[knees] * own[knees] < _HANGING, axis=0)

    def answers(self, back: Array, rows: Index | slice = _ALL) -> Array:
        """What flows at the active ports when volts are put on them from outside [A].

        :param back: volts at the active ports while nothing answers (active, n, rows)
        """
        active, slope = self._active[:, rows], self._slope[:, rows]
        jacobian = slope[:, None] * self.ports.between(active[:, None], active[None])
        return solved(jacobian, slope[:, None] * back)

    # -- what can be read off -------------------------------------------------------------

    def volts(self, ports: Index, rows: Index | slice = _ALL) -> Array:
        """Volts of wide ports in some rows (rows, ports), without a meter [V]."""
        own = len(self._active) - len(self._shared)
        active, flow = self._active[:own, rows], self._flow[:, rows]
        moved = self.ports.pushed(ports, active.T, flow[:own].T)
        if len(self._shared):
            moved += (self.ports.between(ports[:, None], self._shared) @ flow[own:]).T
        found: Array = self.ports.volts[ports] - moved
        return found

    def curve_volts(self, curve: int) -> Array:
        """Volts at one curve in all rows (rows,) [V]."""
        if self._near_volts.shape[1] == len(self.curve_ports):
            return np.asarray(self._near_volts[:, curve])
        return np.asarray(self.volts(self.curve_ports[curve : curve + 1])[:, 0])

    def curve_parameters(self, group: int, place: int) -> Array:
        """Parameters of one curve in all rows (rows, P)."""
        one = self.network.wiring.curves[group]
        found = np.tile(one.parameters[place], (len(self), 1))
        if one.keys[place] in self.changes.curves:
            edits = self.changes.curves[one.keys[place]]
            found[edits.rows] = edits.parameters
        return found

    def transfer(self, one: Index, other: Index, rows: Index) -> Array:
        """Differential resistance between ports at some operating points (rows, one, other)."""
        between, active = self.ports.between, self._active[:, rows]
        to = between(one[:, None, None], active[None])
        back = between(active[:, None], other[None, :, None])
        through = np.einsum("oas,ans->son", to, self.answers(back, rows))
        found: Array = between(one[:, None], other[None, :]) - through
        return found

    @cached_property
    def probe_volts(self) -> Array:
        """Volts at the probes without a meter (rows, probes) [V]."""
        return self._looked_at[:, len(self.watch_ports) :]

    @cached_property
    def _looked_at(self) -> Array:
        """Volts at the watched branches, then at the probes, in all rows [V]."""
        return self.volts(np.concatenate([self.watch_ports, self.probe_ports]))

    def _watched_volts(self, rows: Index | slice) -> Array:
        """Volts at the watched branches in some rows (rows, watched) [V]."""
        return self._looked_at[rows, : len(self.watch_ports)]

    @cached_property
    def read_volts(self) -> Array:
        """The same with nine digits of what a meter would show (rows, probes) [V]."""
        return refined(self, self.probe_ports, self.probe_volts)

    @cached_property
    def probe_ohms(self) -> Array:
        """Differential resistance between the two ends of each probe (rows, probes) [ohm]."""
        ports = self.probe_ports
        to = self.ports.between(ports[:, None, None], self._active[None])
        through = np.einsum("pas,aps->sp", to, self.answers(to.transpose(1, 0, 2)))
        found: Array = np.maximum(self.ports.between(ports, ports) - through, 0.0)
        return found

    @cached_property
    def probe_cut(self) -> Bool:
        """Whether nothing joins the two ends of a probe any more (rows, probes)."""
        return self.cut_off(self.probe_ports)

    def metered(self, probe: int | Index, siemens: float | Array) -> Array:
        """Volts at one or several probes as meters of some conductance show them, in all rows [V]."""
        loaded = self.read_volts[:, probe] / (1 + self.probe_ohms[:, probe] * siemens)
        found: Array = np.where(self.probe_cut[:, probe], 0.0, loaded)
        return found

    def cut_off(self, ports: Index) -> Bool:
        """Whether nothing joins the two ends of a port any more (rows, ports)."""
        island = self.network.island
        one, other = island[self.ports.tail[ports]], island[self.ports.head[ports]]
        result = np.tile(one != other, (len(self), 1))
        for rows, now in self.ties.joined:
            result[rows] = now[one] != now[other]
        for column in np.flatnonzero(self.bridging.any(axis=0)):
            rows = np.flatnonzero(self.bridging[:, column])
            share = self.transfer_to(rows, ports, self.edit_port[rows, column])
            result[rows] |= np.abs(self.extra_siemens[rows, column, None] * share) > 0.5
        for rows, curve in self._held_open:
            share = self.transfer_to(rows, ports, np.full(len(rows), self.curve_ports[curve]))
            result[rows] |= np.abs(CURVE_SIEMENS * share) > 0.5
        return result

    def transfer_to(self, rows: Index, ports: Index, others: Index) -> Array:
        """Differential resistance between ports and one other port for each row (rows, ports)."""
        active = self._active[:, rows]
        back = self.ports.between(active, others)[:, None]
        to = self.ports.between(ports[:, None, None], active[None])
        through = np.einsum("pas,as->sp", to, self.answers(back, rows)[:, 0])
        found: Array = self.ports.between(ports[None, :], others[:, None]) - through
        return found

    def behind_knee(self, probes: Sequence[int], siemens: float) -> Bool:
        """Where a meter's current could move a diode along its knee: not linear any more.

        That is where a probe is held by little more than leakage, and a diode is what holds it.

        :returns: for each row and each of ``probes`` (rows, probes)
        """
        knees = self.network.knees
        found = np.zeros((len(self), len(probes)), dtype=bool)
        if not knees.size or not len(probes):
            return found
        wanted = np.array(probes, dtype=np.intp)
        own = np.where(self.probe_cut[:, wanted], 0.0, self.probe_ohms[:, wanted])
        loose = own * siemens > 1e-3
        rows = np.flatnonzero(loose.any(axis=1))
        if rows.size:
            across = self.transfer(self.probe_ports[wanted], self.curve_ports[knees], rows)
            beside = np.abs(across).max(axis=-1) > 0.01 * own[rows]
            found[rows] = loose[rows] & beside
        return found

    def state(self, threshold: str) -> Bool:
        """Whether a threshold is on, in all rows; off for one that is not there."""
        for column, name in enumerate(self.circuit.thresholds):
            if name == threshold:
                return np.asarray(self.states[:, column])
        return np.zeros(len(self), dtype=bool)

    def siemens_of(self, key: str) -> Array:
        """Conductance of a linear branch in all rows [S]."""
        network = self.network
        place = network.wiring.place.get(key)
        base = 0.0 if place is None else network.siemens[place]
        found = np.full(len(self), base)
        for number in self.changes.slots_of(key):
            rows, columns = np.nonzero(self.slot == number)
            found[rows] = self.siemens[rows, columns]
        return found

    def alters(self, key: str) -> Bool:
        """Rows whose change alters a linear branch."""
        found = np.zeros(len(self), dtype=bool)
        for number in self.changes.slots_of(key):
            found |= ((self.slot == number) & self.altered).any(axis=1)
        return found

    @cached_property
    def _watching(self) -> list[Index]:
        """For each slot the column of a threshold that watches it, or -1; of some the second, ..."""
        found: list[Index] = []
        seen: dict[int, int] = {}
        for column, key in enumerate(self.network.wiring.watched.keys):
            for slot in self.changes.slots_of(key):
                number = seen[slot] = seen.get(slot, -1) + 1
                if number == len(found):
                    found.append(np.full(len(self.changes.tail), -1))
                found[number][slot] = column
        return found

    @cached_property
    def stands_as_network(self) -> Bool:
        """Rows in the states of the network (rows,)."""
        return np.asarray(np.all(self.states == self.network.state_row, axis=1))

    @cached_property
    def alters_watched(self) -> Bool:
        """Rows that alter a branch that a threshold watches."""
        found = np.zeros(len(self), dtype=bool)
        for column_of in self._watching:
            found |= (column_of[self.slot] >= 0).any(axis=1)
        return found

    def watched_flow(self, rows: Index | slice = _ALL) -> Array:
        """Current of the branch behind each of ``watched`` in some rows (rows, watched) [A]."""
        volts = self._watched_volts(rows)
        found: Array = self.network.siemens[self.watch_ports] * volts
        for column_of in self._watching:
            column = column_of[self.slot[rows]]
            at, which = (column >= 0).nonzero()
            if not at.size:
                continue
            column = column[at, which]
            found[at, column] = self.siemens[rows][at, which] * volts[at, column]
        return found


def put_in(r: Array, volts: Array, column: int, siemens: Array, amps: Array) -> Array:
    """Put one altered branch of each row into its network, in place, seen from the row's ports.

    The formula of a conductance across two nodes (J. Sherman, W. J. Morrison, Ann. Math. Stat. 21,
    1950), the branch also pushing a current.

    :param r: (ports, ports, rows), and ``volts`` (ports, rows)
    :returns: how much of the branch's surroundings is left [1]
    """
    across = r[:, column].copy()
    left: Array = 1 + siemens * across[column]
    nothing = left == 0
    share = ~nothing / (left + nothing)
    own = share * (volts[column] + across[column] * amps)
    r -= across[:, None] * (share * siemens * across)
    volts -= across * (siemens * own - amps)
    # Its own port from the factor: as a difference it would keep nothing of a short.
    r[column] = r[:, column] = share * across
    volts[column] = own
    return left
