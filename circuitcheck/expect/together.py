"""Several faults at once, put together from their pieces, so that each piece is laid out once.

Two faults that alter different branches are two rows of their own that act together. Where they alter
the same branch the second acts on what the first has left, and both are a piece by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.chosen import ChosenFault, Mark, combined
from circuitcheck.expect.service import blown_in, service_setups
from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import Branches, Change
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index, distinct


@dataclass(frozen=True)
class LaidOut:
    """Trials on one circuit, as :meth:`.Bench.run` takes them.

    :param changes: those of all pieces, and ``counts`` how many rows each stands for
    :param rows: the two rows of these that act at once in each row of the trials, the second -1 for
        none (rows, 2)
    """

    changes: list[Change]
    counts: list[int]
    rows: Index


class Together:
    """Trials of faults at once as pairs of pieces, whatever circuit they are put on.

    The last fault of a trial is a piece, and so are those before it.

    :param faults: of each trial, any number; values to try are as many for each
    :param counts: rows of each trial: as many as there are values to try, or 1
    """

    def __init__(self, faults: Sequence[Sequence[ChosenFault]], counts: Sequence[int]) -> None:
        self._faults = faults
        self._counts = np.array(counts, dtype=np.intp)
        self._pieces: list[Sequence[ChosenFault]] = []
        numbers: dict[tuple[Mark, ...], int] = {}
        split = [
            (self._piece(numbers, one[:-1]) if len(one) > 1 else -1, self._piece(numbers, one[-1:]))
            for one in faults
        ]
        self._split = np.array(split, dtype=np.intp).reshape(-1, 2)

    @classmethod
    def pairs(cls, faults: Sequence[ChosenFault], pairs: Index) -> Together:
        """Many pairs of some faults.

        :param faults: each with one value
        :param pairs: their numbers, two by two (pairs, 2)
        """
        listed = [(faults[one], faults[other]) for one, other in pairs.tolist()]
        return cls(listed, [1] * len(listed))

    def _piece(self, numbers: dict[tuple[Mark, ...], int], faults: Sequence[ChosenFault]) -> int:
        """The number of a piece; one of no faults changes nothing."""
        number = numbers.setdefault(tuple(one.mark for one in faults), len(numbers))
        if number == len(self._pieces):
            self._pieces.append(faults)
        return number

    def on(
        self, branches: Branches, swapped: Sequence[str] = (), trials: Sequence[int] | None = None
    ) -> LaidOut:
        """Some of the trials on a circuit, or all.

        :param swapped: parts replaced by known good ones
        """
        asked = np.arange(len(self._counts)) if trials is None else np.array(trials, dtype=np.intp)
        split, counts = self._split[asked].copy(), self._counts[asked]
        changes: dict[int, Change] = {}
        for number in distinct(split[split >= 0]).tolist():
            changes[number] = combined(self._pieces[number], branches, swapped)
        pieces = list(self._pieces)
        for place, (one, other) in enumerate(split.tolist()):
            if one >= 0 and not changes[one].keys().isdisjoint(changes[other]):
                faults = self._faults[asked[place]]
                split[place] = -1, len(pieces)
                changes[len(pieces)] = combined(faults, branches, swapped)
                pieces.append(faults)
        return _laid_out(pieces, changes, split, counts)


def _laid_out(
    pieces: Sequence[Sequence[ChosenFault]], changes: dict[int, Change], split: Index, counts: Index
) -> LaidOut:
    """Pieces one after the other, and where the rows of trials begin in them.

    :param split: of each trial its two pieces, -1 for none (trials, 2)
    """
    sizes = [max((np.size(one.value) for one in pieces[number]), default=1) for number in changes]
    first, size = np.full((2, len(pieces) + 1), -1, dtype=np.intp)  # the last for no piece
    numbers = list(changes)
    size[numbers] = sizes
    first[numbers] = np.cumsum([0, *sizes])[:-1]
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    of_row = np.repeat(split, counts, axis=0)
    rows = first[of_row] + np.where(size[of_row] > 1, within[:, None], 0)
    # A piece by itself stands first.
    alone = rows[:, 0] < 0
    rows[alone] = rows[alone][:, ::-1]
    return LaidOut(list(changes.values()), sizes, rows)


def blown_together(
    harness: Harness, together: Together, trials: Sequence[int], fuses: Array
) -> list[frozenset[str]]:
    """For each row of some trials the fuses that it blows in use.

    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    """
    found: list[set[str]] = [set() for _ in fuses]
    if found:
        for setup in service_setups(harness):
            circuit = build_circuit(harness, setup)
            laid_out = together.on(circuit.branches, (), trials)
            blown = blown_in(circuit, laid_out.changes, laid_out.counts, fuses, laid_out.rows)
            for known, more in zip(found, blown, strict=True):
                known.update(more)
    return [frozenset(one) for one in found]
