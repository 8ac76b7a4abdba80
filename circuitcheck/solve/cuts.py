"""Which branches, alone or in pairs, hold parts of a circuit together.

Every branch outside a spanning tree gets a random word; every tree branch gets the exclusive-or of
the words of all loops through it. A branch in no loop (a bridge) has the word 0, and two branches
that together cut the circuit have the same word (D. Pritchard, R. Thurimella, *Fast computation of
small cuts via cycle space sampling*, ACM Trans. Algorithms 7, 2011; from memory). With words of 62
bits a false match has a chance below one in 10**13 for circuits of a thousand branches.
"""

from __future__ import annotations

import random
from collections.abc import Sequence


def cut_words(size: int, tails: Sequence[int], heads: Sequence[int]) -> tuple[list[int], list[int]]:
    """The word of each branch of a graph with nodes 0 to size - 1, and the island of each node.

    Islands are numbered in the order of their first nodes.

    >>> words, island = cut_words(5, [0, 1, 2, 2], [1, 2, 0, 3])
    >>> words[3], words[0] == words[1] == words[2], island
    (0, True, [0, 0, 0, 0, 1])
    """
    draw = random.Random(len(tails))
    around: list[list[tuple[int, int]]] = [[] for _ in range(size)]
    for branch, (tail, head) in enumerate(zip(tails, heads, strict=True)):
        around[tail].append((head, branch))
        around[head].append((tail, branch))
    order, above, island = _spanning(around)
    words = [-1] * len(tails)
    for _, branch in above.values():
        words[branch] = 0
    at_node = [0] * size
    for branch, (tail, head) in enumerate(zip(tails, heads, strict=True)):
        if words[branch] < 0:
            words[branch] = draw.getrandbits(62)
            if tail != head:
                at_node[tail] ^= words[branch]
                at_node[head] ^= words[branch]
    for node in reversed(order):
        if node in above:
            parent, branch = above[node]
            words[branch] = at_node[node]
            at_node[parent] ^= at_node[node]
    return words, island


def _spanning(
    around: Sequence[Sequence[tuple[int, int]]],
) -> tuple[list[int], dict[int, tuple[int, int]], list[int]]:
    """Nodes in the order met; for each but the roots the node and branch it was met by; islands."""
    order: list[int] = []
    above: dict[int, tuple[int, int]] = {}
    island = [-1] * len(around)
    count = 0
    for root in range(len(around)):
        if island[root] >= 0:
            continue
        stack = [root]
        island[root] = count
        while stack:
            node = stack.pop()
            order.append(node)
            for other, branch in around[node]:
                if island[other] < 0:
                    island[other] = count
                    above[other] = (node, branch)
                    stack.append(other)
        count += 1
    return order, above, island
