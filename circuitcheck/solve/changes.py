"""Changes of one circuit as arrays: what a sweep works on.

A change whose branches hold arrays of values stands for as many rows. Everything here is said once
for the circuit and does not depend on the states of its relays; a :class:`~.sweep.Batch` puts the
states in.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Array, Branch, Condition, Conductor, Source
from circuitcheck.solve.wiring import Index, Wiring


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact of the circuit: its number among the slots, when it is closed, and how well [S]."""

    slot: int
    condition: int
    siemens: float


@dataclass(frozen=True)
class CurveEdits:
    """Altered curves of one key: the rows that have them, and their parameters (rows, P)."""

    rows: Index
    parameters: Array


@dataclass(frozen=True)
class Changes:
    """Rows of changes.

    A *slot* is a linear branch that some change alters or adds, by its key and its two ends.

    :param tail: node number of each slot's tail, and ``head`` of its head (slots,)
    :param place: of each slot among the circuit's linear branches, -1 for one it adds (slots,)
    :param slot: for each row its altered linear branches, -1 where it has fewer (rows, width)
    :param siemens: conductance that each has while closed [S]; 0 for one taken out (rows, width)
    :param emf: and its emf [V] (rows, width)
    :param condition: number in ``conditions`` of when it is closed (rows, width)
    :param curves: altered curves, by key
    :param contacts: the contacts of the circuit
    :param slot_numbers: the slots of each key
    """

    wiring: Wiring
    tail: Index
    head: Index
    place: Index
    conditions: tuple[Condition, ...]
    slot: Index
    siemens: Array
    emf: Array
    condition: Index
    curves: dict[str, CurveEdits]
    contacts: tuple[Contact, ...]
    slot_numbers: dict[str, list[int]]

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

    def take(self, rows: Index) -> Changes:
        """Some of the rows, in the order given; a row may be taken more than once."""
        if len(rows) == len(self) and np.array_equal(rows, np.arange(len(self))):
            return self
        curves = {}
        for key, edits in self.curves.items():
            place = np.full(len(self), -1, dtype=np.intp)
            place[edits.rows] = np.arange(len(edits.rows))
            found = place[rows]
            kept = np.flatnonzero(found >= 0)
            if kept.size:
                curves[key] = CurveEdits(kept, edits.parameters[found[kept]])
        return replace(
            self,
            slot=self.slot[rows],
            siemens=self.siemens[rows],
            emf=self.emf[rows],
            condition=self.condition[rows],
            curves=curves,
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
            slot=both(self.slot, -1),
            siemens=both(self.siemens, 0.0),
            emf=both(self.emf, 0.0),
            condition=both(self.condition, 0),
            curves=curves,
        )


_LINEAR = (Conductor, Source)


