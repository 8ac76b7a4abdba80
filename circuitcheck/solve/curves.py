"""The motors, lamps and diodes of many rows, as what they draw beyond a straight line."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import CurveEdits
from circuitcheck.solve.wiring import CurveGroup, Index

LEAK = 1e-12
"""Keeps the volts of a curve defined when it hangs on an open motor [S]."""
_DEAD = 1e-9
"""Volts below which there is nothing for a curve to draw [V]."""
AMPS_LEFT = 1e-9
"""What a curve far from a change may be off [A]."""
_FROM_TO, _TRIED = (1e-7, 100.0), 73
"""Moves that are tried of each curve [V]."""
_MUCH = 0.05
"""Share of itself by which what a curve draws beyond its tangent may come back in the next step."""
_TURNS = 3
"""How often each is settled by itself: once more costs less than one more step of all together."""
_ONE_BY_ONE = 12
"""Above so many that costs more than it saves, and their tangents are a good beginning."""


@dataclass(frozen=True)
class Tangent:
    """What stands in for each curve, ``i = amps + siemens u``: its tangent, or nearly (curves,)."""

    siemens: Array
    amps: Array


@dataclass(frozen=True)
class Reach:
    """How far the volts of each curve may move from where it rests (curves,) [V].

    :param rest: volts at which it rests
    :param straight: before it leaves its tangent by ``AMPS_LEFT``
    :param slight: before its slope is so much another that it no longer can be followed step by step
    """

    rest: Array
    straight: Array
    slight: Array

    @classmethod
    def of(cls, curves: Curves, rest: Array, ohm: Array) -> Reach:
        """Of all curves of a network.

        :param ohm: resistance of the network at each, the curves' tangents in it (curves,)
        """
        none = np.zeros(0, dtype=np.intp)
        moved = np.geomspace(*_FROM_TO, _TRIED)
        straight = slight = np.ones((len(rest), len(moved)), dtype=bool)
        for sign in (-1.0, 1.0):
            more, slope = curves.beyond(rest[:, None] + sign * moved, none)
            straight = straight & (np.abs(more) < 0.5 * AMPS_LEFT)
            slight = slight & (np.abs(slope) * ohm[:, None] < _MUCH)
        steps = np.append(0.0, moved)
        return cls(rest, *(steps[np.cumprod(one, axis=1).sum(axis=1)] for one in (straight, slight)))


class CurveSet(ABC):
    """The curves of some rows, as the equations see them.

    :param siemens: of their tangents, and ``amps``; (curves, 1) or (curves, rows)
    :param blocks: which of them are of one kind, and settled together
    """

    leak = LEAK
    """What each conducts beside its law [S]."""

    def __init__(self, siemens: Array, amps: Array, blocks: Sequence[slice]) -> None:
        self.siemens = siemens
        self.amps = amps
        self.blocks = blocks

    @abstractmethod
    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] at the curves of these rows (curves, rows)."""

    @abstractmethod
    def behind(self, block: int, ohm: Array) -> Callable[[Array], Array]:
        """Near what the curves of a block draw, each on its own source, by its emf (m, rows) [A]."""

    def beyond(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """What they draw beyond their tangents [A], and its slope [S] (curves, rows)."""
        amps, slope = self.drawn(volts, rows)
        one = self.siemens.shape[1] in (1, len(rows))
        straight, siemens = self.amps, self.siemens
        if not one:
            straight, siemens = straight.take(rows, axis=1), siemens.take(rows, axis=1)
        siemens = siemens - self.leak
        amps -= siemens * volts
        amps -= straight
        slope -= siemens
        return amps, slope

    def alone(self, c: Array, r: Array) -> Array:
        """Near what they draw beyond their tangents [A]: those of one kind are settled in turn.

        First as if all of a kind drew the same, as fans on one feed do; then each on what others draw.

        :param c: volts at the curves while they draw nothing beyond their tangents (curves, rows)
        :param r: resistance between the curves (curves, curves, rows)
        """
        count, flow = len(c), np.zeros(c.shape)
        if count > _ONE_BY_ONE or np.abs(c).max(initial=0.0) < _DEAD:
            return flow
        sides = [self._on_a_source(n, _together(r[one, one])) for n, one in enumerate(self.blocks)]
        others = r
        for turn in range(_TURNS if count > 1 else 1):
            if turn == 1:
                own, others = np.einsum("iis->is", r), r.copy()
                np.einsum("iis->is", others)[:] = 0.0
                sides = [self._on_a_source(n, own[one]) for n, one in enumerate(self.blocks)]
            for mine, settled in zip(self.blocks, sides, strict=True):
                flow[mine] = settled(c[mine] - np.einsum("ijs,js->is", others[mine], flow))
        return flow

    def _on_a_source(self, block: int, r: Array) -> Callable[[Array], Array]:
        """Near what each of a block draws beyond its tangent, on a source of its own [A], by its volts.

        :param r: its resistance, the tangent there (m, rows)
        """
        siemens, amps = self.siemens[self.blocks[block]], self.amps[self.blocks[block]]
        # Its tangent is out of the network, to go in whole.
        whole = 1 / np.maximum(1 - r * siemens, 1e-3)
        shift, drawn = r * amps, self.behind(block, r * whole)

        def settled(volts: Array) -> Array:
            emf = volts + shift
            emf *= whole
            flow = drawn(emf)
            flow *= whole
            emf *= siemens
            flow -= emf
            flow -= amps
            return flow

        return settled


def _together(r: Array) -> Array:
    """What each of some curves sees while all of them draw the same (m, rows) [ohm].

    :param r: resistance between them (m, m, rows)
    """
    found: Array = np.maximum(r, 0.0).sum(axis=1)
    return found


class Curves(CurveSet):
    """All curves of a circuit, in each row.

    :param tangent: what the network already holds of them
    :param rows: how many rows
    :param edits: altered parameters, by key of the curve
    """

    def __init__(
        self,
        groups: Sequence[CurveGroup],
        tangent: Tangent,
        rows: int = 1,
        edits: Mapping[str, CurveEdits] | None = None,
    ) -> None:
        blocks = [group.columns for group in groups]
        super().__init__(tangent.siemens[:, None], tangent.amps[:, None], blocks)
        self.groups = groups
        self.terms = [_terms(group, rows, edits or {}) for group in groups]
        """Of each group (terms, m, rows), or (terms, m, 1) where all rows have the same."""

    def open_for_good(self, rows: int, held: Iterable[tuple[Index, int]]) -> None:
        """What is open is told from the graph: none leaks, and some stay as they are stood in for.

        :param rows: how many
        :param held: rows in which an open curve alone holds a part, and its number
        """
        self.leak = 0.0
        for some, curve in held:
            if self.siemens.shape[1] != rows:
                self.siemens = np.repeat(self.siemens, rows, axis=1)
                self.amps = np.repeat(self.amps, rows, axis=1)
            self.siemens[curve, some] = self.amps[curve, some] = 0.0

    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S]; one row of parameters serves all."""
        found = []
        for group, terms in zip(self.groups, self.terms, strict=True):
            own = terms if terms.shape[2] in (1, len(rows)) else terms.take(rows, axis=2)
            found.append(group.kind.drawn(own, volts[group.columns]))
        if len(found) == 1:
            return found[0]
        if not found:
            return np.zeros(volts.shape), np.zeros(volts.shape)
        return np.concatenate([one for one, _ in found]), np.concatenate([one for _, one in found])

    def behind(self, block: int, ohm: Array) -> Callable[[Array], Array]:
        """Near what all curves of a kind draw, each on a source of its own, by its emf (m, rows) [A]."""
        return self.groups[block].kind.drawn_behind(self.terms[block], ohm)


def _terms(group: CurveGroup, rows: int, edits: Mapping[str, CurveEdits]) -> Array:
    """What the laws of a group are written in (terms, m, rows), (terms, m, 1) if no row alters any."""
    terms = group.terms[:, :, None]
    altered = [(place, edits[key]) for place, key in enumerate(group.keys) if key in edits]
    if not altered:
        return terms
    found = np.empty((*terms.shape[:2], rows))
    found[:] = terms
    for place, one in altered:
        found[:, place, one.rows] = one.terms
    return found
