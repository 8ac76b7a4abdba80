"""Series and parallel: a network between two nodes as a tree, as far as it goes.

What is left when no two branches are in series or in parallel any more is a mesh, which needs node
equations. What leads to it in line stays in series with it, so that the mesh is as small as can be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from circuitcheck.learn.elements import Element


@dataclass(frozen=True)
class Leaf:
    """One element."""

    element: Element

    @property
    def ends(self) -> tuple[str, str]:
        """Tail and head."""
        return self.element.tail, self.element.head


@dataclass(frozen=True)
class Series:
    """Parts one after the other; the sign is -1 for one that points the other way."""

    parts: tuple[tuple[Tree, int], ...]
    ends: tuple[str, str]


@dataclass(frozen=True)
class Parallel:
    """Parts side by side between the same two nodes."""

    parts: tuple[tuple[Tree, int], ...]
    ends: tuple[str, str]


@dataclass(frozen=True)
class Mesh:
    """Parts that bridge each other, between two nodes."""

    trees: tuple[Tree, ...]
    ends: tuple[str, str]


Tree = Leaf | Series | Parallel | Mesh


def reduce(elements: Sequence[Element], port: tuple[str, str]) -> Tree | None:
    """What stands between the port's nodes as one tree, pointing from the first to the second.

    None where nothing does.
    """
    if not elements:
        return None
    trees: list[Tree] = [Leaf(one) for one in elements]
    while True:
        after = _series_step(trees, port) or _parallel_step(trees)
        if after is None:
            break
        trees = after
    if len(trees) == 1:
        return trees[0] if trees[0].ends == port else reverse(trees[0])
    return _with_leads(trees, port)


def _with_leads(trees: list[Tree], port: tuple[str, str]) -> Tree:
    """A mesh in series with what alone leads to it from either end of the port."""
    start, end = port
    before: list[tuple[Tree, int]] = []
    after: list[tuple[Tree, int]] = []
    while len(ways := [one for one in trees if start in one.ends]) == 1:
        other = ways[0].ends[1] if ways[0].ends[0] == start else ways[0].ends[0]
        before += _in_line(ways[0], (start, other))
        start, trees = other, [one for one in trees if one is not ways[0]]
    while len(ways := [one for one in trees if end in one.ends]) == 1:
        other = ways[0].ends[0] if ways[0].ends[1] == end else ways[0].ends[1]
        after = [*_in_line(ways[0], (other, end)), *after]
        end, trees = other, [one for one in trees if one is not ways[0]]
    mesh = Mesh(tuple(trees), (start, end))
    return Series((*before, (mesh, 1), *after), port) if before or after else mesh


def reverse(tree: Tree) -> Tree:
    """The same tree from its other end."""
    ends = tree.ends[::-1]
    if isinstance(tree, Series):
        return Series(tuple((one, -sign) for one, sign in reversed(tree.parts)), ends)
    if isinstance(tree, Parallel):
        return Parallel(tuple((one, -sign) for one, sign in tree.parts), ends)
    if isinstance(tree, Mesh):
        return Mesh(tree.trees, ends)
    return Series(((tree, -1),), ends)


def _series_step(trees: list[Tree], port: tuple[str, str]) -> list[Tree] | None:
    at: dict[str, list[Tree]] = {}
    for one in trees:
        for node in one.ends:
            at.setdefault(node, []).append(one)
    for node, pair in at.items():
        if node not in port and len(pair) == 2 and set(pair[0].ends) != set(pair[1].ends):
            first, second = pair
            start = first.ends[0] if first.ends[1] == node else first.ends[1]
            end = second.ends[1] if second.ends[0] == node else second.ends[0]
            joined = Series(
                (*_in_line(first, (start, node)), *_in_line(second, (node, end))), (start, end)
            )
            return _put_in(trees, pair, joined)
    return None


def _in_line(tree: Tree, ends: tuple[str, str]) -> tuple[tuple[Tree, int], ...]:
    """A tree as a stretch of a series, taken apart if it is one itself."""
    if isinstance(tree, Series):
        return tree.parts if tree.ends == ends else tuple((o, -s) for o, s in reversed(tree.parts))
    return ((tree, 1 if tree.ends == ends else -1),)


def _parallel_step(trees: list[Tree]) -> list[Tree] | None:
    groups: dict[frozenset[str], list[Tree]] = {}
    for one in trees:
        groups.setdefault(frozenset(one.ends), []).append(one)
    for group in groups.values():
        if len(group) > 1:
            ends = group[0].ends
            parts: list[tuple[Tree, int]] = []
            for one in group:
                sign = 1 if one.ends == ends else -1
                inner = one.parts if isinstance(one, Parallel) else ((one, 1),)
                parts += [(part, sign * own) for part, own in inner]
            return _put_in(trees, group, Parallel(tuple(parts), ends))
    return None


def _put_in(trees: list[Tree], gone: Sequence[Tree], new: Tree) -> list[Tree]:
    """The new tree where the first of those that are gone stood."""
    place = next(number for number, one in enumerate(trees) if one is gone[0])
    kept = [one for one in trees if not any(one is other for other in gone)]
    before = sum(any(one is other for other in kept) for one in trees[:place])
    return [*kept[:before], new, *kept[before:]]


def leaves(tree: Tree) -> list[Element]:
    """All elements of a tree."""
    if isinstance(tree, Leaf):
        return [tree.element]
    if isinstance(tree, Mesh):
        return [element for one in tree.trees for element in leaves(one)]
    return [element for one, _ in tree.parts for element in leaves(one)]


def is_series_parallel(tree: Tree) -> bool:
    """Whether it holds no mesh."""
    if isinstance(tree, Leaf | Mesh):
        return isinstance(tree, Leaf)
    return all(is_series_parallel(one) for one, _ in tree.parts)
