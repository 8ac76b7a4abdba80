"""One circuit under thousands of small changes.

The linear network is inverted once for each combination of states and seen from its ports only:
the branches that a change alters, the curves, the watched branches, and the points a meter is put
on. With R the resistance between ports and v their volts, a change is exact in port space:

    u = v - R f(u),     f = (dg u - dj) at changed branches, (i(u) - g u) at curves

so that each operating point is a Newton iteration on a handful of unknowns, done for all changes
together. Opens are exact limits: whether a branch holds something to the rest is a question to the
graph (``cuts``), not to arithmetic. The few points that come out ill-conditioned or unconverged are
solved one by one at full size.

A meter's own resistance is put on at the end as a Thevenin divider; its microampere moves no curve.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Branch, Conductor, Source, Threshold, holds
from circuitcheck.solve.network import CURVE_SIEMENS, REFERENCE, TIE_SIEMENS, Network, Networks

Bool = NDArray[np.bool_]
Index = NDArray[np.intp]

_LEAK = 1e-12
"""Keeps the volts of a curve defined when it hangs on an open motor [S]."""
_ROUNDS = 80
_PLAIN = 12
"""Rounds of plain Newton before it is steadied."""
_VOLTS_LEFT = 1e-10
"""Largest error of a port's volts at which the iteration ends [V]."""
_DELICATE = 1e-7


@dataclass
class Ports:
    """The node pairs that matter, each once, by number."""

    index: Mapping[str, int]
    number: dict[tuple[int, int], int] = field(default_factory=dict)

    def add(self, tail: str, head: str) -> int:
        """The number of a port."""
        return self.add_nodes(self.index[tail], self.index[head])

    def add_nodes(self, tail: int, head: int) -> int:
        """The number of a port, its nodes given by their numbers."""
        return self.number.setdefault((tail, head), len(self.number))

    def ends(self) -> tuple[Index, Index]:
        """Tail and head nodes of all ports."""
        pairs = np.array(list(self.number), dtype=np.intp).reshape(-1, 2)
        return pairs[:, 0], pairs[:, 1]


@dataclass(frozen=True, slots=True)
class Edit:
    """One altered linear branch: conductance and injected current that come on top."""

    key: str
    port: int
    siemens: float
    extra_siemens: float
    extra_amps: float
    is_tie: bool = False

    @property
    def adds(self) -> bool:
        """Whether it conducts where nothing did."""
        return self.siemens > 0 and self.siemens == self.extra_siemens

    @property
    def removes(self) -> bool:
        """Whether the branch is gone."""
        return self.siemens == 0.0 and self.extra_siemens < 0 and not self.is_tie


