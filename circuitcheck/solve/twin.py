"""The symbolic twin: the same circuit solved again by lcapy, in exact fractions.

lcapy's fuse, motor and switch elements refuse analysis, and its wire reports no current. Only its
resistance (R) and its voltage source (V) are used, therefore, in the states of an operating point:

========================= ======================================================================
conductor                 R; left out while it is open
source                    R in series with V
motor                     winding R in series with its back EMF V = v - i R
lamp                      R = v / i; at 0 V its cold resistance
diode                     R in series with V while it conducts, its leakage R otherwise
any other curve           its tangent: R = dv/di in series with V = v - i R
curve of strength 0       left out
========================= ======================================================================

The curves are thus taken at the point that our own solver found: what the twin proves is that
there, and nowhere else, the currents of the whole network add up. What a curve passes at the
twin's volts can then be compared with what the twin says it passes.

Every number is the exact fraction of the binary number our solver used. lcapy clears fractions and
solves over the integers (sympy's domain matrices), which takes a fifth of a second for 150 nodes.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import ModuleType

import numpy as np

from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Branch, Conductor, Source
from circuitcheck.physics.diode import LEAKAGE, Junction
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.point import OperatingPoint


@dataclass(frozen=True)
class TwinMap:
    """Which lcapy element stands for what, and the way back.

    :param nodes: number of each node that current can reach; the reference is 0, and those inside a
        branch have none of our names
    :param elements: for each branch its R, then its V if it has one
    :param ties: R elements that hold a floating island to node 0, with the node they hold
    """

    nodes: Mapping[str, int]
    elements: Mapping[str, tuple[str, ...]]
    ties: Mapping[str, str] = field(default_factory=dict)

    @property
    def branch_of(self) -> dict[str, str]:
        """The key of our branch for each element of the twin, ties not among them."""
        return {one: key for key, listed in self.elements.items() for one in listed}


def twin_netlist(circuit: Circuit, point: OperatingPoint) -> tuple[str, TwinMap]:
    """The circuit in the states of an operating point as a netlist for lcapy.

    Node 0 is the reference (battery minus). An island that nothing joins to it is tied to it by
    1 ohm at one node, the one that :func:`~circuitcheck.solve.point.solve_point` holds at 0 V;
    no current can flow there. Nodes that no conducting branch touches are left out.

    :param point: solved for this circuit: volts [V], amps [A], states
    :returns: the netlist with every value an exact fraction [ohm, V], and the map

    >>> branches = {"cells": Source("+", "-", 12.5, 0.25), "R1": Conductor("+", "-", 6.0)}
    >>> circuit = Circuit(branches, {}, "-")
    >>> from circuitcheck.solve.point import solve_point
    >>> text, way = twin_netlist(circuit, solve_point(circuit))
    >>> print(text)
    R1 1 2 {1/4}
    V1 2 0 dc {25/2}
    R2 1 0 {6}
    >>> way.nodes, way.elements, way.branch_of["V1"]
    ({'-': 0, '+': 1}, {'cells': ('R1', 'V1'), 'R1': ('R2',)}, 'cells')
    """
    live = {k: b for k, b in circuit.branches.items() if conducts(b, point.states)}
    reached = {end for one in live.values() for end in (one.tail, one.head)} | {circuit.reference}
    nodes = {node: number for number, node in enumerate(n for n in circuit.nodes if n in reached)}
    lines: list[str] = []
    elements: dict[str, tuple[str, ...]] = {}
    inner = len(nodes)
    for number, (key, branch) in enumerate(live.items(), 1):
        ohm, emf = linear_at(branch, point.between(branch.tail, branch.head), point.amps[key])
        tail, head = nodes[branch.tail], nodes[branch.head]
        if emf:
            lines.append(f"R{number} {tail} {inner} {{{ohm}}}")
            lines.append(f"V{number} {inner} {head} dc {{{emf}}}")
            elements[key] = (f"R{number}", f"V{number}")
            inner += 1
        else:
            lines.append(f"R{number} {tail} {head} {{{ohm}}}")
            elements[key] = (f"R{number}",)
    ties = {
        f"R{len(live) + number}": node
        for number, node in enumerate(island_nodes(circuit.reference, live.values(), nodes), 1)
    }
    lines += [f"{name} {nodes[node]} 0 1" for name, node in ties.items()]
    return "\n".join(lines), TwinMap(nodes, elements, ties)


def island_nodes(reference: str, live: Iterable[Branch], nodes: Iterable[str]) -> list[str]:
    """The first of some nodes on each island that no conducting branch joins to the reference."""
    joined = Joined((one.tail, one.head) for one in live)
    held = {joined.root(reference)}
    found = []
    for node in nodes:
        if joined.root(node) not in held:
            held.add(joined.root(node))
            found.append(node)
    return found


def linear_at(branch: Branch, volts: float, amps: float) -> tuple[Fraction, Fraction]:
    """A branch at an operating point as a resistance [ohm] in series with an emf [V].

    :param volts: across it, tail to head [V]; used for curves only
    :param amps: through it [A]; used for curves only
    """
    if isinstance(branch, Conductor):
        return Fraction(branch.ohm), Fraction(0)
    if isinstance(branch, Source):
        return Fraction(branch.ohm), Fraction(branch.emf)
    v, i = Fraction(volts), Fraction(amps)
    if isinstance(branch, Junction):
        return _diode_at(branch, v)
    if isinstance(branch, Filament) and v * i > 0:
        return v / i, Fraction(0)
    if isinstance(branch, FanMotor):
        ohm = Fraction(branch.resistance) / Fraction(branch.strength)
    else:
        _, slope = branch.current_and_slope(np.array(branch.values), np.array(volts))
        ohm = 1 / Fraction(float(slope))
    return ohm, v - i * ohm


def _diode_at(diode: Junction, v: Fraction) -> tuple[Fraction, Fraction]:
    """Its leakage alone; or ``i = leak v + (v - drop) / r`` as one resistance behind one emf."""
    leak, strength = Fraction(LEAKAGE), Fraction(diode.strength)
    if v <= Fraction(diode.drop):
        return 1 / (leak * strength), Fraction(0)
    own = 1 / Fraction(diode.resistance)
    return 1 / ((leak + own) * strength), Fraction(diode.drop) * own / (leak + own)


def second_opinion(circuit: Circuit, point: OperatingPoint) -> dict[str, dict[str, Fraction]]:
    """What lcapy finds, in exact fractions.

    Volts of nodes on a floating island are counted from the one of them that is held at 0, as in
    an :class:`~circuitcheck.solve.point.OperatingPoint`; open branches carry 0.

    :param point: solved for this circuit
    :returns: ``{"volts": {node: V}, "amps": {branch key: A}}``

    >>> branches = {"cells": Source("+", "-", 12.5, 0.25), "R1": Conductor("+", "-", 6.0)}
    >>> circuit = Circuit(branches, {}, "-")
    >>> from circuitcheck.solve.point import solve_point
    >>> found = second_opinion(circuit, solve_point(circuit))
    >>> found["volts"]["+"], found["amps"]["cells"]
    (Fraction(12, 1), Fraction(-2, 1))
    """
    netlist, way = twin_netlist(circuit, point)
    volts = dict.fromkeys(circuit.nodes, Fraction(0))
    amps = dict.fromkeys(circuit.branches, Fraction(0))
    if way.elements:
        node_volts, element_amps = _lcapy_solution(netlist)
        volts |= {node: node_volts[str(number)] for node, number in way.nodes.items()}
        amps |= {key: element_amps[listed[0]] for key, listed in way.elements.items()}
    return {"volts": volts, "amps": amps}


def _lcapy_solution(netlist: str) -> tuple[dict[str, Fraction], dict[str, Fraction]]:
    """Node volts and element currents as lcapy's modified nodal analysis gives them."""
    lcapy = _lcapy()
    # A circuit of R and dc V is one sub-circuit to lcapy; its results are sympy rationals. The
    # usual ``circuit.R1.i`` wraps each of them in a time-domain expression first, at many times
    # the cost.
    (part,) = lcapy.Circuit(netlist).sub.values()
    return (
        {name: _fraction(one.sympy) for name, one in part.mna.Vdict.items()},
        {name: _fraction(one.sympy) for name, one in part.mna.Idict.items()},
    )


def _lcapy() -> ModuleType:
    """lcapy, which takes a second to import and would change how the interpreter prints results."""
    shows = sys.displayhook
    import lcapy  # noqa: PLC0415

    sys.displayhook = shows
    return lcapy  # type: ignore[no-any-return]


def _fraction(rational: object) -> Fraction:
    import sympy  # noqa: PLC0415

    assert isinstance(rational, sympy.Rational), f"lcapy left the rational numbers: {rational}"
    return Fraction(int(rational.p), int(rational.q))
