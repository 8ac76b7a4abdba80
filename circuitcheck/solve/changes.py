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
from circuitcheck.solve.wiring import Index, Wiring


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
        if len(rows) == len(self) and (rows == np.arange(len(rows))).all():
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


class _Layout:
    """What the changes alter, listed branch by branch and then put in place all at once."""

    def __init__(self, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int]) -> None:
        self.wiring = wiring
        self.branches = wiring.circuit.branches
        self.conditions = dict(wiring.conditions)
        self.ends: dict[tuple[str, str, str], int] = {}
        """Slots that are added, by key and ends."""
        self.rows = sum(counts)
        self.first: list[int] = []
        """First row of each altered branch; below how many rows it has, its column, and its slot."""
        self.count: list[int] = []
        self.column: list[int] = []
        self.slot: list[int] = []
        self.ohm: list[float] = []
        """What it comes to [ohm]; NaN for a value in each row, which follow one another in ``ranges``."""
        self.ranges: list[Array] = []
        self.emf: list[tuple[int, Any]] = []
        """Emfs, and numbers of conditions, each with the number of its altered branch: few have any."""
        self.closing: list[tuple[int, int]] = []
        self.curves: dict[str, list[tuple[int, int, list[Any]]]] = {}
        """First row, rows and parameters of each altered curve, by key."""
        first = 0
        for change, count in zip(changes, counts, strict=True):
            if change:
                self._list(change, first, count)
            first += count

    def _list(self, change: Change, first: int, count: int) -> None:
        column, places = 0, self.wiring.place
        for key, new in change.items():
            place, stays = places.get(key), False
            linear = new if isinstance(new, _LINEAR) else None
            if place is not None:
                # A branch put between other nodes is one taken out and one added.
                old = self.branches[key]
                stays = linear is not None and linear.tail == old.tail and linear.head == old.head
                self._note(first, count, column, place, linear if stays else None)
                column += 1
            elif linear is None and key in self.branches:
                self._note_curve(key, new, first, count)
            if linear is not None and not stays and (slot := self._added(key, linear)) is not None:
                self._note(first, count, column, slot, linear)
                column += 1

    def _note(
        self, first: int, count: int, column: int, slot: int, new: Conductor | Source | None
    ) -> None:
        """One altered branch; None for one taken out."""
        ohm: Any = math.inf
        if new is not None:
            ohm = new.ohm
            if isinstance(ohm, np.ndarray):
                self.ranges.append(ohm)
                ohm = math.nan
            if isinstance(new, Source):
                self.emf.append((len(self.ohm), new.emf))
            elif new.closed_when is not ALWAYS:
                number = self.conditions.setdefault(new.closed_when, len(self.conditions))
                self.closing.append((len(self.ohm), number))
        self.first.append(first)
        self.count.append(count)
        self.column.append(column)
        self.slot.append(slot)
        self.ohm.append(ohm)

    def _added(self, key: str, new: Branch) -> int | None:
        """The slot of a branch that is added; None where the circuit has no such point."""
        nodes = self.wiring.index
        if new.tail not in nodes or new.head not in nodes:
            return None
        return self.ends.setdefault((key, new.tail, new.head), len(self.wiring.keys) + len(self.ends))

    def _note_curve(self, key: str, new: Branch | None, first: int, count: int) -> None:
        one: Any = self.branches[key] if new is None else new
        values = list(one.values)
        if new is None:
            values[one.PARAMETERS.index("strength")] = 0.0
        self.curves.setdefault(key, []).append((first, count, values))

    def done(self) -> Changes:
        added: dict[str, list[int]] = {}
        for (key, _, _), slot in self.ends.items():
            added.setdefault(key, []).append(slot)
        slots = self.wiring.slots(tuple((tail, head) for _, tail, head in self.ends))
        slot, ohm, emf, condition = self._in_place()
        return Changes(
            self.wiring,
            slots.tail,
            slots.head,
            tuple(self.conditions),
            slot,
            1 / ohm,
            emf,
            condition,
            {key: _curve_edits(pieces) for key, pieces in self.curves.items()},
            added,
        )

    def _in_place(self) -> tuple[Index, Array, Array, Index]:
        """Slots, ohms, emfs and numbers of conditions, each (rows, width)."""
        shape = self.rows, max(self.column, default=-1) + 1
        slots = np.full(shape, len(self.wiring.keys) + len(self.ends))
        ohms, emf = np.full(shape, math.inf), np.zeros(shape)
        condition = np.zeros(shape, dtype=np.intp)
        if not self.slot:
            return slots, ohms, emf, condition
        each = np.repeat(np.arange(len(self.slot)), self.count)
        known = np.array(self.ohm)[each]
        if self.ranges:
            known[np.isnan(known)] = np.concatenate(self.ranges)
        cell = self._cells(each, shape[1])
        slots.reshape(-1)[cell], ohms.reshape(-1)[cell] = np.array(self.slot)[each], known
        for number, volts in self.emf:
            emf[self._where(number)] = volts
        for number, when in self.closing:
            condition[self._where(number)] = when
        return slots, ohms, emf, condition

    def _cells(self, each: Index, width: int) -> Index | slice:
        """Where in an array (rows, width) the rows of the altered branches lie, one after the other.

        :param each: the number of the altered branch of each
        """
        if width == 1 and len(each) == self.rows:
            return slice(None)  # they are in order, and every row has one
        first, count = np.array(self.first), np.array(self.count)
        row = np.arange(len(each)) + (first - np.cumsum(count) + count)[each]
        return np.asarray(row * width + np.array(self.column)[each])

    def _where(self, number: int) -> tuple[slice, int]:
        """Rows and column of an altered branch."""
        first = self.first[number]
        return slice(first, first + self.count[number]), self.column[number]


def _curve_edits(pieces: Sequence[tuple[int, int, list[Any]]]) -> CurveEdits:
    """Altered curves of one key, from their first rows, numbers of rows, and parameters."""
    rows = [row for first, count, _ in pieces for row in range(first, first + count)]
    parameters, start = np.empty((len(rows), len(pieces[0][2]))), 0
    for _, count, values in pieces:
        for column, one in enumerate(values):
            parameters[start : start + count, column] = one
        start += count
    return CurveEdits(np.array(rows, dtype=np.intp), parameters)


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
