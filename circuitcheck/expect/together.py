"""Several faults at once, put together from their pieces, so that each piece is laid out once.

Two faults that alter different branches are two rows of their own that act together. Where they alter
the same branch the second acts on what the first has left, and both are a piece by themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.chosen import ChosenFault, Mark, combined
from circuitcheck.expect.service import blown_in, service_setups
from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import Branches, Change
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool, Index


@dataclass(frozen=True)
class _Piece:
    """A change with the rows that it has been given.

    :param size: how many: as many as there are values to try, or one
    """

    change: Change
    first: int
    size: int


_NONE = _Piece({}, -1, 1)


class Together:
    """The changes of one bench, and which two of their rows make each row of a trial.

    :param swapped: parts replaced by known good ones
    """

    def __init__(self, branches: Branches, swapped: Sequence[str] = ()) -> None:
        self.branches = branches
        self.swapped = swapped
        self.changes: list[Change] = []
        self.counts: list[int] = []
        self._pieces: dict[tuple[Mark, ...], _Piece] = {}
        self._end = 0
        self._rows: tuple[list[int], list[int]] = [], []

    def add(self, faults: Sequence[ChosenFault], count: int) -> None:
        """Put the rows of a trial of some values after those that are there.

        Faults that alter the same branch act one on what the other has left, and are a piece of
        their own.
        """
        pieces = [self._piece(one) for one in (faults[:-1], faults[-1:]) if one]
        if len(pieces) != 2 or pieces[0].change.keys() & pieces[1].change.keys():
            pieces = [self._piece(faults), _NONE]
        for rows, one in zip(self._rows, pieces, strict=True):
            rows.extend(range(one.first, one.first + count) if one.size > 1 else [one.first] * count)

    @property
    def rows(self) -> Index:
        """The rows of all trials (rows, 2), as :meth:`.Bench.run` takes them."""
        return np.array(self._rows, dtype=np.intp).T

    def add_pairs(self, faults: Sequence[ChosenFault], pairs: Index) -> None:
        """Put a row for each of many pairs after those that are there.

        :param faults: each with one value
        :param pairs: their numbers, two by two (pairs, 2)
        """
        pieces = [self._piece([one]) for one in faults]
        rows = np.array([one.first for one in pieces], dtype=np.intp)[pairs]
        meet = _meeting([one.change for one in pieces])[pairs[:, 0], pairs[:, 1]]
        for row in np.flatnonzero(meet).tolist():
            rows[row] = self._piece([faults[one] for one in pairs[row].tolist()]).first, -1
        for known, more in zip(self._rows, rows.T.tolist(), strict=True):
            known.extend(more)

    def _piece(self, faults: Sequence[ChosenFault]) -> _Piece:
        key = tuple(one.mark for one in faults)
        if key not in self._pieces:
            change = combined(faults, self.branches, self.swapped)
            size = max((np.size(one.value) for one in faults), default=1)
            self._pieces[key] = _Piece(change, self._end, size)
            self.changes.append(change)
            self.counts.append(size)
            self._end += size
        return self._pieces[key]


def _meeting(changes: Sequence[Change]) -> Bool:
    """Which changes alter the same branch as which others (changes, changes)."""
    keys: dict[str, int] = {}
    altered = [
        (n, keys.setdefault(key, len(keys))) for n, change in enumerate(changes) for key in change
    ]
    table = np.zeros((len(changes), len(keys)), dtype=np.float32)  # of these a product is quickest
    table[tuple(np.array(altered, dtype=np.intp).reshape(-1, 2).T)] = 1
    return np.asarray(table @ table.T > 0)


def blown_together(
    harness: Harness, put: Callable[[Together], None], fuses: Array
) -> list[frozenset[str]]:
    """For each row of several faults at once the fuses that it blows in use.

    :param put: puts the rows together for one condition of use
    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    """
    found: list[set[str]] = [set() for _ in fuses]
    if found:
        for setup in service_setups(harness):
            circuit = build_circuit(harness, setup)
            laid_out = Together(circuit.branches)
            put(laid_out)
            blown = blown_in(circuit, laid_out.changes, laid_out.counts, fuses, laid_out.rows)
            for known, more in zip(found, blown, strict=True):
                known.update(more)
    return [frozenset(one) for one in found]
