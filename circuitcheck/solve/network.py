"""A circuit in given states as arrays: the nodal equations before anything is solved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Array, Branch, Conductor, Curve, Source, holds
from circuitcheck.solve.curves import Tangent, grouped
from circuitcheck.solve.cuts import cut_words

Index = NDArray[np.intp]

REFERENCE = 0
"""Number of the reference node."""
TIE_SIEMENS = 1.0
"""What ties a floating island to the reference [S]."""
CURVE_SIEMENS = 0.01
"""The least that stands in for a curve when a network is inverted [S]; a sweep takes it off."""


class Network:
    """Nodal equations ``A v = b - sum(curve currents)`` of a circuit in fixed states.

    Nodes that nothing conducting joins to the reference float; ``island`` tells the islands apart,
    the reference being on island 0.
    """

    def __init__(self, circuit: Circuit, states: Mapping[str, bool]) -> None:
        self.circuit = circuit
        self.states = dict(states)
        self.index = {node: number for number, node in enumerate(circuit.nodes)}
        self.linear = {
            key: one for key, one in circuit.branches.items() if isinstance(one, Conductor | Source)
        }
        self.keys = tuple(self.linear)
        self.tail, self.head = self._ends(self.linear.values())
        self.place = {key: number for number, key in enumerate(self.keys)}
        self.siemens = np.array([self._siemens(one) for one in self.linear.values()])
        self.emf = np.array([getattr(one, "emf", 0.0) for one in self.linear.values()])
        curves: dict[str, Curve] = {
            key: one for key, one in circuit.branches.items()
            if not isinstance(one, Conductor | Source)
        }  # fmt: skip
        self.curves = grouped(curves)
        ordered = [curves[key] for group in self.curves for key in group.keys]
        self.curve_keys = tuple(key for group in self.curves for key in group.keys)
        self.curve_tail, self.curve_head = self._ends(ordered)

    def _siemens(self, branch: Conductor | Source) -> float:
        if isinstance(branch, Conductor) and not holds(branch.closed_when, self.states):
            return 0.0
        return branch.siemens

    def _ends(self, branches: Iterable[Branch]) -> tuple[Index, Index]:
        listed = list(branches)
        tails = [self.index[one.tail] for one in listed]
        heads = [self.index[one.head] for one in listed]
        return np.array(tails, dtype=np.intp), np.array(heads, dtype=np.intp)

    @cached_property
    def state_row(self) -> NDArray[np.bool_]:
        """The states, in the order of the circuit's thresholds."""
        return np.array([self.states[name] for name in self.circuit.thresholds], dtype=bool)

    @property
    def size(self) -> int:
        """Number of nodes, the reference included."""
        return len(self.index)

    @cached_property
    def conducting(self) -> dict[str, Branch]:
        """The branches that current can pass."""
        branches = self.circuit.branches.items()
        return {key: one for key, one in branches if conducts(one, self.states)}

    @cached_property
    def island(self) -> Index:
        """For each node the number of the island it is on; the reference is on island 0."""
        sets = Joined((one.tail, one.head) for one in self.conducting.values())
        numbers: dict[str, int] = {}
        return np.array(
            [numbers.setdefault(sets.root(node), len(numbers)) for node in self.index],
            dtype=np.intp,
        )

    @cached_property
    def tied(self) -> Index:
        """One node of each floating island, by the number of the island less one.

        It is tied to the reference by ``TIE_SIEMENS``. A tie carries nothing, since nothing else
        leads back from its island; it only gives the island's volts a level.
        """
        _, first = np.unique(self.island, return_index=True)
        return first[1:].astype(np.intp)

    def matrix(self, curve_siemens: Array) -> Array:
        """Nodal conductance matrix (n, n) with curves replaced by conductances [S]."""
        tail = np.concatenate([self.tail, self.curve_tail])
        head = np.concatenate([self.head, self.curve_head])
        siemens = np.concatenate([self.siemens, curve_siemens])
        matrix = np.zeros((self.size, self.size))
        np.add.at(matrix, (tail, tail), siemens)
        np.add.at(matrix, (head, head), siemens)
        np.add.at(matrix, (tail, head), -siemens)
        np.add.at(matrix, (head, tail), -siemens)
        matrix[self.tied, self.tied] += TIE_SIEMENS
        # The reference's own equation becomes v = 0; all currents together sum to zero without it.
        matrix[REFERENCE, :] = 0.0
        matrix[:, REFERENCE] = 0.0
        matrix[REFERENCE, REFERENCE] = 1.0
        return matrix

    def injections(self) -> Array:
        """Current that the sources push into each node [A], shape (n,)."""
        flow = np.zeros(self.size)
        np.add.at(flow, self.tail, self.siemens * self.emf)
        np.add.at(flow, self.head, -self.siemens * self.emf)
        flow[REFERENCE] = 0.0
        return flow

    @cached_property
    def tangent(self) -> Tangent:
        """What stands in for the curves: little, so that taking it off again costs no digits."""
        count = len(self.curve_keys)
        return Tangent(np.full(count, CURVE_SIEMENS), np.zeros(count))

    @cached_property
    def inverse(self) -> Array:
        """Resistance from node to node [ohm], each curve replaced by its tangent."""
        found = np.asarray(np.linalg.inv(self.matrix(self.tangent.siemens)), dtype=np.float64)
        found[REFERENCE, REFERENCE] = 0.0
        return found

    @cached_property
    def open_volts(self) -> Array:
        """Node volts (n,) while nothing is changed and each curve is its tangent [V]."""
        push = self.injections()
        np.add.at(push, self.curve_tail, -self.tangent.amps)
        np.add.at(push, self.curve_head, self.tangent.amps)
        push[REFERENCE] = 0.0
        found: Array = self.inverse @ push
        return found

    @cached_property
    def knees(self) -> Index:
        """Curves that hold a node by next to nothing until their volts pass a knee: diodes."""
        ends = [np.full(len(self.curve_keys), volts) for volts in (0.0, 100.0)]
        at_rest, beyond = (self.curve_currents(one)[1] for one in ends)
        return np.flatnonzero((at_rest > 0) & (at_rest < 1e-3 * np.maximum(at_rest, beyond)))

    @cached_property
    def cut_words(self) -> dict[str, int]:
        """What tells which branches hold parts of the network together; see ``cuts``."""
        return cut_words(
            self.size,
            (
                (self.index[one.tail], self.index[one.head], key)
                for key, one in self.conducting.items()
            ),
        )

    def curve_currents(self, volts: Array) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] of all curves at their volts (curves,)."""
        found = [group.kind.current_and_slope(group.parameters, volts[group.columns])
                 for group in self.curves]  # fmt: skip
        none = np.zeros(0)
        return (np.concatenate([none, *(amps for amps, _ in found)]),
                np.concatenate([none, *(slope for _, slope in found)]))  # fmt: skip


class Networks:
    """The networks of a circuit, one for each combination of states that is met; each made once."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._made: dict[bytes, Network] = {}

    def of(self, states: NDArray[np.bool_]) -> Network:
        """The network in these states, in the order of the circuit's thresholds."""
        key = states.tobytes()
        if key not in self._made:
            named = dict(zip(self.circuit.thresholds, states.tolist(), strict=True))
            self._made[key] = Network(self.circuit, named)
        return self._made[key]