class Batch:
    """All changes that share a combination of states: solved together."""

    def __init__(
        self, network: Network, changes: Sequence[Change], probes: Sequence[tuple[str, str]]
    ) -> None:
        self.network = network
        self.circuit = circuit = network.circuit
        self.changes = changes
        self.watched = [
            (name, one.watch) for name, one in circuit.thresholds.items()
            if one.watch in circuit.branches
        ]  # fmt: skip
        self._number_ports(probes)
        self._compile()
        self._reduce()
        self._solve()

    # -- ports and edits ------------------------------------------------------------------

    def _number_ports(self, probes: Sequence[tuple[str, str]]) -> None:
        network, branches = self.network, self.circuit.branches
        self.ports = Ports(network.index)
        self.curve_ports = [self._port_of(branches[key]) for key in network.curve_keys]
        self.watch_ports = [self._port_of(branches[key]) for _, key in self.watched]
        self.probe_ports = [self.ports.add(tail, head) for tail, head in probes]

    def _port_of(self, branch: Branch) -> int:
        return self.ports.add(branch.tail, branch.head)

    def _compile(self) -> None:
        """Changes as arrays: port, conductance and current of each edit; curve parameters."""
        network = self.network
        edits = [self._edits(change) for change in self.changes]
        edits = [one + self._untied(one) for one in edits]
        width = max((len(one) for one in edits), default=0)
        shape = (len(edits), width)
        self.edits = edits
        self.edit_port = np.zeros(shape, dtype=np.intp)
        self.extra_siemens = np.zeros(shape)
        self.extra_amps = np.zeros(shape)
        self.bridging = np.zeros(shape, dtype=bool)
        self.parameters = [
            np.repeat(group.parameters[None], len(edits), axis=0) for group in network.curves
        ]
        words = self.network.cut_words if width else {}
        for row, listed in enumerate(edits):
            gone: set[int] = set()
            for column, edit in enumerate(listed):
                self.edit_port[row, column] = edit.port
                self.extra_siemens[row, column] = edit.extra_siemens
                self.extra_amps[row, column] = edit.extra_amps
                if edit.removes:
                    word = words[edit.key]
                    self.bridging[row, column] = word == 0 or word in gone
                    gone.add(word)
        self._alter_curves()

    def _edits(self, change: Change) -> list[Edit]:
        network, found = self.network, []
        for key, new in change.items():
            old = network.linear.get(key)
            if old is None and not isinstance(new, Conductor | Source):
                continue  # a curve: see _alter_curves
            branch = new if isinstance(new, Conductor | Source) else old
            assert branch is not None
            if branch.tail not in network.index or branch.head not in network.index:
                continue  # an addition that hangs on a point this set-up has taken away
            was = network.siemens[network.place[key]] if old is not None else 0.0
            becomes = 0.0 if new is None else self._siemens(new)
            amps = becomes * getattr(new, "emf", 0.0) - was * getattr(old, "emf", 0.0)
            if becomes != was or amps:
                found.append(Edit(key, self._port_of(branch), becomes, becomes - was, amps))
        return found

    def _untied(self, edits: list[Edit]) -> list[Edit]:
        """The ties to take off islands that a change joins to others."""
        network, found = self.network, []
        merged: dict[int, int] = {}
        ends = list(self.ports.number)
        for edit in edits:
            if not edit.adds:
                continue
            one, other = (_root(merged, int(network.island[node])) for node in ends[edit.port])
            if one != other:
                loose = max(one, other)  # the reference's island, 0, never
                merged[loose] = min(one, other)
                node = int(network.tied[loose - 1])
                port = self.ports.add_nodes(node, REFERENCE)
                found.append(Edit(f"tie {loose}", port, 0.0, -TIE_SIEMENS, 0.0, is_tie=True))
        return found

    def _siemens(self, branch: Branch) -> float:
        if isinstance(branch, Conductor) and not holds(branch.closed_when, self.network.states):
            return 0.0
        assert isinstance(branch, Conductor | Source)
        return branch.siemens

    def _alter_curves(self) -> None:
        for number, group in enumerate(self.network.curves):
            place = {key: column for column, key in enumerate(group.keys)}
            for row, change in enumerate(self.changes):
                for key in place.keys() & change.keys():
                    new = change[key]
                    values = np.array(getattr(new, "values", group.parameters[place[key]]))
                    if new is None:
                        values[group.kind.PARAMETERS.index("strength")] = 0.0
                    self.parameters[number][row, place[key]] = values

    # -- the network seen from its ports --------------------------------------------------

    def _reduce(self) -> None:
        network = self.network
        inverse = network.inverse
        self.open_volts = inverse @ network.injections()
        tail, head = self.ports.ends()
        self.columns = inverse[:, tail] - inverse[:, head]
        self.resistance = self.columns[tail] - self.columns[head]
        self.port_volts = self.open_volts[tail] - self.open_volts[head]
        rows = len(self.changes)
        fixed = np.tile(np.array(self.curve_ports, dtype=np.intp), (rows, 1))
        self.active = np.concatenate([self.edit_port, fixed], axis=1)
        """Ports of edits, then of curves, of each row."""

    def _solve(self) -> None:
        """Newton on the active ports of all rows together."""
        active = self.active
        start = self.port_volts[active]
        r = self.resistance[active[:, :, None], active[:, None, :]]
        extra = np.where(self.bridging, 0.0, self.extra_siemens)
        amps = np.where(self.bridging, 0.0, self.extra_amps)
        self.delicate = self._ill(r, extra) | self._tangled()
        unit = np.eye(r.shape[1])
        u = start.copy()
        steepest = self._steepest(extra)
        rows = np.arange(len(u))
        for turn in range(_ROUNDS):
            flow, slope = self._flows(u[rows], extra[rows], amps[rows], rows)
            missing = u[rows] + (r[rows] @ flow[..., None])[..., 0] - start[rows]
            size = np.max(np.abs(missing), axis=1, initial=0.0)
            open_ = size > _VOLTS_LEFT
            rows, missing, slope = rows[open_], missing[open_], slope[open_]
            if not rows.size:
                break
            # Where a fan stops, the current's slope jumps and Newton may be thrown to and fro. With
            # the steepest slope a curve can have, the step can only fall short: it always gains.
            if turn >= _PLAIN and turn % 4:
                slope = steepest[rows]
            jacobian = unit + r[rows] * slope[:, None, :]
            u[rows] += np.linalg.solve(jacobian, -missing[..., None])[..., 0]
        self.delicate[rows] = True
        self.u = u
        self.flow, self.slope = self._flows(u, extra, amps, slice(None))
        self.inverse_jacobian = np.linalg.inv(unit + r * self.slope[:, None, :])

    def _steepest(self, extra: Array) -> Array:
        """The steepest slope at each active port, at whatever volts [S]."""
        ends = [np.full((len(extra), len(self.curve_ports)), volts) for volts in (0.0, 100.0)]
        slopes = [self.network.curve_currents(one, self.parameters)[1] for one in ends]
        curves = np.maximum(*slopes) - CURVE_SIEMENS + _LEAK
        return np.concatenate([extra, curves], axis=1)

    def _flows(
        self, u: Array, extra: Array, amps: Array, rows: Index | slice
    ) -> tuple[Array, Array]:
        """What flows at the active ports of some rows beyond the inverted network, and its slope."""
        width = extra.shape[1]
        parameters = [one[rows] for one in self.parameters]
        current, slope = self.network.curve_currents(u[:, width:], parameters)
        beyond = current - (CURVE_SIEMENS - _LEAK) * u[:, width:]
        flow = np.concatenate([extra * u[:, :width] - amps, beyond], axis=1)
        return flow, np.concatenate([extra, slope - CURVE_SIEMENS + _LEAK], axis=1)

    def _ill(self, r: Array, extra: Array) -> Bool:
        """Rows where so little is left of a branch's surroundings that digits are lost."""
        if not extra.shape[1]:
            return np.zeros(len(r), dtype=bool)
        width = extra.shape[1]
        own = 1 + extra * np.einsum("sii->si", r)[:, :width]
        own[extra == -TIE_SIEMENS] = 1.0
        ill: Bool = np.any(np.abs(own) < _DELICATE, axis=1)
        return ill

    def _tangled(self) -> Bool:
        """Rows that add a branch and take out one that held something: not told by cut words."""
        adds = np.array([any(edit.adds for edit in one) for one in self.edits], dtype=bool)
        return adds & self.bridging.any(axis=1)

    # -- what can be read off -------------------------------------------------------------

    def volts(self, ports: Sequence[int]) -> Array:
        """Volts of ports in all rows (rows, ports), without a meter [V]."""
        wanted = np.array(ports, dtype=np.intp)
        r = self.resistance[wanted[None, :, None], self.active[:, None, :]]
        found: Array = self.port_volts[wanted] - np.einsum("spk,sk->sp", r, self.flow)
        return found

    def transfer(self, one: Sequence[int], other: Sequence[int]) -> Array:
        """Differential resistance between ports at the operating points (rows, one, other)."""
        first, second = np.array(one, dtype=np.intp), np.array(other, dtype=np.intp)
        to = self.resistance[first[None, :, None], self.active[:, None, :]]
        back = self.resistance[self.active[:, :, None], second[None, None, :]]
        direct = self.resistance[first[:, None], second[None, :]]
        weighted = self.slope[..., None] * np.einsum("sij,sjq->siq", self.inverse_jacobian, back)
        found: Array = direct - np.einsum("spk,skq->spq", to, weighted)
        return found

    def metered(self, ports: Sequence[int], siemens: float) -> Array:
        """Volts of ports as a meter of some conductance shows them, each port on its own [V]."""
        volts = self.volts(ports)
        own = np.einsum("spp->sp", self.transfer(ports, ports))
        return np.where(self.cut_off(ports), 0.0, volts / (1 + np.maximum(own, 0.0) * siemens))

    def cut_off(self, ports: Sequence[int]) -> Bool:
        """Whether nothing joins the two ends of a port any more (rows, ports)."""
        tail, head = self.ports.ends()
        island = self.network.island
        apart = island[tail[list(ports)]] != island[head[list(ports)]]
        result = np.tile(apart, (len(self.changes), 1))
        for row, edits in enumerate(self.edits):
            if any(edit.is_tie for edit in edits):
                result[row] = self._apart_in(edits, tail[list(ports)], head[list(ports)])
        for column in np.flatnonzero(self.bridging.any(axis=0)):
            rows = np.flatnonzero(self.bridging[:, column])
            for row in rows.tolist():
                port = int(self.edit_port[row, column])
                share = self.extra_siemens[row, column] * self._transfer_row(row, ports, port)
                result[row] |= np.abs(share) > 0.5
        return result

    def _apart_in(self, edits: Sequence[Edit], tail: Index, head: Index) -> Bool:
        """Which ports have their ends on different islands once a change has joined some."""
        ends, island = list(self.ports.number), self.network.island
        merged: dict[int, int] = {}
        for edit in edits:
            if edit.adds:
                one, other = (_root(merged, int(island[node])) for node in ends[edit.port])
                if one != other:
                    merged[max(one, other)] = min(one, other)
        roots = [[_root(merged, int(island[node])) for node in side] for side in (tail, head)]
        return np.array([one != other for one, other in zip(*roots, strict=True)], dtype=bool)

    def behind_knee(self, ports: Sequence[int], siemens: float) -> Bool:
        """Rows where a meter's current could move a diode along its knee: not linear any more.

        That is where a port is held by little more than leakage, and a diode is what holds it.
        """
        none = np.zeros(len(self.changes), dtype=bool)
        slopes = self._steepest(np.zeros((len(self.changes), 0)))
        at_rest = self.network.curve_currents(np.zeros_like(slopes), self.parameters)[1]
        knees = np.flatnonzero(np.any(at_rest < 1e-3 * slopes, axis=0) & np.any(at_rest > 0, axis=0))
        if not knees.size or not len(ports):
            return none
        own = np.einsum("spp->sp", self.transfer(ports, ports))
        across = np.abs(self.transfer(ports, [self.curve_ports[one] for one in knees])).max(axis=-1)
        light = (own * siemens > 1e-3) & (across > 0.01 * own) & ~self.cut_off(ports)
        found: Bool = np.any(light, axis=1)
        return found

    def _transfer_row(self, row: int, ports: Sequence[int], other: int) -> Array:
        wanted, active = list(ports), self.active[row]
        weighted = self.slope[row] * (self.inverse_jacobian[row] @ self.resistance[active, other])
        found: Array = self.resistance[wanted, other] - (
            self.resistance[np.ix_(wanted, active)] @ weighted
        )
        return found

    def siemens_of(self, key: str) -> Array:
        """Conductance of a linear branch in all rows [S]."""
        network = self.network
        base = network.siemens[network.place[key]] if key in network.place else 0.0
        found = np.full(len(self.changes), base)
        for row, edits in enumerate(self.edits):
            for edit in edits:
                if edit.key == key:
                    found[row] = edit.siemens
        return found

    def watched_amps(self) -> dict[str, Array]:
        """Current of the branch behind each threshold, in all rows [A]."""
        volts = self.volts(self.watch_ports)
        return {
            name: self.siemens_of(key) * volts[:, column]
            for column, (name, key) in enumerate(self.watched)
        }


