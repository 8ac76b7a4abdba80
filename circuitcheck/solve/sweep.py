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

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Array
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.loom_sweep import MOST_LEFT_OUT, Look, LoomSweep
from circuitcheck.solve.network import MANY_CURVES, Networks
from circuitcheck.solve.rounds import Group, Next, Rested, next_states, shared_out
from circuitcheck.solve.wiring import Bool, Ends, Index

_AT_ONCE = 2048
"""Rows solved together at the most."""


@dataclass(frozen=True)
class Settled:
    """Where the states of all changes came to.

    :param groups: rows at rest; of many curves and nothing to be read, none
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
    circuit, ends = networks.circuit, networks.wiring.ends(probes)
    states, waiting = _at_first(circuit, len(changes), blown), np.arange(len(changes))
    limits = np.ones(len(changes)) if fuses is None else fuses
    look: LoomSweep | _Small
    if len(networks.wiring.curve_keys) > MANY_CURVES:
        look = LoomSweep(networks, changes, ends, limits)
    else:
        look = _Small(networks, changes, ends, limits)
    done: list[Group] = []
    unsure: list[Index] = [waiting[:0]]
    rings: list[Index] = [waiting[:0]]
    been: list[NDArray[np.uint8]] | None = [] if networks.wiring.limits.relays.size else None
    """States of all rows at the beginning of each round, packed; a fuse that has blown stays so."""
    for _ in range(2 * len(circuit.thresholds) + 4):
        if not waiting.size:
            break
        if been is not None:
            been.append(np.packbits(states, axis=1))
        moved: list[Index] = [waiting[:0]]
        for found in look.round(states, waiting):
            if isinstance(found, Next):
                states[found.rows] = found.states
                going = found.rows
                if been is not None:
                    ring = _been_before(been, going, states)
                    rings.append(going[ring])
                    going = going[~ring]
                moved.append(going)
            elif isinstance(found, Group):
                done.append(found)
            elif not isinstance(found, Rested):
                unsure.append(found)
        waiting = np.concatenate(moved)
    return Settled(done, states, np.concatenate(rings), np.concatenate([waiting, *unsure]))


def _at_first(circuit: Circuit, rows: int, blown: Sequence[frozenset[str]] | None) -> Bool:
    """The states of all rows before power comes on (rows, thresholds)."""
    begin = circuit.initial_states()
    states = np.empty((rows, len(begin)), dtype=bool)
    states[:] = list(begin.values())
    if blown is not None and any(blown):
        kinds = {already: number for number, already in enumerate(set(blown))}
        each = np.array([[name in already for name in begin] for already in kinds], dtype=bool)
        states |= each.reshape(len(kinds), len(begin))[[kinds[already] for already in blown]]
    return states


@dataclass
class _Small:
    """The rows of some changes of a circuit with few curves, round by round; see :class:`.LoomSweep`."""

    networks: Networks
    changes: Changes
    probes: Ends
    fuses: Array

    def round(self, states: Bool, waiting: Index) -> Iterator[Look]:
        """One round: rows that go on, rows at rest, and rows that cannot be trusted by themselves."""
        limits = self.networks.wiring.limits
        now = states[waiting]  # a copy: the rows are moved on meanwhile
        for group in _solved(self.networks, self.changes.take(waiting), now, self.probes):
            if not isinstance(group, Group):
                yield waiting[group]
                continue
            batch, local = group.batch, group.local
            rows = waiting[group.rows]
            some = slice(None) if len(local) == len(batch) else local
            after = next_states(limits, batch.states[some], batch.watched_flow(some), self.fuses[rows])
            if after.stays.all():
                yield Group(rows, local, batch)
                continue
            if after.stays.any():
                yield Group(rows[after.stays], local[after.stays], batch)
            yield Next(rows[~after.stays], after.states[~after.stays])


def _solved(networks: Networks, changes: Changes, states: Bool, probes: Ends) -> Iterator[Group | Index]:
    """The rows solved in their states; those that cannot be trusted by themselves."""
    left = list(shared_out(networks, states, networks.wiring.size))
    while left:
        network, rows = left.pop()
        if len(rows) > _AT_ONCE:
            left.append((network, rows[_AT_ONCE:]))
            rows = rows[:_AT_ONCE]
        batch = Batch(network, changes.take(rows), states[rows], probes)
        astray, delicate = batch.astray, batch.delicate & ~batch.astray
        trusted = ~(astray | delicate)
        if trusted.all():
            yield Group(rows, np.arange(len(rows)), batch)
            continue
        if trusted.any():
            yield Group(rows[trusted], np.flatnonzero(trusted), batch)
        if astray.any():
            yield rows[astray]
        # What costs a row its digits is left out of the network, and the row puts it in.
        for place in sorted(set(batch.costly[delicate].tolist())):
            costly = rows[delicate & (batch.costly == place)]
            if place < 0 or len(network.without) == MOST_LEFT_OUT:
                # A point that cannot be trusted must not throw a relay or blow a fuse.
                yield costly
            else:
                left.append((networks.less(network, place), costly))


def _been_before(been: Sequence[NDArray[np.uint8]], rows: Index, states: Bool) -> Bool:
    """Whether rows come back to states in which they have been: they buzz."""
    now = np.packbits(states[rows], axis=1)
    found = np.zeros(len(rows), dtype=bool)
    for one in been:
        found |= np.all(one[rows] == now, axis=1)
    return found
