"""The circuit: branches between nodes, states that contacts follow, and a reference node.

A circuit never changes. A set-up, a meter and a fault are each a function from one circuit to
another. As a graph it is a networkx multigraph: terminals are nodes, branches are edges with keys.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Branch, Conductor, Threshold, holds

if TYPE_CHECKING:
    import networkx as nx


@dataclass(frozen=True)
class Circuit:
    """Branches by key, thresholds by name.

    :param reference: the node from which volts are counted, battery minus
    :param blown: thresholds that are on before anything happens (fuses blown in service)
    :param points: where a probe can be put, also where a set-up has left nothing connected
    """

    branches: Mapping[str, Branch]
    thresholds: Mapping[str, Threshold]
    reference: str
    blown: frozenset[str] = field(default=frozenset())
    points: tuple[str, ...] = ()

    def changed(self, change: Change) -> Circuit:
        """The circuit with some branches replaced, added, or (None) taken out."""
        if not change:
            return self
        merged = {**self.branches, **change}
        return replace(self, branches={k: b for k, b in merged.items() if b is not None})

    def after(self, blown: frozenset[str], fuses: float = 1.0) -> Circuit:
        """The circuit with some fuses already blown.

        :param fuses: by how much every fuse opens above its usual limit [1]
        """
        if fuses == 1.0:
            return replace(self, blown=blown & self.thresholds.keys()) if blown else self
        moved = {
            name: replace(one, on_amps=one.on_amps * fuses) if one.latching else one
            for name, one in self.thresholds.items()
        }
        return replace(self, thresholds=moved, blown=blown & moved.keys())

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """All nodes, the reference first."""
        ends = [node for one in self.branches.values() for node in (one.tail, one.head)]
        return tuple(dict.fromkeys([self.reference, *ends, *self.points]))

    def initial_states(self) -> dict[str, bool]:
        """The states before power comes on."""
        return {name: name in self.blown for name in self.thresholds}

    def graph(self, states: Mapping[str, bool] | None = None) -> nx.MultiGraph:
        """The networkx multigraph; with states, only of the branches that conduct in them."""
        import networkx as nx  # noqa: PLC0415  (a tenth of a second that quick commands save)

        graph = nx.MultiGraph()
        graph.add_nodes_from(self.nodes)
        for key, branch in self.branches.items():
            if states is None or conducts(branch, states):
                graph.add_edge(branch.tail, branch.head, key=key, branch=branch)
        return graph


def conducts(branch: Branch, states: Mapping[str, bool]) -> bool:
    """Whether current can pass a branch in these states at all."""
    if isinstance(branch, Conductor):
        return branch.siemens > 0 and holds(branch.closed_when, states)
    return getattr(branch, "strength", 1.0) > 0