def _root(merged: Mapping[int, int], island: int) -> int:
    while island in merged:
        island = merged[island]
    return island


@dataclass
class Group:
    """Rows of a sweep that ended in the same states.

    :param rows: their numbers in the sweep
    :param local: their numbers in the batch that solved them
    """

    rows: Index
    local: Index
    states: dict[str, bool]
    batch: Batch


@dataclass(frozen=True)
class Settled:
    """Where the states of all changes came to.

    :param groups: rows at rest
    :param buzzing: rows whose states come round again for ever
    :param unsure: rows that lost too many digits to be trusted; to be solved at full size
    """

    groups: list[Group]
    buzzing: Index
    unsure: Index


def settle(
    networks: Networks, changes: Sequence[Change], probes: Sequence[tuple[str, str]],
    blown: Sequence[frozenset[str]] | None = None, fuses: Array | None = None,
) -> Settled:  # fmt: skip
    """Follow the states of every change to rest.

    :param blown: for each change the fuses that have blown in service
    :param fuses: for each change, by how much every fuse opens above its usual limit [1]
    """
    circuit = networks.circuit
    names = list(circuit.thresholds)
    begin = circuit.initial_states()
    states = np.array([[begin[name] for name in names] for _ in changes], dtype=bool)
    states = states.reshape(len(changes), len(names))
    for row, already in enumerate(blown or ()):
        for name in already & begin.keys():
            states[row, names.index(name)] = True
    waiting = np.arange(len(changes))
    done: list[Group] = []
    unsure: list[Index] = []
    rings: list[Index] = []
    seen: dict[int, set[bytes]] = {}
    for _ in range(2 * len(names) + 4):
        if not waiting.size:
            break
        moved: list[Index] = []
        for rows in _alike(states, waiting):
            named = dict(zip(names, states[rows[0]].tolist(), strict=True))
            batch = Batch(networks.of(named), [changes[row] for row in rows], probes)
            limit = np.ones(len(rows)) if fuses is None else fuses[rows]
            after = _after(circuit.thresholds, states[rows], batch, limit)
            # A point that could not be trusted must not throw a relay or blow a fuse.
            trusted = ~batch.delicate
            unsure.append(rows[~trusted])
            rest = np.all(after == states[rows], axis=1) & trusted
            if rest.any():
                done.append(Group(rows[rest], np.flatnonzero(rest), named, batch))
            going = np.flatnonzero(~rest & trusted)
            ring = np.array([_seen_before(seen, rows[n], states[rows[n]], after[n]) for n in going],
                            dtype=bool)  # fmt: skip
            states[rows] = after
            rings.append(rows[going[ring]])
            moved.append(rows[going[~ring]])
        waiting = np.concatenate(moved) if moved else waiting[:0]
    none = waiting[:0]
    return Settled(done, np.concatenate([none, *rings]), np.concatenate([waiting, *unsure]))


