"""Trials of several faults put together from their pieces, so that each piece is laid out once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.parts.fault import Branches, Change
from circuitcheck.solve.wiring import Index

Key = tuple[tuple[str, float | bytes], ...]


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

    def __init__(self, branches: Branches, swapped: Sequence[str]) -> None:
        self.branches = branches
        self.swapped = swapped
        self.changes: list[Change] = []
        self.counts: list[int] = []
        self._pieces: dict[Key, _Piece] = {}
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

    def _piece(self, faults: Sequence[ChosenFault]) -> _Piece:
        key = tuple((one.mode.spec, _mark(one)) for one in faults)
        if key not in self._pieces:
            change = combined(faults, self.branches, self.swapped)
            size = max((np.size(one.value) for one in faults), default=1)
            self._pieces[key] = _Piece(change, self._end, size)
            self.changes.append(change)
            self.counts.append(size)
            self._end += size
        return self._pieces[key]


def _mark(fault: ChosenFault) -> float | bytes:
    value = fault.value
    return value.tobytes() if isinstance(value, np.ndarray) else value
