"""The motors, lamps and diodes of many rows, as what they draw beyond a straight line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.solve.changes import CurveEdits
from circuitcheck.solve.wiring import CurveGroup, Index

_LEAK = 1e-12
"""Keeps the volts of a curve defined when it hangs on an open motor [S]."""
_TURNS = 2
"""How often each curve is settled alone before all are settled together."""


@dataclass(frozen=True)
class Tangent:
    """What stands in for each curve, ``i = amps + siemens u``: its tangent, or nearly (curves,)."""

    siemens: Array
    amps: Array


class Curves:
    """The curves of some rows.

    :param tangent: what the network already holds of them
    :param rows: how many rows
    :param edits: altered parameters, by key of the curve
    """

    def __init__(
        self, groups: Sequence[CurveGroup], tangent: Tangent, rows: int = 1,
        edits: Mapping[str, CurveEdits] | None = None,
    ) -> None:  # fmt: skip
        self.groups = groups
        self.tangent = tangent
        self.parameters = [np.repeat(group.parameters[None], rows, axis=0) for group in groups]
        """Of each group (rows, m, P)."""
        for number, group in enumerate(groups):
            for place, key in enumerate(group.keys):
                if edits and key in edits:
                    self.parameters[number][edits[key].rows, place] = edits[key].parameters

    def beyond(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """What they draw beyond their tangents [A], and its slope [S].

        :param volts: at the curves of these rows (rows, curves)
        """
        amps, slope = np.empty_like(volts), np.empty_like(volts)
        for number, group in enumerate(self.groups):
            parameters = self.parameters[number]
            if len(rows) != len(parameters):
                parameters = parameters[rows]
            found = group.kind.current_and_slope(parameters, volts[..., group.columns])
            amps[..., group.columns], slope[..., group.columns] = found
        siemens = self.tangent.siemens - _LEAK
        return amps - self.tangent.amps - siemens * volts, slope - siemens

    def alone(self, c: Array, r: Array) -> Array:
        """Near what they draw [A]: each settled by itself in turn, the others held.

        :param c: volts at the curves while they draw nothing beyond their tangents (rows, curves)
        :param r: resistance between the curves (rows, curves, curves)
        """
        flow = np.zeros(c.shape)
        siemens, amps = self.tangent.siemens, self.tangent.amps
        own = np.einsum("sii->si", r)
        # The tangent taken out of the network again, that the curve is put into whole.
        left = np.maximum(1 - own * siemens, 1e-3)
        ohm = own / left
        for _ in range(_TURNS if c.shape[1] > 1 else 1):
            for number, group in enumerate(self.groups):
                for place in range(len(group.keys)):
                    k = group.columns.start + place
                    others = np.einsum("si,si->s", r[:, k], flow) - own[:, k] * flow[:, k]
                    emf = (c[:, k] - others + own[:, k] * amps[k]) / left[:, k]
                    drawn = group.kind.behind(self.parameters[number][:, place], emf, ohm[:, k])
                    flow[:, k] = drawn - amps[k] - siemens[k] * (emf - ohm[:, k] * drawn)
        return flow
