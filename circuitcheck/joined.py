"""Which things are joined, directly or through others: disjoint sets."""

from __future__ import annotations

from collections.abc import Iterable


class Joined:
    """Disjoint sets with path halving; kept here so that quick commands need no graph library.

    >>> sets = Joined([("a", "b"), ("b", "c"), ("d", "e")])
    >>> sets.root("a") == sets.root("c"), sets.root("a") == sets.root("d")
    (True, False)
    """

    def __init__(self, pairs: Iterable[tuple[str, str]] = ()) -> None:
        self._parent: dict[str, str] = {}
        for one, other in pairs:
            self.join(one, other)

    def root(self, item: str) -> str:
        """The representative of the set that an item is in."""
        parent = self._parent
        parent.setdefault(item, item)
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    def join(self, one: str, other: str) -> None:
        """Put two items, and all that is joined to them, into one set."""
        self._parent[self.root(one)] = self.root(other)

    def together(self, one: str, other: str) -> bool:
        """Whether two items are in one set."""
        return self.root(one) == self.root(other)
