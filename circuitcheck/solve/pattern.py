"""Many networks of one shape, each with conductances of its own, eliminated side by side.

What joins what is the same for all of them, so that the order of elimination, what fills in, and what
waits for what are worked out once; a conductance that a network does not have is nought. The numbers
follow level by level, all networks at once, by the same star-mesh steps as in :mod:`.elimination`:
nothing is ever subtracted. An island that floats therefore ends in a node around which exactly nothing
is left; that one is tied to the reference.

Rows, one for each network, come last in all arrays.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.sparse import csr_array

from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import REFERENCE, TIE_SIEMENS, Index


class Sums:
    """Numbers added up by where they belong.

    :param target: place in the result of each number; those below 0 belong nowhere (numbers,)
    :param size: how many places the result has
    """

    def __init__(self, target: Index, size: int) -> None:
        order = np.argsort(target, kind="stable")
        order = order[np.count_nonzero(target < 0) :]
        self._each = _adding(target[order], order, size, len(target))

    def of(self, values: Array) -> Array:
        """The sums of some numbers (numbers, rows), at their places (size, rows)."""
        found: Array = self._each @ values
        return found


def _adding(target: Index, source: Index, targets: int, sources: int) -> csr_array:
    """The matrix that adds numbers at their sources up at their targets (targets, sources).

    :param target: in order (numbers,)
    """
    begins = np.searchsorted(target, np.arange(targets + 1))
    return csr_array((np.ones(len(target)), source, begins), shape=(targets, sources))


@dataclass(frozen=True)
class _Gather:
    """What some nodes or edges get from steps before: a share of what each sender has.

    :param share: number of the edge whose share counts (entries,), and ``sender`` what it is a share of
    """

    target: Index
    share: Index
    sender: Index
    sums: csr_array

    def into(self, values: Array, shares: Array) -> None:
        """Add it, in place (places, rows)."""
        if len(self.target):
            more = shares[self.share]
            more *= values[self.sender]
            values[self.target] += self.sums @ more


@dataclass(frozen=True)
class _Level:
    """Nodes that do not wait for one another.

    :param nodes: their places, and ``edges`` those of the edges that they had when they went
    :param pairs: of their far ends, as in ``Pattern.pairs``
    :param owner: of each edge the place of its node among ``nodes``, and ``other`` that of its far end
    :param around: adds edges up at their nodes (nodes, edges)
    :param filled: what the edges get from those of nodes that went before
    :param pushed: what the nodes get of the current at nodes that went before
    """

    nodes: slice
    edges: slice
    pairs: slice
    owner: Index
    other: Index
    around: csr_array
    filled: _Gather
    pushed: _Gather


@dataclass(frozen=True)
class Factors:
    """Shares of an elimination (edges, rows) [1], and what is around each node (nodes, rows) [S]."""

    share: Array
    total: Array


class Pattern:
    """The shape of networks: which nodes may be joined.

    Each node has an edge to the reference. The reference comes last and never goes.

    :param size: number of nodes, the reference 0 included
    :param tail: node at one end of each branch that some network has, and ``head`` at the other
    """

    def __init__(self, size: int, tail: Index, head: Index) -> None:
        steps = _steps(size, tail.tolist(), head.tolist())
        level = [0] * size
        for node, ends in steps:
            after = level[node] + 1
            for one in ends:
                level[one] = max(level[one], after)
        steps.sort(key=lambda step: level[step[0]])
        self.size = size
        self.order = np.array([*(node for node, _ in steps), REFERENCE], dtype=np.intp)
        """The nodes in the order in which they go."""
        self.place = np.empty(size, dtype=np.intp)
        """Of each node its place in this order."""
        self.place[self.order] = np.arange(size)
        at = self.place.tolist()
        far = [[*sorted(at[one] for one in mine), size - 1] for _, mine in steps]
        self._keys = np.array(
            [place * size + one for place, mine in enumerate(far) for one in mine], dtype=np.intp
        )
        """Of each edge its two places as one number, in order."""
        self.starts = np.cumsum([0, *(len(mine) for mine in far)])
        """The first edge of each node in the order; that to the reference is its last (size,)."""
        self.levels = list(self._in_levels([level[node] for node, _ in steps], far))

    @property
    def edges(self) -> int:
        """How many edges there are, those that fill in included."""
        return len(self._keys)

    def _in_levels(self, level: Sequence[int], ends: Sequence[list[int]]) -> Iterator[_Level]:
        edge = {key: number for number, key in enumerate(self._keys.tolist())}
        size = self.size
        other = np.array([one for mine in ends for one in mine], dtype=np.intp)
        owner = np.repeat(np.arange(len(ends)), [len(mine) for mine in ends])
        self.pairs = np.array(
            [
                (edge[one * size + far], edge[node * size + one], edge[node * size + far])
                for node, mine in enumerate(ends)
                for place, one in enumerate(mine)
                for far in mine[place + 1 :]
            ],
            dtype=np.intp,
        ).reshape(-1, 3)
        """Of each two far ends of a node the edge between them, and the node's own to both."""
        each = [len(mine) * (len(mine) - 1) // 2 for mine in ends]
        begins = np.cumsum([0, *each])
        filled = self.pairs[np.argsort(self.pairs[:, 0], kind="stable")]
        by_end = np.argsort(other, kind="stable")
        pushed = np.stack([other[by_end], by_end, owner[by_end]], axis=1)
        cuts = np.flatnonzero(np.diff(np.array([*level, -1]), prepend=-1))
        for start, end in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
            first, last = self.starts[start], self.starts[end]
            own = owner[first:last] - start
            yield _Level(
                slice(start, end),
                slice(first, last),
                slice(begins[start], begins[end]),
                own,
                other[first:last],
                _adding(own, np.arange(len(own)), end - start, len(own)),
                _gather(filled, first, last),
                _gather(pushed, start, end),
            )

    def places(self, tail: Index, head: Index) -> Index:
        """The edges that some branches belong to, -1 for one whose ends are the same (branches,)."""
        tail, head = self.place[tail], self.place[head]
        wanted = np.minimum(tail, head) * self.size + np.maximum(tail, head)
        keys = self._keys
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        return np.where(keys[at] == wanted, at, -1)

    def factored(self, siemens: Array) -> Factors:
        """Eliminate; the array is used up.

        :param siemens: of the edges (edges, rows) [S]
        """
        share = np.empty_like(siemens)
        total = np.empty((self.size - 1, siemens.shape[1]))
        for level in self.levels:
            level.filled.into(siemens, share)
            own = siemens[level.edges]
            around = level.around @ own
            around[around == 0.0] = TIE_SIEMENS
            share[level.edges] = own / around[level.owner]
            total[level.nodes] = around
        return Factors(share, total)

    def solve(self, factors: Factors, amps: Array) -> Array:
        """Node volts for currents pushed into the nodes (size, rows) [V]."""
        share = factors.share
        y = amps[self.order]
        for level in self.levels:
            level.pushed.into(y, share)
        y[:-1] /= factors.total
        y[-1] = 0.0
        for level in reversed(self.levels):
            y[level.nodes] += level.around @ (share[level.edges] * y[level.other])
        return y[self.place]


@lru_cache(maxsize=2)
def pattern_of(size: int, tail: bytes, head: bytes) -> Pattern:
    """The pattern of some branches: a circuit is often solved anew with other values in the same places.

    :param tail: the nodes as bytes, and ``head``
    """
    return Pattern(size, np.frombuffer(tail, dtype=np.intp), np.frombuffer(head, dtype=np.intp))


def _gather(entries: Index, start: int, end: int) -> _Gather:
    """Of entries (target, share, sender), in the order of targets, those of some targets."""
    first, last = np.searchsorted(entries[:, 0], [start, end]).tolist()
    target, share, sender = entries[first:last].T
    begins = np.diff(target, prepend=-1) != 0
    own = target[begins]
    sums = _adding(np.cumsum(begins) - 1, np.arange(len(target)), len(own), len(target))
    return _Gather(own, share, sender, sums)


def _steps(size: int, tail: Sequence[int], head: Sequence[int]) -> list[tuple[int, list[int]]]:
    """Nodes in the order of fewest neighbours, each with those it has when it goes."""
    around: list[set[int]] = [set() for _ in range(size)]
    for one, other in zip(tail, head, strict=True):
        if one != other and REFERENCE not in (one, other):
            around[one].add(other)
            around[other].add(one)
    waiting = [(len(around[node]), node) for node in range(1, size)]
    heapq.heapify(waiting)
    gone = [False] * size
    found = []
    while waiting:
        degree, node = heapq.heappop(waiting)
        mine = around[node]
        if gone[node] or degree != len(mine):
            continue
        gone[node] = True
        found.append((node, list(mine)))
        for one in mine:
            of_one = around[one]
            of_one |= mine
            of_one -= {one, node}
            heapq.heappush(waiting, (len(of_one), one))
        around[node] = set()
    return found