class _Layout:
    """The filling of the arrays: what each change says is listed, and put in place all at once."""

    def __init__(self, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int]) -> None:
        self.wiring = wiring
        self.branches = wiring.circuit.branches
        self.nodes = wiring.index
        self.slots: dict[tuple[str, str, str], int] = {}
        self.where: list[tuple[int, int, int]] = []
        """Of each slot the numbers of its ends and its place, as in ``Changes``."""
        self.slot_numbers: dict[str, list[int]] = {}
        self.conditions: dict[Condition, int] = {ALWAYS: 0}
        self.rows = sum(counts)
        self.listed: list[int] = []
        """First row, how many rows, column, slot and condition of each altered linear branch in turn."""
        self.ohm: list[Any] = []
        self.emf: dict[int, Any] = {}
        """Emf of the altered branches that have one, by their number in ``ohm``."""
        self.curves: dict[str, list[tuple[Index, Array]]] = {}
        first = 0
        for change, count in zip(changes, counts, strict=True):
            if change:
                self._list(change, first, count)
            first += count

    def _list(self, change: Change, first: int, count: int) -> None:
        column, branches, nodes = 0, self.branches, self.nodes
        for key, new in change.items():
            old = branches.get(key)
            if not isinstance(old if new is None else new, _LINEAR):
                if old is not None:
                    self._fill_curve(key, old, new, slice(first, first + count))
                continue
            # A branch put between other nodes is one taken out and one added.
            if isinstance(old, _LINEAR) and (
                new is None or new.tail != old.tail or new.head != old.head
            ):
                self.listed += first, count, column, self._slot(key, old), 0
                self.ohm.append(math.inf)
                column += 1
            if isinstance(new, _LINEAR) and new.tail in nodes and new.head in nodes:
                when = 0
                if isinstance(new, Source):
                    self.emf[len(self.ohm)] = new.emf
                elif new.closed_when is not ALWAYS:
                    when = self._number(new.closed_when)
                self.listed += first, count, column, self._slot(key, new), when
                self.ohm.append(new.ohm)
                column += 1

    def _number(self, condition: Condition) -> int:
        return self.conditions.setdefault(condition, len(self.conditions))

    def _slot(self, key: str, branch: Branch) -> int:
        slot = key, branch.tail, branch.head
        number = self.slots.get(slot)
        if number is None:
            number = self.slots[slot] = len(self.slots)
            self.slot_numbers.setdefault(key, []).append(number)
            old = self.wiring.linear.get(key)
            same = old is not None and old.tail == branch.tail and old.head == branch.head
            place = self.wiring.place[key] if same else -1
            self.where.append((self.nodes[branch.tail], self.nodes[branch.head], place))
        return number

    def _fill_curve(self, key: str, old: Branch, new: Branch | None, rows: slice) -> None:
        one: Any = old if new is None else new
        values = np.empty((rows.stop - rows.start, len(one.values)))
        for column, value in enumerate(one.values):
            values[:, column] = value
        if new is None:
            values[:, one.PARAMETERS.index("strength")] = 0.0
        self.curves.setdefault(key, []).append((np.arange(rows.start, rows.stop), values))

    def done(self) -> Changes:
        first, count, column, slot, condition = np.array(self.listed, dtype=np.intp).reshape(-1, 5).T
        shape = self.rows, int(np.max(column, initial=-1)) + 1
        ends = np.cumsum(count)
        at = np.arange(ends[-1] if len(ends) else 0)
        at = (at + np.repeat(first - ends + count, count)) * shape[1] + np.repeat(column, count)

        def placed(values: Any, none: Any) -> Any:
            found = np.full(shape, none)
            found.reshape(-1)[at] = values
            return found

        curves = {
            key: CurveEdits(*(np.concatenate(one) for one in zip(*pieces, strict=True)))
            for key, pieces in self.curves.items()
        }
        contacts = tuple(self._contacts())
        tail, head, place = np.array(self.where, dtype=np.intp).reshape(-1, 3).T.copy()
        emf = np.zeros(shape)
        for number, volts in self.emf.items():
            emf.reshape(-1)[at[ends[number] - count[number] : ends[number]]] = volts
        return Changes(
            self.wiring,
            tail,
            head,
            place,
            tuple(self.conditions),
            placed(np.repeat(slot, count), -1),
            placed(1 / _spread_out(self.ohm, count), 0.0),
            emf,
            placed(np.repeat(condition, count), 0),
            curves,
            contacts,
            self.slot_numbers,
        )

    def _contacts(self) -> Iterator[Contact]:
        for place, condition in self.wiring.contacts:
            key = self.wiring.keys[place]
            siemens = float(self.wiring.siemens[place])
            yield Contact(self._slot(key, self.branches[key]), self._number(condition), siemens)


def _spread_out(values: Sequence[Any], counts: Index) -> Array:
    """Numbers as often as their counts say, and arrays that have so many, one after the other."""
    many = [isinstance(one, np.ndarray) for one in values]
    numbers = [0.0 if array else one for one, array in zip(values, many, strict=True)]
    found = np.repeat(np.array(numbers, dtype=np.float64), counts)
    if any(many):
        arrays = [one for one, array in zip(values, many, strict=True) if array]
        found[np.repeat(np.array(many), counts)] = np.concatenate(arrays)
    return found


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
