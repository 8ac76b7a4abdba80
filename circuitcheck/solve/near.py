"""Of a large circuit's curves those that a change moves; the others follow their tangents."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import CurveEdits
from circuitcheck.solve.curves import LEAK, CurveSet, Tangent
from circuitcheck.solve.wiring import CurveGroup, Index


class NearCurves(CurveSet):
    """Some curves of each row.

    :param near: numbers of the curves of each row (rows, near)
    :param edits: altered parameters, by key of the curve; such a curve must be near
    """

    def __init__(
        self,
        groups: Sequence[CurveGroup],
        tangent: Tangent,
        near: Index,
        edits: Mapping[str, CurveEdits],
    ) -> None:
        blocks = [slice(one, one + 1) for one in range(near.shape[1])]
        super().__init__(tangent.siemens[near.T], tangent.amps[near.T], blocks)
        self.groups = groups
        self.near = near
        widest = max((group.parameters.shape[1] for group in groups), default=0)
        self._begin: Array | None = None
        self._kind = np.zeros(near.shape, dtype=np.intp)
        self._parameters = np.zeros((*near.shape, widest))
        for number, group in enumerate(groups):
            mine = (near >= group.columns.start) & (near < group.columns.stop)
            self._kind[mine] = number
            width = group.parameters.shape[1]
            rows = group.parameters[near[mine] - group.columns.start]
            self._parameters[mine, :width] = rows
            for place, key in enumerate(group.keys):
                if key in edits:
                    self._alter(edits[key], group.columns.start + place, width)

    def _alter(self, edits: CurveEdits, curve: int, width: int) -> None:
        at, column = np.nonzero(self.near[edits.rows] == curve)
        self._parameters[edits.rows[at], column, :width] = edits.parameters[at]

    def take(self, rows: Index, drawn: Array) -> NearCurves:
        """The same of some rows.

        :param drawn: near what they draw beyond their tangents there (near, rows) [A]
        """
        found = copy(self)
        found._begin = drawn
        found.siemens, found.amps = self.siemens[:, rows], self.amps[:, rows]
        found.near, found._kind = self.near[rows], self._kind[rows]
        found._parameters = self._parameters[rows]
        return found

    def alone(self, c: Array, r: Array) -> Array:
        """Near what they draw beyond their tangents [A]: what they drew before, if that is known."""
        return super().alone(c, r) if self._begin is None else self._begin

    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] (near, rows)."""
        amps, slope = np.empty(volts.shape), np.empty(volts.shape)
        kind = self._kind.take(rows, axis=0).T
        parameters = self._parameters.take(rows, axis=0).transpose(1, 0, 2)
        for number, group in enumerate(self.groups):
            mine = kind == number
            own = parameters[mine][:, : group.parameters.shape[1]]
            amps[mine], slope[mine] = group.kind.current_and_slope(own, volts[mine])
        return amps, slope

    def behind(self, block: int, ohm: Array) -> Callable[[Array], Array]:
        """Near what one near curve of all rows draws on its own source, by its emf (1, rows) [A]."""
        kinds = []
        for number, group in enumerate(self.groups):
            mine = np.flatnonzero(self._kind[:, block] == number)
            parameters = self._parameters[mine, block, : group.parameters.shape[1]]
            kinds.append((mine, group.kind.drawn_behind(group.kind.terms(parameters), ohm[0, mine])))

        def drawn(emf: Array) -> Array:
            found = np.empty(emf.shape)
            for mine, of_kind in kinds:
                found[0, mine] = of_kind(emf[0, mine])
            return found

        return drawn


def beyond_at(groups: Sequence[CurveGroup], tangent: Tangent, curve: Index, volts: Array) -> Array:
    """What some curves draw beyond their tangents, each at its volts (n,) [A].

    :param curve: number of each (n,)
    """
    amps = np.empty(len(curve))
    for group in groups:
        mine = np.flatnonzero((curve >= group.columns.start) & (curve < group.columns.stop))
        parameters = group.parameters[curve[mine] - group.columns.start]
        amps[mine], _ = group.kind.current_and_slope(parameters, volts[mine])
    found: Array = amps - tangent.amps[curve] - (tangent.siemens[curve] - LEAK) * volts
    return found


def nearest(moved: Array, altered: Mapping[int, Index], count: int) -> Index:
    """The curves of each row that its change moves most, those that it alters before all others.

    :param moved: volts that each curve moves by (rows, curves) [V]
    :param altered: rows that alter a curve, by its number
    :param count: how many
    """
    size = np.abs(moved)
    for curve, rows in altered.items():
        size[rows, curve] = np.inf
    return np.sort(np.argpartition(-size, count - 1, axis=1)[:, :count], axis=1)
