"""The motors, lamps and diodes of many rows, as what they draw beyond a straight line."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import CurveEdits
from circuitcheck.solve.wiring import CurveGroup, Index

LEAK = 1e-12
"""Keeps the volts of a curve defined when it hangs on an open motor [S]."""
_TURNS = 2
"""How often each curve is settled alone before all are settled together."""
_ONE_BY_ONE = 12
"""Above so many that costs more than it saves, and their tangents are a good beginning."""


@dataclass(frozen=True)
class Tangent:
    """What stands in for each curve, ``i = amps + siemens u``: its tangent, or nearly (curves,)."""

    siemens: Array
    amps: Array


class CurveSet(ABC):
    """The curves of some rows, as the equations see them.

    :param siemens: of their tangents, and ``amps``; (curves,) or (rows, curves)
    """

    def __init__(self, siemens: Array, amps: Array) -> None:
        self.siemens = np.atleast_2d(siemens)
        self.amps = np.atleast_2d(amps)

    @abstractmethod
    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] at the curves of these rows (rows, curves)."""

    @abstractmethod
    def behind(self, curve: int, emf: Array, ohm: Array) -> Array:
        """Near what one curve of all rows draws on a source of its own (rows,) [A]."""

    def beyond(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """What they draw beyond their tangents [A], and its slope [S] (rows, curves)."""
        drawn, slope = self.drawn(volts, rows)
        one = len(self.siemens) == 1
        amps, siemens = (all_ if one else all_[rows] for all_ in (self.amps, self.siemens))
        siemens = siemens - LEAK
        return drawn - amps - siemens * volts, slope - siemens

    def alone(self, c: Array, r: Array) -> Array:
        """Near what they draw beyond their tangents [A]: few are settled each by itself in turn.

        :param c: volts at the curves while they draw nothing beyond their tangents (rows, curves)
        :param r: resistance between the curves (rows, curves, curves)
        """
        flow = np.zeros(c.shape)
        if c.shape[1] > _ONE_BY_ONE:
            return flow
        own = np.einsum("sii->si", r)
        # The tangent taken out of the network again, that the curve is put into whole.
        left = np.maximum(1 - own * self.siemens, 1e-3)
        ohm = own / left
        for _ in range(_TURNS if c.shape[1] > 1 else 1):
            for k in range(c.shape[1]):
                others = np.einsum("si,si->s", r[:, k], flow) - own[:, k] * flow[:, k]
                emf = (c[:, k] - others + own[:, k] * self.amps[:, k]) / left[:, k]
                drawn = self.behind(k, emf, ohm[:, k])
                volts = emf - ohm[:, k] * drawn
                flow[:, k] = drawn - self.amps[:, k] - self.siemens[:, k] * volts
        return flow


class Curves(CurveSet):
    """All curves of a circuit, in each row.

    :param tangent: what the network already holds of them
    :param rows: how many rows
    :param edits: altered parameters, by key of the curve
    """

    def __init__(
        self, groups: Sequence[CurveGroup], tangent: Tangent, rows: int = 1,
        edits: Mapping[str, CurveEdits] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(tangent.siemens, tangent.amps)
        self.groups = groups
        self.parameters = [np.repeat(group.parameters[None], rows, axis=0) for group in groups]
        """Of each group (rows, m, P)."""
        self._of = [(n, place) for n, group in enumerate(groups) for place in range(len(group.keys))]
        for number, group in enumerate(groups):
            for place, key in enumerate(group.keys):
                if edits and key in edits:
                    self.parameters[number][edits[key].rows, place] = edits[key].parameters

    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S]; one row of parameters serves all."""
        amps, slope = np.empty_like(volts), np.empty_like(volts)
        for number, group in enumerate(self.groups):
            parameters = self.parameters[number]
            if len(parameters) not in (1, len(rows)):
                parameters = parameters[rows]
            found = group.kind.current_and_slope(parameters, volts[:, group.columns])
            amps[:, group.columns], slope[:, group.columns] = found
        return amps, slope

    def behind(self, curve: int, emf: Array, ohm: Array) -> Array:
        """Near what one curve of all rows draws on a source of its own (rows,) [A]."""
        number, place = self._of[curve]
        return self.groups[number].kind.behind(self.parameters[number][:, place], emf, ohm)
