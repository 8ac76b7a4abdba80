"""Changes of one circuit as arrays: what a sweep works on.

A change whose branches hold arrays of values stands for as many rows. Everything here is said once
for the circuit and does not depend on the states of its relays; a :class:`~.sweep.Batch` puts the
states in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Array, Branch, Condition, Conductor, Source
from circuitcheck.solve.wiring import REFERENCE, Index, Wiring


@dataclass(frozen=True)
class CurveEdits:
    """Altered curves of one key: the rows that have them, and their parameters (rows, P)."""

    rows: Index
    parameters: Array


@dataclass(frozen=True)
class Changes:
    """Rows of changes.

    A *slot* is a linear branch that a row may alter or add: first those of the circuit, by their places
    in the wiring, then what the changes add, by key and ends. The last is none, from the reference to
    itself: it stands where a row has fewer edits than others.

    :param tail: node number of each slot's tail, and ``head`` of its head (slots,)
    :param conditions: of when a branch is closed, those of the circuit's contacts first
    :param slot: for each row its altered linear branches (rows, width)
    :param siemens: conductance that each has while closed [S]; 0 for one taken out (rows, width)
    :param emf: and its emf [V] (rows, width)
    :param condition: number in ``conditions`` of when it is closed (rows, width)
    :param curves: altered curves, by key
    :param added: the slots that are added under each key
    """

    wiring: Wiring
    tail: Index
    head: Index
    conditions: tuple[Condition, ...]
    slot: Index
    siemens: Array
    emf: Array
    condition: Index
    curves: dict[str, CurveEdits]
    added: dict[str, list[int]]

    @classmethod
    def of(
        cls, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int] | None = None
    ) -> Changes:
        """Lay changes out.

        An added branch that hangs on a point this circuit does not have is left out.

        :param counts: how many rows each change stands for; 1 unless told
        """
        return _Layout(wiring, changes, counts or [1] * len(changes)).done()

    def __len__(self) -> int:
        return len(self.slot)

    @property
    def none(self) -> int:
        """The slot that is no branch."""
        return len(self.tail) - 1

    def slots_of(self, key: str) -> list[int]:
        """The slots of a branch, as it is in the circuit and as it is added."""
        place = self.wiring.place.get(key)
        return [*([] if place is None else [place]), *self.added.get(key, ())]

    def take(self, rows: Index) -> Changes:
        """Some of the rows, in the order given; a row may be taken more than once."""
        if len(rows) == len(self) and np.array_equal(rows, np.arange(len(rows))):
            return self
        curves = {}
        for key, edits in self.curves.items():
            place = np.full(len(self), -1, dtype=np.intp)
            place[edits.rows] = np.arange(len(edits.rows))
            found = place[rows]
            kept = np.flatnonzero(found >= 0)
            if kept.size:
                curves[key] = CurveEdits(kept, edits.parameters[found[kept]])
        return Changes(
            self.wiring,
            self.tail,
            self.head,
            self.conditions,
            self.slot[rows],
            self.siemens[rows],
            self.emf[rows],
            self.condition[rows],
            curves,
            self.added,
        )

    def together(self, one: Index, other: Index) -> Changes:
        """Rows that each make two of these changes at once.

        :param one: rows, which must alter other branches than ``other``; that may be -1 for none
        """
        there = (other >= 0)[:, None]

        def both(array: Any, none: float) -> Any:
            return np.concatenate([array[one], np.where(there, array[other], none)], axis=1)

        curves = {}
        for key, edits in self.curves.items():
            place = np.full(len(self) + 1, -1, dtype=np.intp)  # the last for no other
            place[edits.rows] = np.arange(len(edits.rows))
            found = np.maximum(place[one], place[other])
            rows = np.flatnonzero(found >= 0)
            if rows.size:
                curves[key] = CurveEdits(rows, edits.parameters[found[rows]])
        return replace(
            self,
            slot=both(self.slot, self.none),
            siemens=both(self.siemens, 0.0),
            emf=both(self.emf, 0.0),
            condition=both(self.condition, 0),
            curves=curves,
        )


_LINEAR = (Conductor, Source)


class _Column:
    """The first linear branch that each row alters, or the second, ..."""

    def __init__(self, rows: int) -> None:
        self.slot = np.full(rows, -1)
        self.ohm = np.full(rows, math.inf)
        self.emf = np.zeros(rows)
        self.condition = np.zeros(rows, dtype=np.intp)


class _Layout:
    """The filling of the arrays."""

    def __init__(self, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int]) -> None:
        self.wiring = wiring
        self.branches = wiring.circuit.branches
        self.conditions = dict(wiring.conditions)
        self.ends: dict[tuple[str, str, str], int] = {}
        """Slots that are added, by key and ends."""
        self.rows = sum(counts)
        self.columns: list[_Column] = []
        self.curves: dict[str, list[tuple[Index, Array]]] = {}
        first = 0
        for change, count in zip(changes, counts, strict=True):
            if change:
                self._list(change, first, count)
            first += count

    def _list(self, change: Change, first: int, count: int) -> None:
        column, places = 0, self.wiring.place
        for key, new in change.items():
            place = places.get(key)
            if place is not None:
                old = self.branches[key]
                if isinstance(new, _LINEAR) and new.tail == old.tail and new.head == old.head:
                    self._fill(column, first, count, place, new)
                    column += 1
                    continue
                # A branch put between other nodes is one taken out and one added.
                self._fill(column, first, count, place, None)
                column += 1
            elif key in self.branches and not isinstance(new, _LINEAR):
                self._fill_curve(key, new, first, count)
            if isinstance(new, _LINEAR) and (slot := self._added(key, new)) is not None:
                self._fill(column, first, count, slot, new)
                column += 1

    def _fill(
        self, number: int, first: int, count: int, slot: int, new: Conductor | Source | None
    ) -> None:
        """Put one altered branch in place; None for one taken out."""
        if number == len(self.columns):
            self.columns.append(_Column(self.rows))
        column = self.columns[number]
        rows = first if count == 1 else slice(first, first + count)  # a number is put in sooner
        column.slot[rows] = slot
        if new is None:
            return
        if isinstance(new.ohm, float):
            column.ohm[rows] = new.ohm
        else:
            column.ohm[first : first + count] = new.ohm
        if isinstance(new, Source):
            column.emf[first : first + count] = new.emf
        elif new.closed_when is not ALWAYS:
            column.condition[rows] = self.conditions.setdefault(new.closed_when, len(self.conditions))

    def _added(self, key: str, new: Branch) -> int | None:
        """The slot of a branch that is added; None where the circuit has no such point."""
        nodes = self.wiring.index
        if new.tail not in nodes or new.head not in nodes:
            return None
        return self.ends.setdefault((key, new.tail, new.head), len(self.wiring.keys) + len(self.ends))

    def _fill_curve(self, key: str, new: Branch | None, first: int, count: int) -> None:
        one: Any = self.branches[key] if new is None else new
        values = np.empty((count, len(one.values)))
        for column, value in enumerate(one.values):
            values[:, column] = value
        if new is None:
            values[:, one.PARAMETERS.index("strength")] = 0.0
        self.curves.setdefault(key, []).append((np.arange(first, first + count), values))

    def done(self) -> Changes:
        curves = {
            key: CurveEdits(*(np.concatenate(one) for one in zip(*pieces, strict=True)))
            for key, pieces in self.curves.items()
        }
        added: dict[str, list[int]] = {}
        for (key, _, _), slot in self.ends.items():
            added.setdefault(key, []).append(slot)
        nodes = self.wiring.index
        tail = np.array([*(nodes[one] for _, one, _ in self.ends), REFERENCE], dtype=np.intp)
        head = np.array([*(nodes[one] for _, _, one in self.ends), REFERENCE], dtype=np.intp)
        columns = self.columns
        for one in columns:
            one.slot[one.slot < 0] = len(self.wiring.keys) + len(self.ends)
        return Changes(
            self.wiring,
            np.concatenate([self.wiring.tail, tail]),
            np.concatenate([self.wiring.head, head]),
            tuple(self.conditions),
            self._beside([one.slot for one in columns]),
            1 / self._beside([one.ohm for one in columns]),
            self._beside([one.emf for one in columns]),
            self._beside([one.condition for one in columns]),
            curves,
            added,
        )

    def _beside(self, columns: Sequence[Any]) -> Any:
        """Columns as one array (rows, width)."""
        if not columns:
            return np.zeros((self.rows, 0), dtype=np.intp)
        return columns[0][:, None] if len(columns) == 1 else np.stack(columns, axis=1)


def one_of(change: Change, place: int) -> Change:
    """The change at one place of a change whose branches hold arrays."""
    return {key: None if one is None else _picked(one, place) for key, one in change.items()}


def _picked(branch: Branch, place: int) -> Branch:
    fields = {
        name: float(value[place])
        for name in type(branch).__dataclass_fields__  # type: ignore[union-attr]
        if isinstance(value := getattr(branch, name), np.ndarray)
    }
    return replace(branch, **fields) if fields else branch  # type: ignore[type-var]
