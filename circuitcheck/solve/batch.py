"""All changes whose states come near those of one network, solved together.

The linear network is inverted once and seen from its ports only: the branches that a row alters,
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

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.curves import Curves
from circuitcheck.solve.edits import Edits
from circuitcheck.solve.network import REFERENCE, TIE_SIEMENS, Network
from circuitcheck.solve.newton import settle_curves
from circuitcheck.solve.ties import ties_of
from circuitcheck.solve.wiring import Bool, Index

_DELICATE = 1e-6
"""Share of a branch's surroundings that has to be left of it, if digits are not to be lost."""


class Batch:
    """The operating points of all rows of changes, in their states, from one network.

    :param states: of every threshold in each row (rows, thresholds)
    :param probes: node pairs that something will be read between
    """

    def __init__(
        self, network: Network, changes: Changes, states: Bool, probes: Sequence[tuple[str, str]]
    ) -> None:
        self.network = network
        self.circuit = network.circuit
        self.changes = changes
        self.states = states
        self.watched = [
            (name, one.watch) for name, one in network.circuit.thresholds.items()
            if one.watch in network.circuit.branches
        ]  # fmt: skip
        self.edits = Edits(network, changes, states)
        self.ties = ties_of(network.island, self.edits.slot, self.edits.adds, changes)
        self._number_ports(probes)
        self._reduce()
        self._list_edits()
        self.curves = Curves(network.wiring.curves, network.tangent, len(changes), changes.curves)
        self._solve()

    def __len__(self) -> int:
        return len(self.changes)

    # -- ports ----------------------------------------------------------------------------

    def _number_ports(self, probes: Sequence[tuple[str, str]]) -> None:
        network, changes = self.network, self.changes
        index, branches = network.wiring.index, self.circuit.branches
        watched = [branches[key] for _, key in self.watched]
        self._used = np.unique(self.edits.slot[self.edits.slot >= 0])
        tails = [
            network.wiring.curve_tail, [index[one.tail] for one in watched],
            [index[tail] for tail, _ in probes], changes.tail[self._used],
            network.tied[self.ties.loose],
        ]  # fmt: skip
        heads = [
            network.wiring.curve_head, [index[one.head] for one in watched],
            [index[head] for _, head in probes], changes.head[self._used],
            np.full(len(self.ties.loose), REFERENCE),
        ]  # fmt: skip
        self.tail = np.concatenate([np.asarray(one, dtype=np.intp) for one in tails])
        self.head = np.concatenate([np.asarray(one, dtype=np.intp) for one in heads])
        ends = np.cumsum([len(one) for one in tails])
        self.curve_ports, self.watch_ports, self.probe_ports, self._edit_ports, self._tie_ports = (
            np.arange(end - len(one), end) for one, end in zip(tails, ends, strict=True)
        )

    def _reduce(self) -> None:
        """The network seen from its ports."""
        network, tail, head = self.network, self.tail, self.head
        self.columns = network.columns(tail, head)
        self.resistance = self.columns[tail] - self.columns[head]
        self.port_volts = self.columns.T @ network.pushed

    def _list_edits(self) -> None:
        """Ports and sizes of what each row alters; ties that come off join as columns of their own."""
        edits, ties = self.edits, self.ties.column
        port_of = np.zeros(len(self.changes.slots) + 1, dtype=np.intp)
        port_of[self._used] = self._edit_ports
        port = port_of[edits.slot]
        self.bridging = edits.bridging(self.resistance, port)
        there = ties >= 0
        first = self._tie_ports[0] if len(self._tie_ports) else 0
        self.edit_port = np.concatenate([port, np.where(there, first + ties, 0)], axis=1)
        held, nothing = np.zeros(ties.shape, dtype=bool), np.zeros(ties.shape)
        self.bridging = np.concatenate([self.bridging, held], axis=1)
        self.slot = np.concatenate([edits.slot, np.full(ties.shape, -1, dtype=np.intp)], axis=1)
        self.altered = np.concatenate([(edits.slot >= 0) & ~edits.flips, held], axis=1)
        """Which of them the row's change alters, and not its states."""
        self.siemens = np.concatenate([edits.siemens, nothing], axis=1)
        self.extra_siemens = np.concatenate(
            [edits.extra_siemens, np.where(there, -TIE_SIEMENS, 0.0)], axis=1)  # fmt: skip
        self.extra_amps = np.concatenate([edits.extra_amps, nothing], axis=1)
        fixed = np.tile(self.curve_ports, (len(self), 1))
        self.active = np.concatenate([self.edit_port, fixed], axis=1)
        """Ports of edits, then of curves, of each row."""

    # -- the operating points -------------------------------------------------------------

    def _solve(self) -> None:
        """The altered branches are linear and go into the network; the curves are settled on it."""
        width = self.edit_port.shape[1]
        extra = np.where(self.bridging, 0.0, self.extra_siemens)
        amps = np.where(self.bridging, 0.0, self.extra_amps)
        self._r = self.resistance[self.active[:, :, None], self.active[:, None, :]]
        r, volts = self._r, self.port_volts[self.active]
        least = np.full(len(self), _DELICATE)
        self.costly = np.full(len(self), -1, dtype=np.intp)
        """For each row the place of the branch that costs it digits, -1 for none that is known."""
        place = np.append(self.changes.place, -1)[self.slot]
        for column in range(width):
            r, volts, left = _put_in(r, volts, column, extra[:, column], amps[:, column])
            worse = np.abs(left) < least
            least = np.where(worse, np.abs(left), least)
            self.costly = np.where(worse, place[:, column], self.costly)
        seen, moved = r[:, width:, width:], r[:, :width, width:]
        rest = settle_curves(volts[:, width:], seen, self.curves)
        self.delicate = (least < _DELICATE) | ~rest.rested
        edited = volts[:, :width] - (moved @ rest.amps[..., None])[..., 0]
        self.u = np.concatenate([edited, rest.volts], axis=1)
        self.flow = np.concatenate([extra * edited - amps, rest.amps], axis=1)
        self.slope = np.concatenate([extra, rest.slope], axis=1)

    @cached_property
    def inverse_jacobian(self) -> Array:
        """Of the ports' volts at the operating points (rows, active, active)."""
        jacobian = np.eye(self._r.shape[1]) + self._r * self.slope[:, None, :]
        return np.asarray(np.linalg.inv(jacobian), dtype=np.float64)

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
        for number in self.changes.slot_numbers.get(key, ()):
            rows, columns = np.nonzero(self.slot == number)
            found[rows] = self.siemens[rows, columns]
        return found

    def alters(self, key: str) -> Bool:
        """Rows whose change alters a linear branch."""
        found = np.zeros(len(self), dtype=bool)
        for number in self.changes.slot_numbers.get(key, ()):
            found |= ((self.slot == number) & self.altered).any(axis=1)
        return found

    def watched_amps(self) -> dict[str, Array]:
        """Current of the branch behind each threshold, in all rows [A]."""
        volts = self.volts(self.watch_ports)
        return {
            name: self.siemens_of(key) * volts[:, column]
            for column, (name, key) in enumerate(self.watched)
        }


def _put_in(r: Array, volts: Array, column: int, siemens: Array, amps: Array
            ) -> tuple[Array, Array, Array]:  # fmt: skip
    """Put one altered branch of each row into its network, seen from the row's ports.

    The formula of a conductance across two nodes (J. Sherman, W. J. Morrison, Ann. Math. Stat. 21,
    1950), the branch also pushing a current.

    :returns: resistances, volts, and how much of the branch's surroundings is left [1]
    """
    across = r[:, :, column]
    left = 1 + siemens * across[:, column]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(left == 0, 0.0, 1 / left)
    own = share * (volts[:, column] + across[:, column] * amps)
    flow = siemens * own - amps
    after = r - (share * siemens)[:, None, None] * across[:, :, None] * r[:, column, None, :]
    volts = volts - across * flow[:, None]
    # Its own port from the factor: as a difference it would keep nothing of a short.
    after[:, column, :], after[:, :, column] = share[:, None] * r[:, column], share[:, None] * across
    volts[:, column] = own
    return after, volts, left
