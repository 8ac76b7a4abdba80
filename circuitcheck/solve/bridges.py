"""Which branches that a row takes out are all that holds a part: exact opens, told from the graph.

Such a branch carries nothing but what it holds; leaving it in is the exact limit. A motor, lamp or diode
that is open is a branch taken out like any other, and its stand-in in the network is what is left in.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Array
from circuitcheck.solve.edits import Edits
from circuitcheck.solve.network import CURVE_SIEMENS, Network
from circuitcheck.solve.ports import Ports
from circuitcheck.solve.wiring import Bool, Index, distinct

_TOUCHED = 1e-6
"""Share of a current above which it passes a branch, and not only by rounding."""


class Altered(NamedTuple):
    """What each row takes out and adds, all (rows, width).

    :param port: of each branch; there is nothing where the row has fewer than others
    :param branch: its number in the network, the linear ones first, then the curves; any if it is added
    :param removes: where nothing is left of a branch, and ``adds`` where nothing conducted before
    :param siemens: what is added to the network [S]
    """

    port: Index
    branch: Index
    removes: Bool
    adds: Bool
    siemens: Array


Held = tuple[tuple[Index, int], ...]
"""Rows, and the number of an open curve that alone holds a part in them."""


def held_by(edits: Edits, ports: Ports, curve_ports: Index) -> tuple[Bool, Held]:
    """Which edits take out what alone holds a part (rows, width), and which opened curves do.

    :param ports: those of the slots first, then others
    :returns: of a network of many curves none of these is told
    """
    network, slot = edits.network, edits.slot
    every = Altered(slot, slot, edits.removes, edits.adds, edits.extra_siemens)
    found, width = _bridging(network, ports, every), slot.shape[1]
    opened = {} if network.has_many_curves else _opened_curves(edits)
    if not opened:
        return found, ()
    rows = distinct(np.concatenate(list(opened.values())))
    numbers = list(opened)
    there = np.stack([np.isin(rows, opened[number]) for number in numbers], axis=1)
    port = np.broadcast_to(curve_ports[numbers], there.shape)
    branch = np.broadcast_to(len(network.siemens) + np.array(numbers), there.shape)
    columns = (port, branch, there, np.zeros_like(there), np.where(there, -CURVE_SIEMENS, 0.0))
    some = Altered(
        *(np.concatenate([own[rows], more], axis=1) for own, more in zip(every, columns, strict=True))
    )
    with_curves = _bridging(network, ports, some)
    found[rows] = with_curves[:, :width]
    held = with_curves[:, width:]
    return found, tuple(
        (rows[held[:, column]], number) for column, number in enumerate(numbers) if held[:, column].any()
    )


def _opened_curves(edits: Edits) -> dict[int, Index]:
    """The rows that open a curve, by its number, if it may be all that holds something there."""
    network, changes = edits.network, edits.changes
    found: dict[int, Index] = {}
    for group in network.wiring.curves:
        strength = group.kind.PARAMETERS.index("strength")
        for place, key in enumerate(group.keys):
            number = group.columns.start + place
            if key in changes.curves and network.wiring.curve_conducts[number]:
                altered = changes.curves[key]
                found[number] = altered.rows[altered.parameters[:, strength] == 0.0]
    if not found:
        return found
    gone = edits.removes.sum(axis=1)
    for rows in found.values():
        gone[rows] += 1
    linear = len(network.siemens)
    for number, rows in found.items():
        if network.words[linear + number]:  # it is in a loop: no bridge by itself
            found[number] = rows[gone[rows] > 1]
    return {number: rows for number, rows in found.items() if rows.size}


def _bridging(network: Network, ports: Ports, altered: Altered) -> Bool:
    """Which removals take out what alone, or once those before it are gone, holds a part."""
    removes = altered.removes
    found = np.zeros(removes.shape, dtype=bool)
    if not removes.any():
        return found
    word = network.words[np.where(removes, altered.branch, 0)]
    basis: list[NDArray[np.int64]] = []
    for column in range(word.shape[1]):
        gone, left = removes[:, column], word[:, column]
        for one in basis:
            left = np.minimum(left, left ^ one)
        # Nothing is left of a word that those before it make up between them.
        found[:, column] = gone & (left == 0)
        basis.append(np.where(gone, left, 0))
    _go_round(network, ports, altered, found)
    return found


def _go_round(network: Network, ports: Ports, altered: Altered, found: Bool) -> None:
    """Take back those that a branch which the row adds goes round."""
    rows = np.flatnonzero(found.any(axis=1) & altered.adds.any(axis=1))
    if not rows.size:
        return
    adds, found_here, removes = altered.adds[rows], found[rows], altered.removes[rows]
    port, island = altered.port[rows], network.island
    seen = ports.between(port[:, :, None], port[:, None, :])
    # Of what is pushed in at the ends of an added branch, how much passes what is taken out.
    passed = np.abs(altered.siemens[rows][:, :, None] * seen)
    joins = adds & (island[ports.tail[port]] != island[ports.head[port]])
    within = found_here[:, :, None] & (adds & ~joins)[:, None, :]
    passed = np.where(within, passed, 0.0)
    # One branch to another island goes round nothing. Of a branch that alone holds a part all
    # or nothing passes: it lies between the ends of what is added, or not.
    few = joins.sum(axis=1) <= 1
    one = (removes.sum(axis=1) == 1) & few
    found[rows[one]] &= ~np.any(passed[one] > 0.5, axis=2)
    touched = ~few | np.any(passed > _TOUCHED, axis=(1, 2))
    known: dict[bytes, Bool] = {}
    without: dict[frozenset[int], Joined[int]] = {}
    for row in rows[touched & ~one].tolist():
        mark = altered.port[row].tobytes() + altered.removes[row].tobytes()
        if mark not in known:
            gone = frozenset(altered.branch[row, altered.removes[row]].tolist())
            if gone not in without:
                without[gone] = network.joined(gone)
            known[mark] = _apart(ports, altered, row, without[gone])
        found[row] = known[mark]


def _apart(ports: Ports, altered: Altered, row: int, without: Joined[int]) -> Bool:
    """The same of one row by the graph itself.

    :param without: what is joined when all that the row removes is gone, and nothing added
    """
    removes, port = altered.removes[row], altered.port[row]
    found = np.zeros(len(removes), dtype=bool)
    tail, head = ports.tail[port].tolist(), ports.head[port].tolist()
    joined: Joined[int] = Joined()
    for column in np.flatnonzero(altered.adds[row]).tolist():
        joined.join(without.root(tail[column]), without.root(head[column]))
    for column in np.flatnonzero(removes).tolist():
        ends = without.root(tail[column]), without.root(head[column])
        found[column] = not joined.together(*ends)
        joined.join(*ends)  # left in where it is a bridge: another beside it is then none
    return found
