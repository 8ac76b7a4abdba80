"""The loom as wired: what joins what while nothing is powered and every plug is undone.

An element joins two nodes by a resistance, or as a diode. A mistake is a change: some elements
replaced, added, or (None) taken out. Nothing here changes in place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.physics.branch import Branch, Conductor, holds
from circuitcheck.physics.diode import Junction

LOOM = "loom"
"""The name of the piece that is the loom itself; every other piece is named by its unit."""
OPEN_FROM = 1e6
"""From here on a reading counts as open [ohm]: damp insulation still reads megohms. Common practice,
no source."""


@dataclass(frozen=True, slots=True)
class Element:
    """What joins two nodes.

    :param ohm: resistance with the meter's small current through it [ohm]
    :param spread: its standard uncertainty from one sound vehicle to the next [ohm]
    :param diode: whether it conducts from tail to head only, on the diode range of a meter
    """

    tail: str
    head: str
    ohm: float
    spread: float = 0.0
    diode: bool = False

    def moved(self, side: int, node: str) -> Element:
        """With its tail (0) or head (1) somewhere else."""
        return replace(self, head=node) if side else replace(self, tail=node)


Change = Mapping[str, "Element | None"]


@dataclass(frozen=True)
class Wiring:
    """A loom taken apart at its plugs.

    :param elements: by key; the key of a wire is its name
    :param pieces: for each point a probe can reach, the piece it belongs to
    :param fitted: whether the ground points are bolted to the body
    """

    harness: Harness
    circuit: Circuit
    elements: Mapping[str, Element]
    pieces: Mapping[str, str]
    fitted: bool = False

    @cached_property
    def at(self) -> dict[str, tuple[str, ...]]:
        """The keys of the elements at each node."""
        found: dict[str, list[str]] = {end: [] for end in self.pieces}
        for key, one in self.elements.items():
            for node in dict.fromkeys((one.tail, one.head)):
                found.setdefault(node, []).append(key)
        return {node: tuple(keys) for node, keys in found.items()}

    @cached_property
    def net_of(self) -> dict[str, int]:
        """Which net each node is in; a net is all that is joined, resistors and diodes included."""
        found: dict[str, int] = {}
        number = -1
        for start in self.at:
            if start in found:
                continue
            number += 1
            stack = [start]
            found[start] = number
            while stack:
                for key in self.at[stack.pop()]:
                    one = self.elements[key]
                    for node in (one.tail, one.head):
                        if node not in found:
                            found[node] = number
                            stack.append(node)
        return found

    @cached_property
    def nets(self) -> tuple[tuple[str, ...], ...]:
        """The reachable ends of each net, in the order of the harness."""
        found: list[list[str]] = [[] for _ in range(max(self.net_of.values(), default=-1) + 1)]
        for end in self.pieces:
            found[self.net_of[end]].append(end)
        return tuple(tuple(ends) for ends in found)

    def empty(self, end: str) -> bool:
        """Whether it is a cavity of the loom without a wire: no end of anything, but a wrong place."""
        return not self.at[end] and not end.endswith("/part")

    def pieces_with_nets(self) -> dict[str, list[tuple[str, ...]]]:
        """The ends of each net, piece by piece, the loom first; empty cavities left out."""
        found: dict[str, list[tuple[str, ...]]] = {LOOM: []}
        for ends in self.nets:
            if ends and not self.empty(ends[0]):
                found.setdefault(self.pieces[ends[0]], []).append(ends)
        return {piece: nets for piece, nets in found.items() if nets}

    def wires_of(self, net: int) -> list[str]:
        """The wires of a net."""
        return [key for key in self.harness.wires if self.net_of[self.elements[key].tail] == net]

    def changed(self, change: Change) -> Wiring:
        """The loom with some elements replaced, added, or taken out."""
        merged = {**self.elements, **change}
        kept = {key: one for key, one in merged.items() if one is not None}
        return replace(self, elements=kept)


def as_drawn(harness: Harness, fitted: bool = False) -> Wiring:
    """The loom as its description has it, apart at every plug, fuses and relays out.

    :param fitted: in the vehicle, ground points bolted to the body; else on the bench
    """
    plugged = [name for name, part in harness.parts.items() if part.plugged]
    circuit = build_circuit(harness, Setup(battery="disconnected", unplug=plugged))
    elements = {}
    for key, branch in circuit.branches.items():
        if not fitted and CHASSIS in (branch.tail, branch.head):
            continue
        one = element_of(circuit, branch)
        if one is not None:
            elements[key] = one
    wiring = Wiring(harness, circuit, elements, dict.fromkeys(_reachable(harness), ""), fitted)
    return replace(wiring, pieces={end: _piece(wiring, end) for end in wiring.pieces})


def element_of(circuit: Circuit, branch: Branch) -> Element | None:
    """A branch as an ohmmeter meets it; None if it does not conduct."""
    if isinstance(branch, Conductor):
        if not branch.siemens or not holds(branch.closed_when, circuit.initial_states()):
            return None
        return Element(branch.tail, branch.head, branch.ohm, branch.spread * branch.ohm)
    if isinstance(branch, Junction):
        if not branch.strength:
            return None
        return Element(branch.tail, branch.head, 0.0, diode=True)
    values = np.array(branch.values)  # type: ignore[union-attr]  # no source: the battery is off
    ohm = _cold_ohm(branch, values)
    if ohm is None:
        return None
    spread = 0.0
    for number, share in enumerate(branch.spreads):  # type: ignore[union-attr]
        moved = values.copy()
        moved[number] *= 1 + share
        spread += ((_cold_ohm(branch, moved) or ohm) - ohm) ** 2
    return Element(branch.tail, branch.head, ohm, spread**0.5)


def _cold_ohm(branch: Branch, values: np.ndarray) -> float | None:
    """Resistance of a curve at the small volts of a meter [ohm]: motor at rest, filament cold."""
    _, slope = branch.current_and_slope(values, np.array(0.0))  # type: ignore[union-attr]
    return 1 / float(slope) if float(slope) > 1 / OPEN_FROM else None


def _reachable(harness: Harness) -> list[str]:
    """Every point that a probe gets at: ends of the loom, then the parts' own pins."""
    loom = [end for name, part in harness.parts.items() for end in part.loom_ends(name)]
    own = [
        part.own(name, pin)
        for name, part in harness.parts.items()
        if part.plugged
        for pin in part.pins()
    ]
    return list(dict.fromkeys([*loom, *own]))


def _piece(wiring: Wiring, end: str) -> str:
    """The part whose own pin it is, the unit that all wires of its net belong to, or the loom."""
    if end.endswith("/part"):
        return end.partition(".")[0]
    wires = wiring.wires_of(wiring.net_of[end])
    units = {wiring.harness.wires[key].belongs_to for key in wires}
    return (units.pop() or LOOM) if len(units) == 1 else LOOM
