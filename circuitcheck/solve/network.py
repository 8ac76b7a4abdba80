"""A circuit in given states as arrays: the nodal equations before anything is solved."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property
from operator import is_
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Array, Conductor, Source
from circuitcheck.solve.curves import LEAK, Curves, Reach, Tangent
from circuitcheck.solve.cuts import cut_words
from circuitcheck.solve.elimination import Elimination
from circuitcheck.solve.plain import solve_network
from circuitcheck.solve.wiring import REFERENCE, TIE_SIEMENS, Ends, Index, PortNumbers, Wiring

if TYPE_CHECKING:
    from circuitcheck.solve.levels import LevelElimination

CURVE_SIEMENS = 0.01
"""What stands in for a curve when a network is factored [S]; a sweep takes it off."""

_FEW_NODES = 400
"""Up to this the inverse of a network is made at once, if it has few curves."""
MANY_CURVES = 12
"""Above this, changes settle with the curves near them, and the others follow."""
_LARGE = 500
"""Nodes above which a network is eliminated level by level."""

_ROOM = 2**21
"""Numbers for which there is room at once in the columns of a network."""


def is_loom(circuit: Circuit) -> bool:
    """Whether a circuit has so many curves that a change moves few of them: a whole vehicle."""
    curves = sum(not isinstance(one, Conductor | Source) for one in circuit.branches.values())
    return curves > MANY_CURVES


@dataclass(frozen=True)
class Calm:
    """The states that a network comes to next.

    :param volts: as long as nothing moves by so much, the states come to the same [V]; below 0 where
        a fuse blows, as which of them is the first then depends
    :param amps: by how much the current of each watched branch may be another (watched,) [A]
    """

    after: NDArray[np.bool_]
    volts: float
    amps: Array


class Network:
    """Nodal equations ``A v = b - sum(curve currents)`` of a circuit in fixed states.

    Nodes that nothing conducting joins to the reference float; ``island`` tells the islands apart,
    the reference being on island 0.

    :param without: places of linear branches that are left out
    """

    def __init__(
        self, wiring: Wiring, states: Mapping[str, bool], without: tuple[int, ...] = ()
    ) -> None:
        self.wiring = wiring
        self.circuit = wiring.circuit
        self.states = dict(states)
        self.without = without
        self.siemens = wiring.siemens_in(states)
        self.siemens[list(without)] = 0.0
        self._store = np.empty((wiring.size, 0))
        self._places: dict[tuple[int, int], int] = {}
        self._wide_volts = np.empty(0)
        self._key_places = np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
        self._own = np.zeros(1, dtype=np.intp), np.zeros(1)  # a node and itself: nothing
        self._calm: dict[float, Calm] = {}
        self._in_slots = np.empty(0), np.empty(0)
        self._numbered: tuple[tuple[object, ...], PortNumbers | None] = (None,) * 3, None
        self._seen: tuple[bytes, tuple[Array, Array]] = b"", (np.empty((0, 0)), np.empty(0))

    @cached_property
    def state_row(self) -> NDArray[np.bool_]:
        """The states, in the order of the circuit's thresholds."""
        return np.array([self.states[name] for name in self.circuit.thresholds], dtype=bool)

    @cached_property
    def _cut_words(self) -> tuple[NDArray[np.int64], Index]:
        """For each branch what tells how it holds parts together; for each node its island."""
        wiring = self.wiring
        live = np.flatnonzero(self.siemens > 0)
        curves = np.flatnonzero(wiring.curve_conducts)
        tails = np.concatenate([wiring.tail[live], wiring.curve_tail[curves]])
        heads = np.concatenate([wiring.head[live], wiring.curve_head[curves]])
        words, island = cut_words(wiring.size, tails.tolist(), heads.tolist())
        found = np.zeros(len(wiring.every_tail), dtype=np.int64)
        found[live] = words[: len(live)]
        found[len(self.siemens) + curves] = words[len(live) :]
        return found, np.array(island, dtype=np.intp)

    @property
    def words(self) -> NDArray[np.int64]:
        """For each branch, linear ones first, what tells how it holds parts together; see ``cuts``."""
        return self._cut_words[0]

    @property
    def island(self) -> Index:
        """For each node the number of the island it is on; the reference is on island 0."""
        return self._cut_words[1]

    def joined(self, gone: Collection[int]) -> Joined[int]:
        """The nodes that current can pass between once some branches are gone.

        :param gone: numbers of branches, the linear ones first, then the curves
        """
        wiring = self.wiring
        conducts = np.concatenate([self.siemens > 0, wiring.curve_conducts])
        live = [number for number in np.flatnonzero(conducts).tolist() if number not in gone]
        tails, heads = wiring.every_tail[live].tolist(), wiring.every_head[live].tolist()
        return Joined(zip(tails, heads, strict=True))

    def in_slots(self, slots: int) -> tuple[Array, Array]:
        """What each slot of some changes holds [S] and pushes [A]; nothing if it is added (slots,)."""
        if len(self._in_slots[0]) != slots:
            found, count = np.zeros((2, slots)), len(self.siemens)
            found[0, :count], found[1, :count] = self.siemens, self.siemens * self.wiring.emf
            self._in_slots = found[0], found[1]
        return self._in_slots

    def numbered(self, tail: Index, head: Index, probes: Ends) -> PortNumbers:
        """Slots by their numbers, then curves, probes and the ties of islands.

        The last answer is kept: the rounds of a sweep ask for the same.

        :param tail: of each slot, and ``head`` (slots,)
        """
        asked = tail, head, probes
        found = self._numbered[1]
        if found is None or not all(map(is_, asked, self._numbered[0])):
            wiring, ground = self.wiring, np.full(len(self.tied), REFERENCE)
            tails = np.concatenate([tail, wiring.curve_tail, probes.tail, self.tied])
            heads = np.concatenate([head, wiring.curve_head, probes.head, ground])
            ends = np.cumsum([len(tail), len(wiring.curve_tail), len(probes.tail)])
            found = PortNumbers(tails, heads, *np.split(np.arange(len(tails)), ends)[1:])
            self._numbered = asked, found
        return found

    @cached_property
    def tied(self) -> Index:
        """One node of each floating island, by the number of the island less one.

        It is tied to the reference by ``TIE_SIEMENS``. A tie carries nothing, since nothing else
        leads back from its island; it only gives the island's volts a level.
        """
        most = np.maximum.accumulate(
            self.island
        )  # islands are numbered in the order of their first nodes
        return np.flatnonzero(most[1:] > most[:-1]) + 1

    def factors(self, curve_siemens: Array) -> Elimination | LevelElimination:
        """The nodal equations with curves replaced by conductances [S], ready to be solved."""
        wiring, tied = self.wiring, self.tied
        siemens = np.concatenate([self.siemens, curve_siemens])
        if wiring.size <= _LARGE:
            tail, head = wiring.every_tail, wiring.every_head
            return Elimination(wiring.size, tail, head, siemens, tied, TIE_SIEMENS)
        from circuitcheck.solve.levels import LevelElimination  # noqa: PLC0415  (scipy is slow to import)

        pattern, sums = wiring.shape
        edges = sums.of(siemens)
        edges[pattern.places(tied, np.zeros_like(tied))] += TIE_SIEMENS
        return LevelElimination(pattern, edges)

    def injections(self) -> Array:
        """Current that the sources push into each node [A], shape (n,)."""
        wiring, size = self.wiring, self.wiring.size
        amps = self.siemens * wiring.emf
        flow = np.zeros(size)
        flow += np.bincount(wiring.tail, amps, size)
        flow -= np.bincount(wiring.head, amps, size)
        return flow

    @property
    def has_many_curves(self) -> bool:
        """Whether it has more curves than are worth settling with every change."""
        return len(self.wiring.curve_keys) > MANY_CURVES

    @cached_property
    def tangent(self) -> Tangent:
        """What stands in for the curves.

        Little where each is settled anyhow: taking that off again costs no digits. Of many most are
        not moved by a change, and are there as they lie when nothing is changed.
        """
        wiring, count = self.wiring, len(self.wiring.curve_keys)
        if not self.has_many_curves:
            return Tangent(np.full(count, CURVE_SIEMENS), np.zeros(count))
        volts = solve_network(self)
        across = volts[wiring.curve_tail] - volts[wiring.curve_head]
        amps, slope = self.curve_currents(across)
        siemens = np.maximum(slope, LEAK)
        return Tangent(siemens, amps - siemens * across)

    @cached_property
    def _factors(self) -> Elimination | LevelElimination:
        return self.factors(self.tangent.siemens)

    @cached_property
    def _small(self) -> Elimination | None:
        """The factors, if all of its inverse at once costs less than the columns that are asked for."""
        if self.wiring.size > _FEW_NODES or self.has_many_curves:
            return None
        factors = self._factors
        return factors if isinstance(factors, Elimination) else None

    def seen(self, tail: Index, head: Index) -> tuple[Array, Array]:
        """Resistance from each of some ports to every other [ohm] and the volts at them [V].

        The last answer is kept: the rounds of a sweep ask for the same.

        :returns: (ports, ports) and (ports,)
        """
        asked = tail.tobytes() + head.tobytes()
        if asked != self._seen[0]:
            small = self._small
            if small is not None:
                passed = small.passed(tail, head)
                found = small.between(passed, passed), passed @ self._rises
            else:
                columns = self._columns(tail, head)
                found = columns[tail] - columns[head], columns.T @ self.pushed
            self._seen = asked, found
        return self._seen[1]

    def across(self, tail: Index, head: Index) -> Array:
        """Volts across every branch, the linear ones first, for an ampere between the ends of each port.

        :returns: (branches, ports) [ohm]
        """
        wiring = self.wiring
        small = self._small
        if small is not None:
            return small.between(self._branch_passed, small.passed(tail, head))
        columns = self._columns(tail, head)
        found: Array = columns[wiring.every_tail] - columns[wiring.every_head]
        return found

    def from_nodes(self, tail: Index, head: Index) -> tuple[Array, Array]:
        """Volts of every node [V], and for an ampere between the ends of each of some ports [ohm].

        :returns: (n,) and (n, ports)
        """
        small = self._small
        if small is None:
            return self.open_volts, self._columns(tail, head)
        every = np.arange(self.wiring.size)
        passed = small.passed(every, np.zeros_like(every))
        return passed @ self._rises, small.between(passed, small.passed(tail, head))

    @cached_property
    def _rises(self) -> Array:
        assert self._small is not None
        return self._small.rises(self.pushed)

    @cached_property
    def _branch_passed(self) -> Array:
        assert self._small is not None
        return self._small.passed(self.wiring.every_tail, self.wiring.every_head)

    def _columns(self, tail: Index, head: Index) -> Array:
        """Node volts for an ampere pushed in at each tail and drawn at its head (n, ports) [ohm].

        Solved for the two ends at once: a difference of two columns would lose what is between them.
        """
        places = self.stored(tail, head)
        return self._store[:, places]

    @property
    def made(self) -> int:
        """How many columns have been solved."""
        return len(self._places)

    @property
    def store(self) -> Array:
        """All columns solved so far, and room for more (n, places) [ohm]."""
        return self._store

    def stored(self, tail: Index, head: Index) -> Index:
        """The places of the columns of some ports in ``store`` (ports,); the same ever after."""
        keys = list(zip(tail.tolist(), head.tolist(), strict=True))
        new = [key for key in dict.fromkeys(keys) if key not in self._places]
        if new:
            known, size = len(self._places), self.wiring.size
            more = known + len(new)
            if more > self._store.shape[1]:
                # What is read from the room to spare is thrown away, but must be a number.
                room = np.zeros((size, max(more + self._store.shape[1] // 2, _ROOM // size)))
                room[:, :known] = self._store[:, :known]
                self._store = room
            tails, heads = np.array(new, dtype=np.intp).T
            self._factors.volts_between(tails, heads, self._store[:, known:more])
            self._places.update(zip(new, range(known, more), strict=True))
        return np.array([self._places[key] for key in keys], dtype=np.intp)

    def known(self, tail: Index, head: Index) -> Index:
        """The same of those whose columns are solved already, -1 for the others (ports,)."""
        keys, places = self._key_places
        if len(keys) < len(self._places):
            ends = np.array(list(self._places), dtype=np.intp)
            keys = ends[:, 0] * self.wiring.size + ends[:, 1]
            places = np.argsort(keys)
            keys = keys[places]
            self._key_places = keys, places
        if not len(keys):
            return np.full(len(tail), -1, dtype=np.intp)
        wanted = tail * self.wiring.size + head
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        return np.where(keys[at] == wanted, places[at], -1)

    def own(self, tail: Index, head: Index) -> Array:
        """Resistance between the two nodes of each port (ports,) [ohm]; worked out once of each."""
        wanted = tail * self.wiring.size + head
        keys, ohms = self._own
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        new = np.flatnonzero(keys[at] != wanted)
        if new.size:
            more, first = np.unique(wanted[new], return_index=True)
            first = new[first]
            keys = np.concatenate([keys, more])
            ohms = np.concatenate([ohms, self._factors.apart(tail[first], head[first])])
            order = np.argsort(keys)
            keys, ohms = self._own = keys[order], ohms[order]
            at = np.searchsorted(keys, wanted)
        return ohms[at]

    def wide_volts(self, places: Index) -> Array:
        """Volts at the ports of some columns (ports,) while nothing is changed [V]."""
        if len(self._wide_volts) < len(self._places):
            self._wide_volts = self.pushed @ self._store[:, : len(self._places)]
        return self._wide_volts[places]

    @cached_property
    def open_volts(self) -> Array:
        """Node volts (n,) while nothing is changed and each curve is its tangent [V]."""
        return self._factors.solve(self.pushed)

    @cached_property
    def pushed(self) -> Array:
        """What sources and tangents push into each node (n,) [A]."""
        push = self.injections()
        np.add.at(push, self.wiring.curve_tail, -self.tangent.amps)
        np.add.at(push, self.wiring.curve_head, self.tangent.amps)
        return push

    @cached_property
    def knees(self) -> Index:
        """Curves that hold a node by next to nothing until their volts pass a knee: diodes."""
        ends = [np.full(len(self.wiring.curve_keys), volts) for volts in (0.0, 100.0)]
        at_rest, beyond = (self.curve_currents(one)[1] for one in ends)
        return np.flatnonzero((at_rest > 0) & (at_rest < 1e-3 * np.maximum(at_rest, beyond)))

    def calm(self, fuses: float) -> Calm:
        """What its states come to next, and how far volts may move without a change of that.

        :param fuses: the least by which a fuse opens above its usual limit [1]
        """
        if fuses not in self._calm:
            self._calm[fuses] = self._calm_with(fuses)
        return self._calm[fuses]

    def _calm_with(self, fuses: float) -> Calm:
        wiring = self.wiring
        limits, watching = wiring.limits, wiring.limits.watching
        at = wiring.watched.places
        across = self.open_volts[wiring.watched.tail] - self.open_volts[wiring.watched.head]
        size = np.abs(self.siemens[at] * across)
        was, fuse = self.state_row[watching], limits.latching[watching]
        on, off = limits.on[watching, 0], limits.off[watching, 0]
        after = self.state_row & limits.latching
        after[watching] = np.where(fuse, was, np.where(was, size > off, size >= on))
        blown = np.where(was, np.inf, on * fuses - size)
        amps = np.where(fuse, blown, np.abs(size - np.where(was, off, on)))
        volts = np.full(len(at), np.inf)
        np.divide(amps, self.siemens[at], out=volts, where=self.siemens[at] > 0)
        return Calm(after, 0.999 * float(np.min(volts, initial=np.inf)), 0.999 * amps)

    @cached_property
    def reach(self) -> Reach:
        """How far the curves' volts may move before they leave their tangents."""
        wiring = self.wiring
        rest = self.open_volts[wiring.curve_tail] - self.open_volts[wiring.curve_head]
        own = self.own(wiring.curve_tail, wiring.curve_head)
        return Reach.of(Curves(wiring.curves, self.tangent), rest, own)

    def curve_currents(self, volts: Array) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] of all curves at their volts (curves,)."""
        found = [
            group.kind.current_and_slope(group.parameters, volts[group.columns])
            for group in self.wiring.curves
        ]
        none = np.zeros(0)
        return (
            np.concatenate([none, *(amps for amps, _ in found)]),
            np.concatenate([none, *(slope for _, slope in found)]),
        )


class Networks:
    """The networks of a circuit, one for each combination of states that is met; each made once."""

    def __init__(self, circuit: Circuit) -> None:
        self.wiring = Wiring(circuit)
        self._made: dict[bytes, Network] = {}
        self._less: dict[tuple[bytes, tuple[int, ...]], Network] = {}

    @property
    def circuit(self) -> Circuit:
        """What they are the networks of."""
        return self.wiring.circuit

    def of(self, states: NDArray[np.bool_]) -> Network:
        """The network in these states, in the order of the circuit's thresholds."""
        key = states.tobytes()
        if key not in self._made:
            named = dict(zip(self.circuit.thresholds, states.tolist(), strict=True))
            self._made[key] = Network(self.wiring, named)
        return self._made[key]

    def near(self, states: NDArray[np.bool_]) -> Network:
        """Of those made the one that differs in the fewest states; that of these if there is none."""
        if not self._made:
            return self.of(states)
        return min(self._made.values(), key=lambda one: int(np.sum(one.state_row != states)))

    def less(self, network: Network, place: int) -> Network:
        """A network with one more linear branch left out."""
        without = tuple(sorted((*network.without, place)))
        key = network.state_row.tobytes(), without
        if key not in self._less:
            self._less[key] = Network(self.wiring, network.states, without)
        return self._less[key]
