"""The way the current takes: from source to source's end, always along the strongest branch."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Source
from circuitcheck.solve.point import OperatingPoint

if TYPE_CHECKING:
    import networkx as nx

FAINT = 1e-6
"""A share of the strongest current below which a branch is no way of it: meters and leakage."""

NOTHING = 1e-9
"""A current below this is what rounding leaves of none [A]; the solver ends at this."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A branch as the current passes it: from ``start`` to ``end`` [A]."""

    key: str
    start: str
    end: str
    amps: float


def place_of(node: str) -> str:
    """A node as a person names it: the middle of a splice is the splice.

    >>> place_of("X10:middle"), place_of("S1.2")
    ('X10', 'S1.2')
    """
    return node.removesuffix(":middle")


def flow_graph(circuit: Circuit, point: OperatingPoint) -> nx.MultiDiGraph:
    """The branches that carry current, each edge pointing the way its current goes.

    Built on the circuit's own multigraph; leakage and meters are left out beside real currents.
    """
    import networkx as nx  # noqa: PLC0415

    flow = nx.MultiDiGraph()
    edges = list(circuit.graph(point.states).edges(keys=True, data="branch"))
    most = max((abs(point.amps[key]) for _, _, key, _ in edges), default=0.0)
    for _, _, key, branch in edges:
        amps = point.amps[key]
        if abs(amps) > max(FAINT * most, NOTHING):
            ends = (branch.tail, branch.head) if amps > 0 else (branch.head, branch.tail)
            flow.add_edge(*ends, key=key, amps=abs(amps), source=isinstance(branch, Source))
    return flow


def strongest_way(circuit: Circuit, point: OperatingPoint, through: str | None = None) -> list[Leg]:
    """The legs from a source's plus pole to its minus pole, the sources themselves left out.

    At a fork it takes the strongest branch, downstream as well as upstream.

    :param through: a branch key or a node that the way should pass; if it carries no current, or
        without one, the way of the strongest source
    """
    flow = flow_graph(circuit, point)
    begin = _begin(flow, through)
    if begin is None:
        return []
    up: list[Leg] = []
    down = [begin]
    while (
        leg := _strongest(flow.in_edges(up[-1].start if up else begin.start, keys=True, data=True))
    ) and not _is_source(flow, leg):
        up.append(leg)
    while (leg := _strongest(flow.out_edges(down[-1].end, keys=True, data=True))) and not _is_source(
        flow, leg
    ):
        down.append(leg)
    return [one for one in (*reversed(up), *down) if not _is_source(flow, one)]


def _begin(flow: nx.MultiDiGraph, through: str | None) -> Leg | None:
    edges = list(flow.edges(keys=True, data=True))
    if through is not None:
        named = [edge for edge in edges if edge[2] == through]
        out = [edge for edge in edges if edge[0] == through and not edge[3]["source"]]
        found = _strongest(named or out)
        if found is not None and not _is_source(flow, found):
            return found
        edges = named or edges
    sources = [edge for edge in edges if edge[3]["source"]]
    strongest = _strongest(sources)
    if strongest is None:
        return None
    after = flow.out_edges(strongest.end, keys=True, data=True)
    return _strongest(edge for edge in after if not edge[3]["source"])


def _strongest(edges: Iterable[tuple[str, str, str, dict[str, float]]]) -> Leg | None:
    legs = [Leg(key, start, end, data["amps"]) for start, end, key, data in edges]
    return max(legs, key=lambda leg: leg.amps, default=None)


def _is_source(flow: nx.MultiDiGraph, leg: Leg) -> bool:
    return bool(flow.edges[leg.start, leg.end, leg.key]["source"])
