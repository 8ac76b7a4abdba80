"""Which branches, alone or in pairs, hold parts of a circuit together.

Every branch outside a spanning tree gets a random word; every tree branch gets the exclusive-or of
the words of all loops through it. A branch in no loop (a bridge) has the word 0, and two branches
that together cut the circuit have the same word (D. Pritchard, R. Thurimella, *Fast computation of
small cuts via cycle space sampling*, ACM Trans. Algorithms 7, 2011; from memory). With words of 62
bits a false match has a chance below one in 10**13 for circuits of a thousand branches.
"""

from __future__ import annotations

import random
from collections.abc import Iterable

Edge = tuple[int, int, str]
"""End nodes and key of a branch."""


def cut_words(size: int, edges: Iterable[Edge]) -> dict[str, int]:
    """The word of each branch of a graph with nodes 0 to size - 1.

    >>> words = cut_words(4, [(0, 1, "a"), (1, 2, "b"), (2, 0, "c"), (2, 3, "d")])
    >>> words["d"], words["a"] == words["b"] == words["c"]
    (0, True)
    """
    listed = list(edges)
    draw = random.Random(len(listed))
    around: list[list[tuple[int, str]]] = [[] for _ in range(size)]
    for tail, head, key in listed:
        around[tail].append((head, key))
        around[head].append((tail, key))
    order, above = _spanning(size, around)
    in_tree = {key for _, key in above.values()}
    words = {key: draw.getrandbits(62) for _, _, key in listed if key not in in_tree}
    at_node = [0] * size
    for tail, head, key in listed:
        if key in words and tail != head:
            at_node[tail] ^= words[key]
            at_node[head] ^= words[key]
    for node in reversed(order):
        if node in above:
            parent, key = above[node]
            words[key] = at_node[node]
            at_node[parent] ^= at_node[node]
    return words


def _spanning(
    size: int, around: list[list[tuple[int, str]]]
) -> tuple[list[int], dict[int, tuple[int, str]]]:
    """Nodes in the order met, and for each but the roots the node and branch it was met by."""
    order: list[int] = []
    above: dict[int, tuple[int, str]] = {}
    met = [False] * size
    for root in range(size):
        stack = [] if met[root] else [root]
        met[root] = True
        while stack:
            node = stack.pop()
            order.append(node)
            for other, key in around[node]:
                if not met[other]:
                    met[other] = True
                    above[other] = (node, key)
                    stack.append(other)
    return order, above
