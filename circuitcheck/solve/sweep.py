"""One circuit under thousands of small changes, each followed until its relays are at rest.

Rows that share a combination of states are solved together (:mod:`.batch`), those that few share as
edits of a network near theirs. To open a branch that alone stands before nearly nothing costs
digits: such rows are solved from a network without it. What is still unsure, or does not come to
rest, is handed back, to be solved one by one at full size.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.edits import alike_rows
from circuitcheck.solve.loom_batch import LoomBatch
from circuitcheck.solve.network import MANY_CURVES, Network, Networks
from circuitcheck.solve.wiring import Bool, Ends, Index, distinct

_MOST_LEFT_OUT = 3
"""Branches that are left out of a network so that rows can put them in."""

_AT_ONCE = 2048
"""Rows solved together at the most."""
_CELLS = 2**20
"""Resistances between curves that are held at once, of all rows together."""
_STRAIGHT_AT_ONCE = 32768
"""The same of rows that bend no curve."""
_FAR_APART = 16
"""States above which a network of one's own costs less than to make so many edits of another."""
_NODES_A_ROW = 16
"""Nodes of a large network that are made in the time of one row on another that does not fit it."""
_NEAR = (2, 6, 16, 48, 144, 432)
"""Of many curves, how many are settled with a row; all if those of these are too few that are less than
half of them."""


@dataclass
class Group:
    """Rows of a sweep that came to rest in one batch.

    :param rows: their numbers in the sweep
    :param local: their numbers in the batch
    """

    rows: Index
    local: Index
    batch: Batch


@dataclass(frozen=True)
class Settled:
    """Where the states of all changes came to.

    :param groups: rows at rest
    :param states: of every threshold in each row, where it came to (rows, thresholds)
    :param buzzing: rows whose states come round again for ever
    :param unsure: rows that lost too many digits to be trusted; to be solved at full size
    """

    groups: list[Group]
    states: Bool
    buzzing: Index
    unsure: Index


def settle(
    networks: Networks,
    changes: Changes,
    probes: Sequence[tuple[str, str]],
    blown: Sequence[frozenset[str]] | None = None,
    fuses: Array | None = None,
) -> Settled:
    """Follow the states of every change to rest.

    :param blown: for each change the fuses that have blown in service
    :param fuses: for each change, by how much every fuse opens above its usual limit [1]
    """
    circuit = networks.circuit
    names = list(circuit.thresholds)
    begin = circuit.initial_states()
    ends = networks.wiring.ends(probes)
    states = np.tile(np.array([begin[name] for name in names], dtype=bool), (len(changes), 1))
    if blown is not None:
        kinds = {already: number for number, already in enumerate(set(blown))}
        each = np.array([[name in already for name in names] for already in kinds], dtype=bool)
        states |= each.reshape(len(kinds), len(names))[[kinds[already] for already in blown]]
    waiting = np.arange(len(changes))
    done: list[Group] = []
    unsure: list[Index] = []
    rings: list[Index] = []
    been: list[NDArray[np.uint8]] = []
    """States of all rows at the beginning of each round, packed."""
    for _ in range(2 * len(names) + 4):
        if not waiting.size:
            break
        been.append(np.packbits(states, axis=1))
        moved: list[Index] = []
        for group in _solved(networks, changes, states, waiting, ends):
            if not isinstance(group, Group):
                unsure.append(group)
                continue
            batch, rows = group.batch, group.rows
            limit = np.ones(len(rows)) if fuses is None else fuses[rows]
            after, rest = _after(group, limit)
            if rest.any():
                done.append(Group(rows[rest], group.local[rest], batch))
            going = rows[~rest]
            states[going] = after[~rest]
            ring = _been_before(been, going, states)
            rings.append(going[ring])
            moved.append(going[~ring])
        waiting = np.concatenate(moved) if moved else waiting[:0]
    none = waiting[:0]
    return Settled(done, states, np.concatenate([none, *rings]), np.concatenate([waiting, *unsure]))


def _solved(
    networks: Networks, changes: Changes, states: Bool, waiting: Index, probes: Ends
) -> Iterator[Group | Index]:
    """The rows solved in their states; those that cannot be trusted by themselves."""
    count = len(networks.wiring.curve_keys)
    sizes = (*(one for one in _NEAR if 2 * one < count), count)
    left = [(network, rows, 0) for network, rows in _shared_out(networks, states, waiting)]
    while left:
        network, rows, near = left.pop()
        most = _at_once(network, near)
        if len(rows) > most:
            left.append((network, rows[most:], near))
            rows = rows[:most]
        if network.has_many_curves:
            batch: Batch = LoomBatch(network, changes.take(rows), states[rows], probes, near)
        else:
            near, batch = count, Batch(network, changes.take(rows), states[rows], probes)
        astray, delicate = batch.astray, batch.delicate & ~batch.astray
        trusted = np.flatnonzero(~astray & ~delicate)
        if trusted.size:
            yield Group(rows[trusted], trusted, batch)
        if astray.any() and near >= count:
            yield rows[astray]
        elif astray.any():
            lost, wanted = rows[astray], np.maximum(batch.bends[astray], near + 1)
            size = np.searchsorted(sizes[:-1], wanted)
            left += [(network, lost[size == one], sizes[one]) for one in distinct(size).tolist()]
        # What costs a row its digits is left out of the network, and the row puts it in.
        for place in sorted(set(batch.costly[delicate].tolist())):
            costly = rows[delicate & (batch.costly == place)]
            if place < 0 or len(network.without) == _MOST_LEFT_OUT:
                # A point that cannot be trusted must not throw a relay or blow a fuse.
                yield costly
            else:
                left.append((networks.less(network, place), costly, near))


