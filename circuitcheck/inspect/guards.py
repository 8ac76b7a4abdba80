"""Which fuses stand between the battery and a wire, found as the least cut of the live graph.

In a scene, what conducts without passing a fuse, a load or the body is one lump; fuses join lumps.
What can flow to a lump before fuses open is the least cut between it and the battery's lump, each
fuse counting with its rating (max-flow min-cut; L. R. Ford, D. R. Fulkerson, 1956). So two fuses in
series count as the smaller, two side by side as both together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from circuitcheck.circuit.circuit import conducts
from circuitcheck.inspect.design import Design, Live


@dataclass(frozen=True, slots=True)
class Guard:
    """What protects a wire in one scene.

    :param amps: ratings of its fuses together [A]; infinite without any
    """

    amps: float
    fuses: tuple[str, ...]
    scene: Live


def guards(design: Design) -> Mapping[str, Guard]:
    """For each wire that is ever live, the weakest protection it has in any scene."""
    found: dict[str, Guard] = {}
    for scene in design.scenes:
        for wire, guard in _guards_in(design, scene).items():
            if wire not in found or guard.amps > found[wire].amps:
                found[wire] = guard
    return found


def _guards_in(design: Design, scene: Live) -> dict[str, Guard]:
    import networkx as nx  # noqa: PLC0415

    sets = design.supply_sets(scene)
    home = sets.root(design.plus)
    graph = nx.DiGraph()
    graph.add_node(home)
    between: dict[frozenset[str], list[str]] = {}
    for fuse in design.fuses:
        branch = scene.circuit.branches.get(f"{fuse}:element")
        if branch is None or not conducts(branch, scene.point.states):
            continue
        ends = frozenset((sets.root(branch.tail), sets.root(branch.head)))
        if len(ends) == 2:
            between.setdefault(ends, []).append(fuse)
    for ends, names in between.items():
        one, other = ends
        amps = sum(design.fuses[name] for name in names)
        graph.add_edge(one, other, capacity=amps)
        graph.add_edge(other, one, capacity=amps)
    none: tuple[str, ...] = ()
    cuts = {home: (math.inf, none)} | {
        lump: _cut(graph, home, lump, between)
        for lump in nx.node_connected_component(graph.to_undirected(), home)
        if lump != home
    }
    lumps = {name: sets.root(wire.end) for name, wire in design.harness.wires.items()}
    return {
        name: Guard(cuts[lump][0], cuts[lump][1], scene)
        for name, lump in lumps.items()
        if lump in cuts and design.minus not in _ends(design, name)
    }


def _ends(design: Design, wire: str) -> tuple[str, str]:
    one = design.harness.wires[wire]
    return (one.start, one.end)


def _cut(
    graph: object, home: str, lump: str, between: Mapping[frozenset[str], list[str]]
) -> tuple[float, tuple[str, ...]]:
    import networkx as nx  # noqa: PLC0415

    amps, (near, _) = nx.minimum_cut(graph, home, lump)
    names = [name for ends, fuses in between.items() for name in fuses if len(ends & near) == 1]
    return float(amps), tuple(names)
