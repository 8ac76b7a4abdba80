"""Changes of one circuit as arrays: what a sweep works on.

A change whose branches hold arrays of values stands for as many rows. Everything here is said once
for the circuit and does not depend on the states of its relays; a :class:`~.sweep.Batch` puts the
states in.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Array, Branch, Condition, Conductor, Source
from circuitcheck.solve.wiring import Index, Wiring


@dataclass(frozen=True, slots=True)
class Slot:
    """A linear branch that some change alters or adds."""

    key: str
    tail: str
    head: str


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

    :param tail: node number of each slot's tail, and ``head`` of its head (slots,)
    :param place: of each slot among the circuit's linear branches, -1 for one it adds (slots,)
    :param slot: for each row its altered linear branches, -1 where it has fewer (rows, width)
    :param siemens: conductance that each has while closed [S]; 0 for one taken out (rows, width)
    :param emf: and its emf [V] (rows, width)
    :param condition: number in ``conditions`` of when it is closed (rows, width)
    :param curves: altered curves, by key
    :param contacts: the contacts of the circuit
    """

    wiring: Wiring
    slots: tuple[Slot, ...]
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
        curves = {}
        for key, edits in self.curves.items():
            place = np.full(len(self), -1, dtype=np.intp)
            place[edits.rows] = np.arange(len(edits.rows))
            found = place[rows]
            kept = np.flatnonzero(found >= 0)
            if kept.size:
                curves[key] = CurveEdits(kept, edits.parameters[found[kept]])
        return replace(
            self, slot=self.slot[rows], siemens=self.siemens[rows], emf=self.emf[rows],
            condition=self.condition[rows], curves=curves,
        )  # fmt: skip

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
            self, slot=both(self.slot, -1), siemens=both(self.siemens, 0.0), emf=both(self.emf, 0.0),
            condition=both(self.condition, 0), curves=curves,
        )  # fmt: skip

    @cached_property
    def slot_numbers(self) -> dict[str, list[int]]:
        """The slots of each key."""
        found: dict[str, list[int]] = {}
        for number, one in enumerate(self.slots):
            found.setdefault(one.key, []).append(number)
        return found


class _Layout:
    """The filling of the arrays, change by change."""

    def __init__(self, wiring: Wiring, changes: Sequence[Change], counts: Sequence[int]) -> None:
        self.wiring = wiring
        self.branches = wiring.circuit.branches
        self.nodes = wiring.index
        self.slots: dict[Slot, int] = {}
        self.conditions: dict[Condition, int] = {ALWAYS: 0}
        # A branch put between other nodes is one taken out and one added.
        rows, most = sum(counts), 2 * max((len(one) for one in changes), default=0)
        self.slot = np.full((rows, most), -1, dtype=np.intp)
        self.siemens = np.zeros((rows, most))
        self.emf = np.zeros((rows, most))
        self.condition = np.zeros((rows, most), dtype=np.intp)
        self.curves: dict[str, list[tuple[Index, Array]]] = {}
        first = 0
        for change, count in zip(changes, counts, strict=True):
            self._fill(change, slice(first, first + count))
            first += count

    def _fill(self, change: Change, rows: slice) -> None:
        column = 0
        for key, new in change.items():
            old = self.branches.get(key)
            if not isinstance(new if new is not None else old, Conductor | Source):
                if old is not None:
                    self._fill_curve(key, old, new, rows)
                continue
            if isinstance(old, Conductor | Source) and (new is None or _ends(new) != _ends(old)):
                self.slot[rows, column] = self._slot(key, old)
                column += 1
            if isinstance(new, Conductor | Source) and self.nodes.keys() >= {new.tail, new.head}:
                self.slot[rows, column] = self._slot(key, new)
                self.siemens[rows, column] = siemens_of(new)
                self.emf[rows, column] = getattr(new, "emf", 0.0)
                when = getattr(new, "closed_when", ALWAYS)
                number = self.conditions.setdefault(when, len(self.conditions))
                self.condition[rows, column] = number
                column += 1

    def _slot(self, key: str, branch: Branch) -> int:
        return self.slots.setdefault(Slot(key, branch.tail, branch.head), len(self.slots))

    def _fill_curve(self, key: str, old: Branch, new: Branch | None, rows: slice) -> None:
        one: Any = old if new is None else new
        values = np.empty((rows.stop - rows.start, len(one.values)))
        for column, value in enumerate(one.values):
            values[:, column] = value
        if new is None:
            values[:, one.PARAMETERS.index("strength")] = 0.0
        self.curves.setdefault(key, []).append((np.arange(rows.start, rows.stop), values))

    def done(self) -> Changes:
        used = int(np.max(np.sum(self.slot >= 0, axis=1), initial=0))
        curves = {
            key: CurveEdits(*(np.concatenate(one) for one in zip(*pieces, strict=True)))
            for key, pieces in self.curves.items()
        }
        place = self.wiring.place
        contacts = tuple(self._contacts())
        return Changes(
            self.wiring, tuple(self.slots), self._numbers(self.nodes[s.tail] for s in self.slots),
            self._numbers(self.nodes[s.head] for s in self.slots),
            self._numbers(place[s.key] if self._is_there(s) else -1 for s in self.slots),
            tuple(self.conditions), self.slot[:, :used], self.siemens[:, :used],
            self.emf[:, :used], self.condition[:, :used], curves, contacts,
        )  # fmt: skip

    def _contacts(self) -> Iterator[Contact]:
        for place, condition in self.wiring.contacts:
            key = self.wiring.keys[place]
            number = self.conditions.setdefault(condition, len(self.conditions))
            siemens = float(self.wiring.siemens[place])
            yield Contact(self._slot(key, self.branches[key]), number, siemens)

    def _is_there(self, slot: Slot) -> bool:
        old = self.branches.get(slot.key)
        return isinstance(old, Conductor | Source) and _ends(old) == (slot.tail, slot.head)

    @staticmethod
    def _numbers(found: Iterable[int]) -> Index:
        return np.fromiter(found, dtype=np.intp)


def _ends(branch: Branch) -> tuple[str, str]:
    return branch.tail, branch.head


def siemens_of(branch: Conductor | Source) -> Any:
    """Conductance of a closed branch [S], or of each of its values."""
    if isinstance(branch.ohm, np.ndarray):
        return np.where(np.isinf(branch.ohm), 0.0, 1.0 / branch.ohm)
    return branch.siemens


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
