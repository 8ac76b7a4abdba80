"""Floating islands that a change joins to the rest: the ties that have to come off them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from circuitcheck.solve.changes import Changes
from circuitcheck.solve.wiring import Bool, Index


@dataclass(frozen=True)
class Ties:
    """Which ties come off.

    :param column: for each row, the islands whose ties come off, by their number less one; -1 for none
    :param joined: rows, and for each island the one that it is part of in those rows
    """

    column: Index
    joined: tuple[tuple[Index, Index], ...]


def ties_of(island: Index, slot: Index, adds: Bool, changes: Changes) -> Ties:
    """The ties that come off in each row.

    :param island: number of the island of each node; the reference is on island 0
    :param slot: altered slots of each row (rows, width)
    :param adds: which of them conduct where nothing did (rows, width)
    """
    rows = len(slot)
    none = np.zeros((rows, 0), dtype=np.intp)
    if not adds.any():
        return Ties(none, ())
    one, other = island[changes.tail[slot]], island[changes.head[slot]]
    joins = adds & (one != other)
    if not joins.any():
        return Ties(none, ())
    found = []
    for listed in _alike(np.where(joins, one * (int(island.max()) + 1) + other, -1)):
        at = joins[listed[0]]
        pairs = zip(one[listed[0], at].tolist(), other[listed[0], at].tolist(), strict=True)
        found.append((listed, _merged(tuple(pairs))))
    column = np.full((rows, max((len(merged) for _, merged in found), default=0)), -1, dtype=np.intp)
    joined = []
    for listed, merged in found:
        for number, name in enumerate(merged):
            column[listed, number] = name - 1
        islands = range(int(island.max()) + 1)
        joined.append((listed, np.array([_root(merged, n) for n in islands], dtype=np.intp)))
    return Ties(column, tuple(joined))


def _alike(codes: Index) -> list[Index]:
    """Rows in groups of equal codes (rows, width); those with none, -1 throughout, left out."""
    rows = np.flatnonzero(np.any(codes >= 0, axis=1))
    if not rows.size:
        return []
    label = np.zeros(len(rows), dtype=np.intp)
    for column in codes[rows].T:  # label after label, so that no number grows too large
        _, both = np.unique(label * (int(codes.max()) + 2) + column + 1, return_inverse=True)
        label = both.reshape(-1)
    order = np.argsort(label, kind="stable")
    ends = np.flatnonzero(np.diff(label[order])) + 1
    return [one for one in np.split(rows[order], ends) if one.size]


def _merged(pairs: tuple[tuple[int, int], ...]) -> dict[int, int]:
    """For each island that is joined to another the one it now belongs to; never the reference's."""
    merged: dict[int, int] = {}
    for pair in pairs:
        one, other = (_root(merged, number) for number in pair)
        if one != other:
            merged[max(one, other)] = min(one, other)
    return merged


def _root(merged: Mapping[int, int], island: int) -> int:
    while island in merged:
        island = merged[island]
    return island
