"""All changes that share a combination of states, solved together.

The linear network is inverted once and seen from its ports only: the branches that a change alters,
the curves, the watched branches, and the points a meter is put on. With R the resistance between
ports and v their volts, a change is exact in port space:

    u = v - R f(u),     f = (dg u - dj) at changed branches, (i(u) - g u) at curves

so that each operating point is a Newton iteration on a handful of unknowns (:mod:`.newton`), done
for all changes together. Opens are exact limits: whether a branch holds something to the rest is a
question to the graph (``cuts``), not to arithmetic.

A meter's own resistance is put on at the end as a Thevenin divider; its microampere moves no curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Array, holds
from circuitcheck.solve.changes import Bool, Changes, Index
from circuitcheck.solve.network import REFERENCE, TIE_SIEMENS, Network
from circuitcheck.solve.newton import settle_curves
from circuitcheck.solve.ties import ties_of

_DELICATE = 1e-7
_TOGETHER = 1e11
"""Condition of all edits of a row together up to which volts are good to some microvolts, a hundredth
of a meter's last digit; found against the plain solver."""


class Batch:
    """The operating points of all rows of changes in one network.

    :param probes: node pairs that something will be read between
    """

    def __init__(
        self, network: Network, changes: Changes, probes: Sequence[tuple[str, str]]
    ) -> None:
        self.network = network
        self.circuit = network.circuit
        self.changes = changes
        self.watched = [
            (name, one.watch) for name, one in network.circuit.thresholds.items()
            if one.watch in network.circuit.branches
        ]  # fmt: skip
        self._compile()
        self._number_ports(probes)
        self._alter_curves()
        self._reduce()
        self._solve()

    def __len__(self) -> int:
        return len(self.changes)

    # -- edits and ports ------------------------------------------------------------------

    def _compile(self) -> None:
        """What each row adds to the network: conductances and currents at the slots it alters."""
        network, changes = self.network, self.changes
        held = np.array([holds(one, network.states) for one in changes.conditions], dtype=bool)
        known = changes.place >= 0
        was = np.where(known, network.siemens[changes.place], 0.0)
        was_amps = was * np.where(known, network.emf[changes.place], 0.0)
        slot, there = changes.slot, changes.slot >= 0
        if not was.size:
            was = was_amps = np.zeros(1)
        siemens = changes.siemens * held[changes.condition]
        extra = np.where(there, siemens - was[slot], 0.0)
        amps = np.where(there, siemens * changes.emf - was_amps[slot], 0.0)
        live = (extra != 0) | (amps != 0)
        width = int(np.max(live.sum(axis=1), initial=0))
        first = np.argsort(~live, axis=1, kind="stable")[:, :width]
        self.slot = np.take_along_axis(np.where(live, slot, -1), first, axis=1)
        """The slots altered in these states, -1 where there is none (rows, width)."""
        self.siemens = np.take_along_axis(siemens, first, axis=1)
        self.extra_siemens = np.take_along_axis(extra, first, axis=1)
        self.extra_amps = np.take_along_axis(amps, first, axis=1)
        self.adds = (self.slot >= 0) & (self.siemens > 0) & (self.siemens == self.extra_siemens)
        removes = (self.slot >= 0) & (self.siemens == 0) & (self.extra_siemens < 0)
        self.bridging = self._bridging(removes)
        self.ties = ties_of(network.island, self.slot, self.adds, changes)

    def _bridging(self, removes: Bool) -> Bool:
        """Which removals take out what alone, or once those before it are gone, holds a part.

        Such a branch carries nothing but what it holds; leaving it in is the exact limit.
        """
        found = np.zeros(removes.shape, dtype=bool)
        if not removes.any():
            return found
        words = self.network.cut_words
        of_slot = np.array([words.get(one.key, 0) for one in self.changes.slots], dtype=np.int64)
        word = of_slot[self.slot]
        spanned = [np.zeros(len(word), dtype=np.int64)]
        for column in range(word.shape[1]):
            gone, mine = removes[:, column], word[:, column]
            if not gone.any():
                continue
            found[:, column] = gone & np.any([mine == one for one in spanned], axis=0)
            spanned += [np.where(gone, one ^ mine, one) for one in spanned]
        for row in np.flatnonzero(found.any(axis=1) & self.adds.any(axis=1)).tolist():
            found[row] = self._apart(row, removes[row])
        return found

    def _apart(self, row: int, removes: Bool) -> Bool:
        """The same for a row that also adds branches, which may go round what it takes out."""
        found, slots, number = np.zeros(len(removes), dtype=bool), self.changes.slots, self.slot[row]
        gone = {slots[number[column]].key for column in np.flatnonzero(removes)}
        joined = Joined((one.tail, one.head) for key, one in self.network.conducting.items()
                        if key not in gone)  # fmt: skip
        for column in np.flatnonzero(self.adds[row]):
            joined.join(slots[number[column]].tail, slots[number[column]].head)
        for column in np.flatnonzero(removes):
            ends = slots[number[column]].tail, slots[number[column]].head
            found[column] = not joined.together(*ends)
            joined.join(*ends)  # left in where it is a bridge: another beside it is then none
        return found

    def _number_ports(self, probes: Sequence[tuple[str, str]]) -> None:
        network, changes = self.network, self.changes
        index, branches = network.index, self.circuit.branches
        watched = [branches[key] for _, key in self.watched]
        used = np.unique(self.slot[self.slot >= 0])
        tails = [
            network.curve_tail, [index[one.tail] for one in watched],
            [index[tail] for tail, _ in probes], changes.tail[used], network.tied[self.ties.loose],
        ]  # fmt: skip
        heads = [
            network.curve_head, [index[one.head] for one in watched],
            [index[head] for _, head in probes], changes.head[used],
            np.full(len(self.ties.loose), REFERENCE),
        ]  # fmt: skip
        self.tail = np.concatenate([np.asarray(one, dtype=np.intp) for one in tails])
        self.head = np.concatenate([np.asarray(one, dtype=np.intp) for one in heads])
        ends = np.cumsum([len(one) for one in tails])
        self.curve_ports = np.arange(ends[0])
        self.watch_ports = np.arange(ends[0], ends[1])
        self.probe_ports = np.arange(ends[1], ends[2])
        port_of = np.zeros(len(changes.slots) + 1, dtype=np.intp)
        port_of[used] = np.arange(ends[2], ends[3])
        self._put_on(port_of[self.slot], ends[3])

    def _put_on(self, edit_port: Index, first_tie: int) -> None:
        """Ties that come off join the edits as columns of their own."""
        ties = self.ties.column
        there = ties >= 0
        nothing = np.zeros(ties.shape)
        self.edit_port = np.concatenate([edit_port, np.where(there, first_tie + ties, 0)], axis=1)
        self.slot = np.concatenate([self.slot, np.full(ties.shape, -1, dtype=np.intp)], axis=1)
        self.siemens = np.concatenate([self.siemens, nothing], axis=1)
        off = np.where(there, -TIE_SIEMENS, 0.0)
        self.extra_siemens = np.concatenate([self.extra_siemens, off], axis=1)
        self.extra_amps = np.concatenate([self.extra_amps, nothing], axis=1)
        self.bridging = np.concatenate([self.bridging, np.zeros(ties.shape, dtype=bool)], axis=1)

    def _alter_curves(self) -> None:
        rows = len(self)
        self.parameters = [
            np.repeat(group.parameters[None], rows, axis=0) for group in self.network.curves
        ]
        for number, group in enumerate(self.network.curves):
            for place, key in enumerate(group.keys):
                if key in self.changes.curves:
                    edits = self.changes.curves[key]
                    self.parameters[number][edits.rows, place] = edits.parameters

    # -- the network seen from its ports --------------------------------------------------

    def _reduce(self) -> None:
        network, tail, head = self.network, self.tail, self.head
        inverse = network.inverse
        self.open_volts = network.open_volts
        self.columns = inverse[:, tail] - inverse[:, head]
        self.resistance = self.columns[tail] - self.columns[head]
        self.port_volts = self.open_volts[tail] - self.open_volts[head]
        fixed = np.tile(self.curve_ports, (len(self), 1))
        self.active = np.concatenate([self.edit_port, fixed], axis=1)
        """Ports of edits, then of curves, of each row."""

    def _solve(self) -> None:
        """The altered branches are linear and go into the network; the curves are settled on it."""
        network, width = self.network, self.edit_port.shape[1]
        r = self._r = self.resistance[self.active[:, :, None], self.active[:, None, :]]
        extra = np.where(self.bridging, 0.0, self.extra_siemens)
        amps = np.where(self.bridging, 0.0, self.extra_amps)
        start = self.port_volts[self.active]
        edit, between, curve = r[:, :width, :width], r[:, :width, width:], r[:, width:, width:]
        # u = v - R f at all of them, f = g u - j at the altered ones: solved for their part of u.
        matrix = np.eye(width) + edit * extra[:, None, :]
        self.delicate = self._ill(r, extra, matrix)
        pushed = start[:, :width] + (edit @ amps[..., None])[..., 0]
        known = np.linalg.solve(matrix, np.concatenate([pushed[..., None], between], axis=2))
        still, moving = known[..., 0], known[..., 1:]
        back = between.transpose(0, 2, 1)
        c = start[:, width:] - (back @ (extra * still - amps)[..., None])[..., 0]
        seen = curve - back @ (extra[..., None] * moving)
        first = np.tile(network.curve_start, (len(self), 1))
        volts, flow, rested = settle_curves(c, seen, self._beyond, first)
        self.delicate |= ~rested
        edited = still - (moving @ flow[..., None])[..., 0]
        self.u = np.concatenate([edited, volts], axis=1)
        self.flow = np.concatenate([extra * edited - amps, flow], axis=1)
        _, slope = self._beyond(volts, np.arange(len(self)))
        self.slope = np.concatenate([extra, slope], axis=1)

    def _beyond(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """What the curves of some rows draw beyond what the inverted network holds, and its slope."""
        return self.network.beyond(volts, [one[rows] for one in self.parameters])

    @cached_property
    def inverse_jacobian(self) -> Array:
        """Of the ports' volts at the operating points (rows, active, active)."""
        jacobian = np.eye(self._r.shape[1]) + self._r * self.slope[:, None, :]
        return np.asarray(np.linalg.inv(jacobian), dtype=np.float64)

    def _ill(self, r: Array, extra: Array, matrix: Array) -> Bool:
        """Rows where so little is left of a branch's surroundings that digits are lost.

        What else a row adds may hold what one of its branches no longer does: a wire that sits
        elsewhere. Then all its edits together lose few.
        """
        if not extra.shape[1]:
            return np.zeros(len(r), dtype=bool)
        width = extra.shape[1]
        own = 1 + extra * np.einsum("sii->si", r)[:, :width]
        own[extra == -TIE_SIEMENS] = 1.0
        ill: Bool = np.any(np.abs(own) < _DELICATE, axis=1)
        held = np.flatnonzero(ill & self.adds.any(axis=1))
        ill[held] = np.linalg.cond(matrix[held]) > _TOGETHER
        return ill

    # -- what can be read off -------------------------------------------------------------

    def volts(self, ports: Index) -> Array:
        """Volts of ports in all rows (rows, ports), without a meter [V]."""
        r = self.resistance[ports[None, :, None], self.active[:, None, :]]
        found: Array = self.port_volts[ports] - (r @ self.flow[..., None])[..., 0]
        return found

    def transfer(self, one: Index, other: Index) -> Array:
        """Differential resistance between ports at the operating points (rows, one, other)."""
        to = self.resistance[one[None, :, None], self.active[:, None, :]]
        back = self.resistance[self.active[:, :, None], other[None, None, :]]
        found: Array = self.resistance[one[:, None], other] - (
            to @ (self.slope[..., None] * (self.inverse_jacobian @ back))
        )
        return found

    @cached_property
    def probe_volts(self) -> Array:
        """Volts at the probes without a meter (rows, probes) [V]."""
        return self.volts(self.probe_ports)

    @cached_property
    def probe_ohms(self) -> Array:
        """Differential resistance between the two ends of each probe (rows, probes) [ohm]."""
        ports = self.probe_ports
        to = self.resistance[ports[None, :, None], self.active[:, None, :]]
        back = self.inverse_jacobian @ self.resistance[self.active[:, :, None], ports[None, None, :]]
        through = np.einsum("spk,sk,skp->sp", to, self.slope, back)
        found: Array = np.maximum(self.resistance[ports, ports] - through, 0.0)
        return found

    @cached_property
    def probe_cut(self) -> Bool:
        """Whether nothing joins the two ends of a probe any more (rows, probes)."""
        return self.cut_off(self.probe_ports)

    def metered(self, probe: int, siemens: float) -> Array:
        """Volts at one probe as a meter of some conductance shows them, in all rows [V]."""
        loaded = self.probe_volts[:, probe] / (1 + self.probe_ohms[:, probe] * siemens)
        found: Array = np.where(self.probe_cut[:, probe], 0.0, loaded)
        return found

    def cut_off(self, ports: Index) -> Bool:
        """Whether nothing joins the two ends of a port any more (rows, ports)."""
        island = self.network.island
        one, other = island[self.tail[ports]], island[self.head[ports]]
        result = np.tile(one != other, (len(self), 1))
        for rows, now in self.ties.joined:
            result[rows] = now[one] != now[other]
        for column in np.flatnonzero(self.bridging.any(axis=0)):
            rows = np.flatnonzero(self.bridging[:, column])
            share = self._transfer_to(rows, ports, self.edit_port[rows, column])
            result[rows] |= np.abs(self.extra_siemens[rows, column, None] * share) > 0.5
        return result

    def _transfer_to(self, rows: Index, ports: Index, others: Index) -> Array:
        """Differential resistance between ports and one other port for each row (rows, ports)."""
        active = self.active[rows]
        back = self.resistance[active, others[:, None]][..., None]
        weighted = self.slope[rows][..., None] * (self.inverse_jacobian[rows] @ back)
        to = self.resistance[ports[None, :, None], active[:, None, :]]
        found: Array = self.resistance[ports[None, :], others[:, None]] - (to @ weighted)[..., 0]
        return found

    def behind_knee(self, probes: Sequence[int], siemens: float) -> Bool:
        """Rows where a meter's current could move a diode along its knee: not linear any more.

        That is where a probe is held by little more than leakage, and a diode is what holds it.
        """
        knees = self.network.knees
        if not knees.size or not len(probes):
            return np.zeros(len(self), dtype=bool)
        wanted = np.array(probes, dtype=np.intp)
        own, cut = self.probe_ohms[:, wanted], self.probe_cut[:, wanted]
        across = np.abs(self.transfer(self.probe_ports[wanted], self.curve_ports[knees])).max(axis=-1)
        found: Bool = np.any((own * siemens > 1e-3) & (across > 0.01 * own) & ~cut, axis=1)
        return found

    def siemens_of(self, key: str) -> Array:
        """Conductance of a linear branch in all rows [S]."""
        network = self.network
        base = network.siemens[network.place[key]] if key in network.place else 0.0
        found = np.full(len(self), base)
        for number in self.changes.slot_numbers.get(key, ()):
            rows, columns = np.nonzero(self.slot == number)
            found[rows] = self.siemens[rows, columns]
        return found

    def alters(self, key: str) -> Bool:
        """Rows that alter a linear branch."""
        found = np.zeros(len(self), dtype=bool)
        for number in self.changes.slot_numbers.get(key, ()):
            found |= (self.slot == number).any(axis=1)
        return found

    def watched_amps(self) -> dict[str, Array]:
        """Current of the branch behind each threshold, in all rows [A]."""
        volts = self.volts(self.watch_ports)
        return {
            name: self.siemens_of(key) * volts[:, column]
            for column, (name, key) in enumerate(self.watched)
        }
