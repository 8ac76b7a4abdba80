"""Changes of one circuit as arrays: what a sweep works on.

A change whose branches hold arrays of values stands for as many rows. Everything here is said once
for the circuit and does not depend on the states of its relays; a :class:`~.sweep.Batch` puts the
states in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Array, Branch, Condition, Conductor, Source
from circuitcheck.solve.wiring import Index, Wiring


@dataclass(frozen=True)
class CurveEdits:
    """Altered curves of one key.

    :param rows: the rows that have them, and ``parameters`` (rows, P)
    :param terms: what their law is written in (terms, rows)
    """

    rows: Index
    parameters: Array
    terms: Array

    def picked(self, rows: Index, found: Index) -> CurveEdits:
        """Some of them, each for another row.

        :param rows: that row, and ``found`` the place of each among these
        """
        return CurveEdits(rows, self.parameters[found], self.terms[:, found])


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

    @cached_property
    def _curve_places(self) -> dict[str, Index]:
        """For each altered curve where each row is in its edits, -1 for nowhere, as is a last row."""
        found = {}
        for key, edits in self.curves.items():
            found[key] = place = np.full(len(self) + 1, -1, dtype=np.intp)
            place[edits.rows] = np.arange(len(edits.rows))
        return found

    def take(self, rows: Index) -> Changes:
        """Some of the rows, in the order given; a row may be taken more than once."""
        if len(rows) == len(self) and (rows == np.arange(len(rows))).all():
            return self
        curves = {}
        for key, place in self._curve_places.items():
            found = place[rows]
            kept = (found >= 0).nonzero()[0]
            if kept.size:
                curves[key] = self.curves[key].picked(kept, found[kept])
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
        for key, place in self._curve_places.items():
            found = np.maximum(place[one], place[other])
            rows = np.flatnonzero(found >= 0)
            if rows.size:
                curves[key] = self.curves[key].picked(rows, found[rows])
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
    """The first linear branch that each change alters, or the second, ...

    ``slot`` is -1 for none, ``ohm`` NaN where rows have a value each: these lie one after the other in
    ``ranges``. ``emf`` and ``closing`` say of which changes something else is to be noted.
    """

    def __init__(self, changes: int) -> None:
        self.slot = [-1] * changes
        self.ohm = [math.inf] * changes
        self.ranges: list[Array] = []
        self.emf: list[tuple[int, Any]] = []
        self.closing: list[tuple[int, int]] = []

    def put(self, number: int, slot: int, new: Conductor | Source) -> None:
        """Put the altered branch of a change in place."""
        self.slot[number] = slot
        ohm: Any = new.ohm
        if isinstance(ohm, np.ndarray):
            self.ranges.append(ohm)
            ohm = math.nan
        self.ohm[number] = ohm

    def slots(self, each: Index, none: int) -> Index:
        """The slot in each row (rows,).

        :param each: the number of the change of each row, and ``none`` what stands where it has none
        """
        found = np.array(self.slot)[each]
        found[found < 0] = none
        return found

    def ohms(self, each: Index) -> Array:
        """The resistance in each row (rows,) [ohm]."""
        found: Array = np.array(self.ohm)[each]
        if self.ranges:
            found[np.isnan(found)] = np.concatenate(self.ranges)
        return found


class _Layout:
    """What the changes alter, listed change by change, and then put in place all at once."""

    def __init__(self, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int]) -> None:
        self.wiring = wiring
        self.branches = wiring.circuit.branches
        self.conditions = dict(wiring.conditions)
        self.ends: dict[tuple[str, str, str], int] = {}
        """Slots that are added, by key and ends."""
        self.counts = counts
        self.columns: list[_Column] = []
        self.curves: dict[str, list[tuple[int, int, tuple[Any, ...]]]] = {}
        """First row, number of rows and parameters of each altered curve, by key."""
        first = 0
        for number, (change, count) in enumerate(zip(changes, counts, strict=True)):
            if change:
                self._list(change, number, first)
            first += count

    def _list(self, change: Change, number: int, first: int) -> None:
        column, places = 0, self.wiring.place
        for key, new in change.items():
            place = places.get(key)
            linear = new if isinstance(new, _LINEAR) else None
            if place is not None:
                old = self.branches[key]
                # A branch put between other nodes is one taken out and one added.
                stays = linear is not None and linear.tail == old.tail and linear.head == old.head
                self._note(column, number, place, linear if stays else None)
                column += 1
                if stays:
                    continue
            elif linear is None and key in self.branches:
                self._note_curve(key, new, first, self.counts[number])
            if linear is not None and (slot := self._added(key, linear)) is not None:
                self._note(column, number, slot, linear)
                column += 1

    def _note(self, place: int, number: int, slot: int, new: Conductor | Source | None) -> None:
        """One altered branch of a change; None for one taken out."""
        if place == len(self.columns):
            self.columns.append(_Column(len(self.counts)))
        column = self.columns[place]
        if new is None:
            column.slot[number] = slot
            return
        column.put(number, slot, new)
        if isinstance(new, Source):
            column.emf.append((number, new.emf))
        elif new.closed_when is not ALWAYS:
            when = self.conditions.setdefault(new.closed_when, len(self.conditions))
            column.closing.append((number, when))

    def _added(self, key: str, new: Branch) -> int | None:
        """The slot of a branch that is added; None where the circuit has no such point."""
        nodes = self.wiring.index
        if new.tail not in nodes or new.head not in nodes:
            return None
        return self.ends.setdefault((key, new.tail, new.head), len(self.wiring.keys) + len(self.ends))

    def _note_curve(self, key: str, new: Branch | None, first: int, count: int) -> None:
        one: Any = self.branches[key] if new is None else new
        values = one.values
        if new is None:
            off = one.PARAMETERS.index("strength")
            values = (*values[:off], 0.0, *values[off + 1 :])
        self.curves.setdefault(key, []).append((first, count, values))

    def done(self) -> Changes:
        added: dict[str, list[int]] = {}
        for (key, _, _), slot in self.ends.items():
            added.setdefault(key, []).append(slot)
        slots = self.wiring.slots(tuple((tail, head) for _, tail, head in self.ends))
        each = np.repeat(np.arange(len(self.counts)), self.counts)
        shape, none = (len(each), len(self.columns)), len(slots.tail) - 1
        emf, condition = np.zeros(shape), np.zeros(shape, dtype=np.intp)
        for place, column in enumerate(self.columns):
            for number, volts in column.emf:
                emf[each == number, place] = volts
            for number, when in column.closing:
                condition[each == number, place] = when
        return Changes(
            self.wiring,
            slots.tail,
            slots.head,
            tuple(self.conditions),
            _beside([one.slots(each, none) for one in self.columns], shape),
            1 / _beside([one.ohms(each) for one in self.columns], shape),
            emf,
            condition,
            self._curve_edits(),
            added,
        )

    def _curve_edits(self) -> dict[str, CurveEdits]:
        """The altered curves by key; the terms of all of a kind are worked out together."""
        kinds: dict[type[Branch], list[str]] = {}
        for key in self.curves:
            kinds.setdefault(type(self.branches[key]), []).append(key)
        found = {}
        for kind, keys in kinds.items():
            parameters = [_parameters(self.curves[key]) for key in keys]
            terms, end = kind.terms(np.concatenate(parameters)), 0  # type: ignore[union-attr]
            for key, own in zip(keys, parameters, strict=True):
                rows = [
                    row for first, count, _ in self.curves[key] for row in range(first, first + count)
                ]
                end += len(rows)
                mine = terms[:, end - len(rows) : end]
                found[key] = CurveEdits(np.array(rows, dtype=np.intp), own, mine)
        return found


def _parameters(pieces: Sequence[tuple[int, int, tuple[Any, ...]]]) -> Array:
    """The parameters of the altered curves of one key (rows, P)."""
    found, start = np.empty((sum(count for _, count, _ in pieces), len(pieces[0][2]))), 0
    for _, count, values in pieces:
        for column, one in enumerate(values):
            found[start : start + count, column] = one
        start += count
    return found


def _beside(columns: Sequence[NDArray[Any]], shape: tuple[int, int]) -> NDArray[Any]:
    """Columns as one array (rows, width)."""
    if len(columns) == 1:
        return columns[0][:, None]
    return np.stack(columns, axis=1) if columns else np.zeros(shape, dtype=np.intp)


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
