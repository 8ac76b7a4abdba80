"""A circuit as arrays, whatever states its contacts are in."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import ALWAYS, Array, Branch, Condition, Conductor, Curve, Source, holds

if TYPE_CHECKING:
    from circuitcheck.solve.pattern import Pattern, Sums

Bool = NDArray[np.bool_]
Index = NDArray[np.intp]

REFERENCE = 0
"""Number of the reference node."""
TIE_SIEMENS = 1.0
"""What ties a floating island to the reference [S]."""


def distinct(numbers: Index) -> Index:
    """The different ones of some numbers from 0, in order.

    ``numpy.unique`` without further results loads ``numpy.ma``, which takes longer than a sweep.
    """
    return np.flatnonzero(np.bincount(numbers))


@dataclass(frozen=True)
class CurveGroup:
    """The curves of one kind: their keys, their columns among all, and parameters (m, P)."""

    kind: type[Curve]
    keys: tuple[str, ...]
    columns: slice
    parameters: Array

    @cached_property
    def terms(self) -> Array:
        """What their laws are written in (terms, m)."""
        return self.kind.terms(self.parameters)


def grouped(curves: Mapping[str, Curve]) -> tuple[CurveGroup, ...]:
    """Curves by kind."""
    groups: list[CurveGroup] = []
    start = 0
    for kind in dict.fromkeys(type(one) for one in curves.values()):
        keys = tuple(key for key, one in curves.items() if type(one) is kind)
        rows = np.array([curves[key].values for key in keys])
        groups.append(CurveGroup(kind, keys, slice(start, start + len(keys)), rows))
        start += len(keys)
    return tuple(groups)


@dataclass(frozen=True)
class Ends:
    """Pairs of nodes by their numbers (pairs,)."""

    tail: Index
    head: Index


@dataclass(frozen=True)
class PortNumbers(Ends):
    """The ends of all ports of a batch; which of them are curves, probes, and the ties of islands."""

    curves: Index
    probes: Index
    ties: Index


@dataclass(frozen=True)
class Watched(Ends):
    """The branches that thresholds watch: their ends, keys, places, and the names of the thresholds."""

    names: tuple[str, ...]
    keys: tuple[str, ...]
    places: Index


@dataclass(frozen=True)
class Limits:
    """The thresholds of a circuit, in its order.

    :param watching: numbers of those whose branch is there, as in ``Wiring.watched`` (watched,)
    :param latching: which are fuses (thresholds,)
    :param on: what switches each on, and ``off`` what it falls off at (thresholds, 1) [A]
    """

    watching: Index
    latching: Bool
    on: Array
    off: Array

    @cached_property
    def relays(self) -> Index:
        """Numbers of those that go on and off."""
        return np.flatnonzero(~self.latching)

    @cached_property
    def fuses(self) -> Index:
        """Numbers of those that latch."""
        return np.flatnonzero(self.latching)


class Wiring:
    """Nodes by number, the reference 0; linear branches and curves by their ends.

    ``siemens`` and ``emf`` are those of the linear branches with every contact closed [S, V].
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.index = {node: number for number, node in enumerate(circuit.nodes)}
        self.linear: dict[str, Conductor | Source] = {}
        curves: dict[str, Curve] = {}
        contacts: list[tuple[int, Condition]] = []
        emf: list[float] = []
        for key, one in circuit.branches.items():
            if isinstance(one, Conductor):
                if one.closed_when is not ALWAYS:
                    contacts.append((len(emf), one.closed_when))
                emf.append(0.0)
            elif isinstance(one, Source):
                emf.append(one.emf)
            else:
                curves[key] = one
                continue
            self.linear[key] = one
        self.keys = tuple(self.linear)
        self.place = {key: number for number, key in enumerate(self.keys)}
        self.tail, self.head = self._ends(self.linear.values())
        self.siemens = 1 / np.array([one.ohm for one in self.linear.values()])
        self.emf = np.array(emf)
        self.contacts = tuple(contacts)
        """Places of the branches that are closed on a condition only, and the conditions."""
        self.conditions: dict[Condition, int] = {ALWAYS: 0}
        """Those conditions, each with a number."""
        when = [self.conditions.setdefault(one, len(self.conditions)) for _, one in self.contacts]
        self.contact_conditions = np.array(when, dtype=np.intp)
        self.contact_places = np.array([place for place, _ in self.contacts], dtype=np.intp)
        self.curves = grouped(curves)
        self.curve_keys = tuple(key for group in self.curves for key in group.keys)
        self.curve_tail, self.curve_head = self._ends([curves[key] for key in self.curve_keys])
        self.every_tail = np.concatenate([self.tail, self.curve_tail])
        self.every_head = np.concatenate([self.head, self.curve_head])
        strengths = [getattr(curves[key], "strength", 1.0) for key in self.curve_keys]
        self.curve_conducts = np.array(strengths) > 0
        self._known_ends: dict[tuple[tuple[str, str], ...], Ends] = {}
        self._slots: tuple[tuple[tuple[str, str], ...], Ends] | None = None

    def _ends(self, branches: Collection[Branch]) -> tuple[Index, Index]:
        index = self.index
        tail = np.array([index[one.tail] for one in branches], dtype=np.intp)
        return tail, np.array([index[one.head] for one in branches], dtype=np.intp)

    def ends(self, pairs: Sequence[tuple[str, str]]) -> Ends:
        """Pairs of nodes by their numbers; the same pairs are the same object."""
        asked = tuple(pairs)
        if asked not in self._known_ends:
            tail = [self.index[one] for one, _ in asked]
            head = [self.index[other] for _, other in asked]
            self._known_ends[asked] = Ends(np.array(tail, dtype=np.intp), np.array(head, dtype=np.intp))
        return self._known_ends[asked]

    def slots(self, added: tuple[tuple[str, str], ...]) -> Ends:
        """The ends of the linear branches, of some that are added, and of none: the reference to itself.

        The last answer is kept: sweeps of one circuit mostly add the same.
        """
        if self._slots is None or self._slots[0] != added:
            last = self.ends([*added, (self.circuit.reference,) * 2])
            tail = np.concatenate([self.tail, last.tail])
            self._slots = added, Ends(tail, np.concatenate([self.head, last.head]))
        return self._slots[1]

    @cached_property
    def watched(self) -> Watched:
        """What thresholds watch, of those that are there."""
        branches = self.circuit.branches
        there = {
            name: one.watch for name, one in self.circuit.thresholds.items() if one.watch in branches
        }
        keys = tuple(there.values())
        at = np.array([self.place[key] for key in keys], dtype=np.intp)
        return Watched(self.tail[at], self.head[at], tuple(there), keys, at)

    @cached_property
    def limits(self) -> Limits:
        """The thresholds as arrays."""
        every, branches = self.circuit.thresholds.values(), self.circuit.branches
        there = [number for number, one in enumerate(every) if one.watch in branches]
        return Limits(
            np.array(there, dtype=np.intp),
            np.array([one.latching for one in every], dtype=bool),
            np.array([one.on_amps for one in every]).reshape(-1, 1),
            np.array([one.off_amps for one in every]).reshape(-1, 1),
        )

    @cached_property
    def shape(self) -> tuple[Pattern, Sums]:
        """What joins what in any state, and which edge of that each branch belongs to."""
        from circuitcheck.solve.pattern import Sums, pattern_of  # noqa: PLC0415  (scipy is slow to import)

        pattern = pattern_of(self.size, self.every_tail.tobytes(), self.every_head.tobytes())
        edges = pattern.places(self.every_tail, self.every_head)
        return pattern, Sums(edges, pattern.edges)

    @cached_property
    def leaving(self) -> Array:
        """Which branches leave each node, 1, and come in, -1 (nodes, branches); for small circuits."""
        found, every = np.zeros((self.size, len(self.every_tail))), np.arange(len(self.every_tail))
        found[self.every_tail, every] += 1
        found[self.every_head, every] -= 1
        return found

    @property
    def size(self) -> int:
        """Number of nodes, the reference included."""
        return len(self.index)

    def siemens_in(self, states: Mapping[str, bool]) -> Array:
        """Conductances of the linear branches in some states [S]."""
        found = self.siemens.copy()
        for place, condition in self.contacts:
            if not holds(condition, states):
                found[place] = 0.0
        return found
