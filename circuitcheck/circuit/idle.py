"""What carries no current whatever it is made of: all that no loop with a source in it passes.

Most of a vehicle is off while one circuit is tested. What hangs on the rest by one end, or closes upon
itself without a source, carries nothing: a bad joint there changes no reading and throws no relay.

Two branches are in one *block* if a loop passes both. Current flows in a block with a source only: all
that enters another comes back through the one node that it hangs by, and nothing in it pushes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import count

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.joined import Joined
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Branch, Condition, Conductor, Source


class _Edge:
    """A branch between the numbers of two nodes."""

    __slots__ = ("closed_when", "head", "is_source", "key", "tail")

    def __init__(self, key: str, tail: int, head: int, branch: Branch) -> None:
        self.key, self.tail, self.head = key, tail, head
        self.closed_when = branch.closed_when if isinstance(branch, Conductor) else ALWAYS
        self.is_source = isinstance(branch, Source)


class Idle:
    """The branches of a circuit that are idle, in any state that its relays come to.

    :param meters: the nodes between which meters lie: what they draw passes too
    :param read: branches that are looked at themselves, so that no change of them goes unseen
    """

    def __init__(
        self, circuit: Circuit, meters: Iterable[tuple[str, str]] = (), read: Collection[str] = ()
    ) -> None:
        self._circuit = circuit
        number = self._number = {node: place for place, node in enumerate(circuit.nodes)}
        self._meters = [(number[one], number[other]) for one, other in meters]
        there = [
            _Edge(key, number[one.tail], number[one.head], one) for key, one in circuit.branches.items()
        ]
        every, at_rest = there, set[str]()
        while True:
            there = self._in_loops_with_sources(there, at_rest)
            carrying = {one.key for one in there}
            still = self._never_on(carrying)
            if len(still) == len(at_rest):
                break
            at_rest = still  # what they would close stays open, and more is idle
        self._seen = carrying | {*read}
        """Branches that carry current, perhaps, or are looked at."""
        self._joined = Joined(
            (one.tail, one.head)
            for one in every
            if one.key not in carrying and _may_hold(one.closed_when, at_rest)
        )
        """Nodes that only idle branches lead between: one more of these closes no loop with a source."""

    def _in_loops_with_sources(self, there: Sequence[_Edge], at_rest: Collection[str]) -> list[_Edge]:
        """Those of some branches that carry current, perhaps, if some thresholds never come on."""
        there = [one for one in there if _may_hold(one.closed_when, at_rest)]
        ends = [(one.tail, one.head) for one in there]
        block = blocks(len(self._number), [*ends, *self._meters])
        often = Counter(block)
        live = {
            mine for one, mine in zip(there, block, strict=False) if one.is_source and often[mine] > 1
        }
        return [one for one, mine in zip(there, block, strict=False) if mine in live]

    def _never_on(self, carrying: Collection[str]) -> set[str]:
        """The thresholds that never come on."""
        circuit = self._circuit
        return {
            name
            for name, one in circuit.thresholds.items()
            if one.watch not in carrying and name not in circuit.blown
        }

    def unmoved_by(self, change: Change) -> bool:
        """Whether a change leaves all currents and all that is read as they are."""
        return self._seen.isdisjoint(change) and all(
            self._stays(key, new) for key, new in change.items()
        )

    def _stays(self, key: str, new: Branch | None) -> bool:
        if new is None:
            return True
        if isinstance(new, Source):
            return False
        old = self._circuit.branches.get(key)
        if isinstance(new, Conductor):
            if new.tail not in self._number or new.head not in self._number:
                return True  # a branch that hangs on a point which is not there
            if isinstance(old, Conductor) and _lie_alike(old, new):
                return True
        number = self._number
        return self._joined.together(number[new.tail], number[new.head])


def _may_hold(condition: Condition, at_rest: Collection[str]) -> bool:
    return condition is ALWAYS or any(
        not any(wanted and name in at_rest for name, wanted in alternative) for alternative in condition
    )


def _lie_alike(one: Conductor, other: Conductor) -> bool:
    """Whether two lie between the same nodes under the same condition."""
    return (one.tail, one.head, one.closed_when) == (other.tail, other.head, other.closed_when)


def joins(circuit: Circuit, change: Change) -> bool:
    """Whether a change leads where nothing led before, so that what was idle may carry current."""
    return any(new is not None and _joins(circuit.branches.get(key), new) for key, new in change.items())


def _joins(old: Branch | None, new: Branch) -> bool:
    if isinstance(old, Conductor) and isinstance(new, Conductor):
        return not _lie_alike(old, new)
    return type(old) is not type(new) or (old.tail, old.head) != (new.tail, new.head)


def blocks(size: int, ends: Sequence[tuple[int, int]]) -> list[int]:
    """The number of the block of each edge of a graph with nodes 0 to size - 1.

    Depth first, with the earliest node that a branch of the search leads back to (R. Tarjan, SIAM J.
    Comput. 1, 1972; from memory).

    >>> blocks(4, [(0, 1), (1, 2), (2, 0), (2, 3)])
    [1, 1, 1, 0]
    """
    around: list[list[tuple[int, int]]] = [[] for _ in range(size)]
    found, number = [-1] * len(ends), count()
    for edge, (one, other) in enumerate(ends):
        if one == other:
            found[edge] = next(number)
        else:
            around[one].append((other, edge))
            around[other].append((one, edge))
    met = [0] * size
    time = count(1)
    for root in range(size):
        if not met[root]:
            for block in _blocks_from(root, around, met, time):
                own = next(number)
                for edge in block:
                    found[edge] = own
    return found


def _blocks_from(
    root: int, around: Sequence[Sequence[tuple[int, int]]], met: list[int], time: Iterator[int]
) -> Iterator[list[int]]:
    """The edges of each block that can be come to from a node.

    :param around: of each node its neighbours, each with the edge that leads there
    :param met: when each node was met, 0 for one that has not been
    """
    met[root] = next(time)
    back = {root: met[root]}
    passed: list[int] = []
    way = [(root, -1, iter(around[root]), 0)]
    while way:
        node, by, left, begin = way[-1]
        for other, edge in left:
            if not met[other]:
                met[other] = back[other] = next(time)
                way.append((other, edge, iter(around[other]), len(passed)))
                passed.append(edge)
                break
            if edge != by and met[other] < met[node]:
                passed.append(edge)
                back[node] = min(back[node], met[other])
        else:
            way.pop()
            above = way[-1][0] if way else node
            back[above] = min(back[above], back[node])
            if way and back[node] >= met[above]:
                yield passed[begin:]
                del passed[begin:]
