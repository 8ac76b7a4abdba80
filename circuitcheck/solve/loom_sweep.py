"""The rounds of a sweep on a whole loom: what its relays do next is told as soon as it is certain.

In most rounds a row only has to be known well enough to say which relays pull in and which fuse blows:
a bound on what is still missing will do (:attr:`.LoomBatch.left`). Only rows whose states have
come to rest, and that are read, are settled to the end. A row that bends more curves than are worth
settling one with the other is solved at full size on a network of its own (:mod:`.abreast`).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.loom_batch import LoomBatch
from circuitcheck.solve.network import Network, Networks
from circuitcheck.solve.rounds import Group, Next, Rested, next_states, shared_out
from circuitcheck.solve.wiring import Bool, Ends, Index, distinct

if TYPE_CHECKING:
    from circuitcheck.solve.abreast import Abreast

Look = Next | Group | Rested | Index
"""What a round says of some rows; of those of which only the numbers are told, nothing."""

MOST_LEFT_OUT = 3
"""Branches that are left out of a network so that rows can put them in."""
_CELLS = 2**20
"""Resistances between curves that are held at once, of all rows together."""
_STRAIGHT_AT_ONCE = 32768
"""Rows that bend no curve that are solved together at the most."""
FOLLOWING = 12
"""Rounds in which curves far away follow."""
_PATIENCE = 4
"""Rounds more that are waited for where more curves may be settled instead; full size costs more."""
_AT_ONCE = 2048
"""Rows that bend some that are solved together at the most."""
_FEW = 32
"""Rows that are solved with others that need more curves: calls would cost more than these curves."""
_NODES_A_ROW = 16
"""Nodes of a network that are made in the time of one row on another that does not fit it."""
NEAR = (4, 16, 48)
"""How many curves are settled with a row; those of these that are less than half of all."""
_TOGETHER = 48
"""How many are settled one with the other at the most; with more a row is solved at full size."""


_FULL = sys.maxsize
"""In place of how many curves are settled: a row is solved at full size."""


@dataclass(frozen=True)
class _Piece:
    """Rows that are to be solved on one network.

    :param near: how many curves are settled with each
    """

    network: Network
    rows: Index
    near: int


class _Waiting:
    """What is still to be solved in a round, those with the fewest curves first."""

    def __init__(self) -> None:
        self._pieces: list[_Piece] = []

    def __bool__(self) -> bool:
        return bool(self._pieces)

    def put(self, network: Network, rows: Index, near: int) -> None:
        """Add some rows; they are solved with others of their kind, if there are such."""
        for place, one in enumerate(self._pieces):
            if one.network is network and one.near == near > 0:
                self._pieces[place] = _Piece(network, np.concatenate([one.rows, rows]), near)
                return
        self._pieces.append(_Piece(network, rows, near))

    def next(self) -> _Piece:
        """Rows that are to be solved together."""
        piece = min(self._pieces, key=lambda one: one.near)
        self._pieces = [one for one in self._pieces if one is not piece]
        more = [one for one in self._pieces if one.network is piece.network and one.near <= _TOGETHER]
        if piece.near and len(piece.rows) < _FEW and more:
            joined = min(more, key=lambda one: one.near)
            self.put(piece.network, piece.rows, joined.near)
            return self.next()
        most = _at_once(piece.near)
        if len(piece.rows) > most:
            self._pieces.append(_Piece(piece.network, piece.rows[most:], piece.near))
        return _Piece(piece.network, piece.rows[:most], piece.near)


@dataclass
class LoomSweep:
    """The rows of some changes, round by round.

    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    """

    networks: Networks
    changes: Changes
    probes: Ends
    fuses: Array

    def __post_init__(self) -> None:
        count = len(self.networks.wiring.curve_keys)
        last = count if count <= _TOGETHER else _FULL
        self._sizes = (*(one for one in NEAR if 2 * one < count), last)
        self._read = len(self.probes.tail) > 0
        self._waiting = _Waiting()

    @cached_property
    def _abreast(self) -> Abreast:
        from circuitcheck.solve.abreast import Abreast  # noqa: PLC0415  (scipy is slow to import)

        return Abreast(self.changes)

    def round(self, states: Bool, rows: Index) -> Iterator[Look]:
        """One round: rows that go on, rows at rest, and rows that cannot be trusted by themselves.

        :param states: of every threshold in all rows (rows, thresholds)
        :param rows: those that are to be looked at
        """
        many = self.networks.wiring.size // _NODES_A_ROW
        for network, some in shared_out(self.networks, states[rows], many):
            self._waiting.put(network, rows[some], 0)
        full: list[_Piece] = []
        while self._waiting:
            piece = self._waiting.next()
            if piece.near == _FULL:
                full.append(piece)
            else:
                yield from self._on_ports(piece, states)
        if full:
            yield from self._at_full_size(full, states)

    def _on_ports(self, piece: _Piece, states: Bool) -> Iterator[Look]:
        """Seen from the ports of a network, with some of the curves settled."""
        rows = piece.rows
        some = self.changes.take(rows)
        batch = LoomBatch(piece.network, some, states[rows], self.probes, piece.near)
        yield from self._untrusted(piece, batch)
        going = np.flatnonzero(~batch.delicate)
        patience = _PATIENCE if piece.near < _TOGETHER else FOLLOWING
        known, rests = np.zeros((2, len(rows)), dtype=bool)
        for turn in range(FOLLOWING):
            if turn:
                batch.follow(going)
            asked = going[~known[going]]
            after = batch.next_states(asked, self.fuses[rows[asked]])
            yield Next(rows[asked[after.goes]], after.states[after.goes])
            rests[asked[after.stays]] = True
            known[asked[after.sure]] = True
            if not self._read:
                yield Rested(rows[asked[after.stays]])
            going = going[~known[going] | (rests[going] & self._read)]
            done = batch.done[going]
            if done.any():
                yield Group(rows[going[done]], going[done], batch)
            going = going[~done]
            leave = batch.astray[going] | batch.slow(going, patience)
            yield from self._try_more(piece, batch, going[leave])
            going = going[~leave]
            if not going.size:
                break
        batch.bends[going] = piece.near + 1
        yield from self._try_more(piece, batch, going)

    def _try_more(self, piece: _Piece, batch: LoomBatch, astray: Index) -> Iterator[Look]:
        """Put rows back that need more curves to be settled with them."""
        if piece.near == len(self.networks.wiring.curve_keys):
            yield piece.rows[astray]
            return
        wanted = np.maximum(batch.bends[astray], piece.near + 1)
        if piece.near:  # at full size only what has been tried with as many as are worth it
            wanted = np.minimum(wanted, max(piece.near + 1, NEAR[-1]))
        size = np.searchsorted(self._sizes[:-1], wanted)
        for one in distinct(size).tolist():
            self._waiting.put(piece.network, piece.rows[astray[size == one]], self._sizes[one])

    def _untrusted(self, piece: _Piece, batch: LoomBatch) -> Iterator[Index]:
        """Rows that lost digits: what costs them is left out of the network, and the row puts it in."""
        delicate = np.flatnonzero(batch.delicate)
        for place in sorted(set(batch.costly[delicate].tolist())):
            costly = piece.rows[delicate[batch.costly[delicate] == place]]
            if place < 0 or len(piece.network.without) == MOST_LEFT_OUT:
                # A point that cannot be trusted must not throw a relay or blow a fuse.
                yield costly
            else:
                self._waiting.put(self.networks.less(piece.network, place), costly, piece.near)

    def _at_full_size(self, pieces: Sequence[_Piece], states: Bool) -> Iterator[Look]:
        """Each row on a network of its own."""
        rows = np.concatenate([piece.rows for piece in pieces])
        of = np.repeat(np.arange(len(pieces)), [len(piece.rows) for piece in pieces])
        start = np.stack([piece.network.open_volts for piece in pieces])[of].T
        points = self._abreast.points(rows, states[rows], start)
        yield rows[~points.rested]
        firm = np.flatnonzero(points.rested)
        limits = self.networks.wiring.limits
        now, flow = states[rows[firm]], points.watched[firm]
        after = next_states(limits, now, flow, self.fuses[rows[firm]])
        yield Next(rows[firm[~after.stays]], after.states[~after.stays])
        stays = firm[after.stays]
        if stays.size and not self._read:
            yield Rested(rows[stays])
        for number in distinct(of[stays]).tolist() if self._read else ():
            mine = stays[of[stays] == number]
            yield from self._told(pieces[number], states, rows[mine], points.curves[mine])

    def _told(self, piece: _Piece, states: Bool, rows: Index, curves: Array) -> Iterator[Group | Index]:
        """Rows whose curves are known, seen from the ports of a network so that they can be read.

        :param curves: volts at every curve of each row (rows, curves) [V]
        """
        for first in range(0, len(rows), _at_once(_TOGETHER)):
            here = slice(first, first + _at_once(_TOGETHER))
            mine, some = rows[here], self.changes.take(rows[here])
            batch = LoomBatch(piece.network, some, states[mine], self.probes, _TOGETHER, curves[here])
            good = batch.done & ~batch.delicate
            yield Group(mine[good], np.flatnonzero(good), batch)
            yield mine[~good]


def _at_once(near: int) -> int:
    """Rows solved together at the most: what they need has to lie in memory."""
    if near == _FULL:
        return near
    return min(_AT_ONCE, 1 + _CELLS // near**2) if near else _STRAIGHT_AT_ONCE