def _seen_before(seen: dict[int, set[bytes]], row: int, before: Bool, after: Bool) -> bool:
    """Note where a row was; whether it now comes back to where it has been: it buzzes."""
    been = seen.setdefault(int(row), set())
    been.add(before.tobytes())
    return after.tobytes() in been


def _alike(states: Array | Bool, rows: Index) -> list[Index]:
    """Rows in groups of equal states."""
    if not states.shape[1]:
        return [rows]
    _, label = np.unique(states[rows], axis=0, return_inverse=True)
    label = label.reshape(-1)
    return [rows[label == one] for one in range(label.max() + 1)]


def _after(thresholds: Mapping[str, Threshold], states: Bool, batch: Batch, fuses: Array) -> Bool:
    """The next states of all rows; the same rule as ``states.next_states``."""
    amps = batch.watched_amps()
    after = states.copy()
    over = np.zeros(states.shape)
    for column, (name, one) in enumerate(thresholds.items()):
        size = np.abs(amps.get(name, np.zeros(len(states))))
        if one.latching:
            share = size / (one.on_amps * fuses)
            over[:, column] = np.where(~states[:, column] & (share >= 1), share, 0.0)
        else:
            after[:, column] = np.where(states[:, column], size > one.off_amps, size >= one.on_amps)
    still = np.all(after == states, axis=1) & np.any(over > 0, axis=1) if over.size else []
    for row in np.flatnonzero(still):
        # Of equals the last: a lead's fuse comes after those of the vehicle.
        after[row, int(np.flatnonzero(over[row] >= 0.999 * over[row].max())[-1])] = True
    return after
