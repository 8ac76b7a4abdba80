"""Which things are joined, directly or through others: disjoint sets."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import Generic, TypeVar

Item = TypeVar("Item", bound=Hashable)


class Joined(Generic[Item]):
    """Disjoint sets with path halving; kept here so that quick commands need no graph library.

    >>> sets = Joined([("a", "b"), ("b", "c"), ("d", "e")])
    >>> sets.root("a") == sets.root("c"), sets.root("a") == sets.root("d")
    (True, False)
    """

    def __init__(self, pairs: Iterable[tuple[Item, Item]] = ()) -> None:
        self._parent: dict[Item, Item] = {}
        for one, other in pairs:
            self.join(one, other)

    def root(self, item: Item) -> Item:
        """The representative of the set that an item is in."""
        parent = self._parent
        parent.setdefault(item, item)
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    def join(self, one: Item, other: Item) -> None:
        """Put two items, and all that is joined to them, into one set."""
        self._parent[self.root(one)] = self.root(other)

    def together(self, one: Item, other: Item) -> bool:
        """Whether two items are in one set."""
        return self.root(one) == self.root(other)