def _at_once(network: Network, near: int) -> int:
    """Rows solved together at the most: what they need has to lie in memory."""
    if not network.has_many_curves:
        return _AT_ONCE
    return min(_AT_ONCE, 1 + _CELLS // near**2) if near else _STRAIGHT_AT_ONCE


def _shared_out(networks: Networks, states: Bool, rows: Index) -> Iterator[tuple[Network, Index]]:
    """The rows by the network that they are solved from.

    A combination of states that many rows share has its own; making it costs about as much as a
    row for each node, or, where a row settles with many curves, for each of some nodes. The others
    differ by a few contacts from one that is there.
    """
    wiring = networks.wiring
    many = wiring.size // (_NODES_A_ROW if len(wiring.curve_keys) > MANY_CURVES else 1)
    strays: dict[tuple[int, int], tuple[Network, list[Index]]] = {}
    for group in alike_rows(states, rows):
        if len(group) >= many:
            yield networks.of(states[group[0]]), group
        else:
            network = networks.near(states[group[0]])
            # Rows that differ by many states would widen the arrays of those that differ by few.
            apart = int(np.sum(network.state_row != states[group[0]]))
            if apart > _FAR_APART:
                yield networks.of(states[group[0]]), group
                continue
            key = id(network), apart.bit_length()
            strays.setdefault(key, (network, []))[1].append(group)
    for network, groups in strays.values():
        yield network, np.concatenate(groups)


def _been_before(been: Sequence[NDArray[np.uint8]], rows: Index, states: Bool) -> Bool:
    """Whether rows come back to states in which they have been: they buzz."""
    now = np.packbits(states[rows], axis=1)
    found = np.zeros(len(rows), dtype=bool)
    for one in been:
        found |= np.all(one[rows] == now, axis=1)
    return found


def _after(group: Group, fuses: Array) -> tuple[Bool, Bool]:
    """The next states of all rows, by the same rule as ``states.next_states``, and which stay."""
    batch, local = group.batch, group.local
    if not batch.network.has_many_curves:
        return _after_flow(batch, local, fuses)
    states = batch.states[local]
    after = states.copy()
    calm = batch.network.calm(float(fuses.min(initial=1.0)))
    as_sound = (batch.moved_most[local] < calm.volts) & ~batch.alters_watched[local]
    as_sound &= batch.stands_as_network[local]
    after[as_sound] = calm.after
    moved = np.flatnonzero(~as_sound)
    if moved.size:
        after[moved], _ = _after_flow(batch, local[moved], fuses[moved])
    return after, np.all(after == states, axis=1)


def _after_flow(batch: Batch, local: Index, fuses: Array) -> tuple[Bool, Bool]:
    """The same of some rows of a batch, by the currents that the thresholds watch."""
    rows = slice(None) if len(local) == len(batch) else local
    states, wiring = batch.states[rows], batch.network.wiring
    limits, fuse = wiring.limits, wiring.limits.latching
    size = np.zeros((states.shape[1], len(states)))  # rows last: they are many
    size[limits.watching] = np.abs(batch.watched_flow(rows).T)
    after, relay = states.copy(), np.flatnonzero(~fuse)
    amps, was = size[relay], states.T[relay]
    after[:, relay] = np.where(was, amps > limits.off[relay], amps >= limits.on[relay]).T
    still = np.all(after[:, relay] == states[:, relay], axis=1)
    most = limits.on[fuse] * fuses
    over = size[fuse] >= most
    blows = np.flatnonzero(over.any(axis=0) & still)
    if blows.size:
        over = over[:, blows] & ~states[blows][:, fuse].T
        share = np.where(over, size[fuse][:, blows] / most[:, blows], 0.0)
        # Of equals the last: a lead's fuse comes after those of the vehicle.
        last = np.argmax((over & (share >= 0.999 * share.max(axis=0)))[::-1], axis=0)
        some = over.any(axis=0)
        after[blows[some], np.flatnonzero(fuse)[::-1][last[some]]] = True
        still[blows[some]] = False
    return after, still
