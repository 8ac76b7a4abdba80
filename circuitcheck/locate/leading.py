"""Which single faults lead where none explains the readings, and the pairs they make with all others."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np

from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.pairing import Alone, Pair
from circuitcheck.locate.suspects import Suspect

LEADING, OTHERS = 4, 120
"""Faults that are paired with all others if none of those explains the readings; and of all others."""
MORE_LEADING = 8
"""The same if none of those pairs does either."""


def partners_of(singles: Sequence[Suspect], known: Alone) -> list[int]:
    """The single faults that explain most of the readings, one of each kind.

    The first explains most; each of the next few most of what those before it leave unexplained.
    """
    partial = known.logs.sum(axis=-1) + np.log(
        [max(singles[n].weight, 1e-12) for n in known.suspect.tolist()]
    )
    order = np.argsort(-partial, kind="stable").tolist()
    rows = list({int(known.suspect[row]): row for row in reversed(order)}.values())
    rows.sort(key=lambda row: -partial[row])
    chosen = rows[:1]
    best = known.logs[chosen].max(axis=0)
    while len(chosen) < min(LEADING, len(rows)):
        left = [row for row in rows if row not in chosen]
        gain = np.maximum(known.logs[left] - best, 0.0).sum(axis=-1)
        chosen.append(left[int(np.argmax(gain))])
        best = np.maximum(best, known.logs[chosen[-1]])
    chosen += [row for row in rows if row not in chosen]
    return [int(known.suspect[row]) for row in chosen[:OTHERS]]


def with_leading(
    singles: Sequence[Suspect], known: Alone, partners: Sequence[int], tried: Sequence[Pair]
) -> list[Pair]:
    """The leading faults with all others, but for what has been tried; values as they fit alone.

    :param partners: numbers of single faults, the leading ones first
    """
    wanted = [(a, b) for a in partners[:LEADING] for b in partners]
    return _apart(singles, known, wanted, tried)


def wider(
    singles: Sequence[Suspect], known: Alone, partners: Sequence[int], tried: Sequence[Pair]
) -> list[Pair]:
    """More of the leading faults with all others, and every two without an unknown value.

    These cost least to solve, and two of them may do what neither does alone: both of two ways that the
    current has are open.
    """
    plain = [one for one in partners if singles[one].unknown is None]
    wanted = [(a, b) for a in partners[:MORE_LEADING] for b in partners]
    return _apart(singles, known, [*wanted, *combinations(plain, 2)], tried)


def _apart(
    singles: Sequence[Suspect], known: Alone, wanted: Iterable[tuple[int, int]], tried: Sequence[Pair]
) -> list[Pair]:
    """Pairs of faults on different parts, each once, but for what has been tried."""
    row = {int(n): place for place, n in reversed(list(enumerate(known.suspect)))}
    met = {(one.one, one.other) for one in tried}
    found: dict[tuple[int, int], Pair] = {}
    for a, b in wanted:
        one, other = min(a, b), max(a, b)
        apart = singles[one].faults[0].where != singles[other].faults[0].where
        if apart and (one, other) not in met:
            values = (
                float(known.values[row[n]]) if n in row else singles[n].faults[0].typical
                for n in (one, other)
            )
            found.setdefault((one, other), Pair(one, other, *values))
    return list(found.values())


def overloading(singles: Sequence[Suspect], coarse: Coarse, partners: Sequence[int]) -> list[int]:
    """The faults that blow a fuse in use, but for those among the partners.

    Alone each reads like the blown fuse, whatever it is. Where another fault keeps the current off it
    the fuse stays whole, and each reads quite differently.
    """
    return [
        number
        for number, one in enumerate(singles)
        if one.faults
        and one.fuses == 1.0
        and one.faults[0].overloads
        and number not in partners
        and coarse.blown(number, one.faults[0].typical)
    ]
