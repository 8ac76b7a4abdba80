"""Which branches that a row takes out are all that holds a part: exact opens, told from the graph.

Such a branch carries nothing but what it holds; leaving it in is the exact limit. A motor, lamp or diode
that is open is a branch taken out like any other, and its stand-in in the network is what is left in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Array
from circuitcheck.solve.edits import Edits
from circuitcheck.solve.network import CURVE_SIEMENS, Network
from circuitcheck.solve.ports import Ports
from circuitcheck.solve.wiring import Bool, Index

_TOUCHED = 1e-6
"""Share of a current above which it passes a branch, and not only by rounding."""


@dataclass(frozen=True)
class Altered:
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


def held_by(edits: Edits, ports: Ports, curve_ports: Index) -> tuple[Bool, Index]:
    """Which edits take out what alone holds a part, and the numbers of the opened curves that do.

    :param ports: those of the slots first, then others
    :returns: (rows, width) and (rows, opened), -1 for none; of many curves none is told
    """
    network, opened, width = edits.network, _opened_curves(edits), edits.slot.shape[1]
    opens = np.zeros(len(opened), dtype=bool)
    opens[edits.removes.nonzero()[0]] = opens[(opened >= 0).nonzero()[0]] = True
    rows = np.flatnonzero(opens)  # mostly few
    found, held = np.zeros(edits.removes.shape, dtype=bool), opened[:, :0]
    if not rows.size:
        return found, held
    altered = _linear(edits, rows)
    if opened.shape[1]:
        altered = _with_curves(altered, opened[rows], curve_ports, len(network.siemens))
    alone = _bridging(network, ports, altered)
    found[rows] = alone[:, :width]
    if alone[:, width:].any():
        held = np.full(opened.shape, -1)
        held[rows] = np.where(alone[:, width:], opened[rows], -1)
    return found, held


def _linear(edits: Edits, rows: Index) -> Altered:
    """The linear branches that some rows alter."""
    slot = edits.slot[rows]
    return Altered(slot, slot, edits.removes[rows], edits.adds[rows], edits.extra_siemens[rows])


def _with_curves(altered: Altered, opened: Index, curve_ports: Index, linear: int) -> Altered:
    """The same, and the curves that are opened.

    :param opened: their numbers, -1 for none (rows, opened)
    :param linear: how many linear branches the network has
    """
    there = opened >= 0
    columns = (
        (altered.port, np.where(there, curve_ports[opened], curve_ports[0])),
        (altered.branch, linear + opened),
        (altered.removes, there),
        (altered.adds, np.zeros_like(there)),
        (altered.siemens, np.where(there, -CURVE_SIEMENS, 0.0)),
    )
    return Altered(*(np.concatenate(both, axis=1) for both in columns))


def _opened_curves(edits: Edits) -> Index:
    """Numbers of the curves that each row opens, -1 where it opens fewer than others (rows, width)."""
    network, changes = edits.network, edits.changes
    columns: list[Index] = []
    if network.has_many_curves:
        return np.empty((len(changes), 0), dtype=np.intp)
    for group in network.wiring.curves:
        strength = group.kind.PARAMETERS.index("strength")
        for place, key in enumerate(group.keys):
            number = group.columns.start + place
            if key not in changes.curves or not network.wiring.curve_conducts[number]:
                continue
            altered = changes.curves[key]
            rows = altered.rows[altered.parameters[:, strength] == 0.0]
            if rows.size:
                column = np.full(len(changes), -1, dtype=np.intp)
                column[rows] = number
                columns.append(column)
    return np.stack(columns, axis=1) if columns else np.empty((len(changes), 0), dtype=np.intp)


def _bridging(network: Network, ports: Ports, altered: Altered) -> Bool:
    """Which removals take out what alone, or once those before it are gone, holds a part."""
    removes = altered.removes
    found = np.zeros(removes.shape, dtype=bool)
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
