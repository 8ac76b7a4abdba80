"""The motors, lamps and diodes of many rows, as what they draw beyond a straight line."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array, Terms
from circuitcheck.solve.changes import CurveEdits
from circuitcheck.solve.wiring import CurveGroup, Index

LEAK = 1e-12
"""Keeps the volts of a curve defined when it hangs on an open motor [S]."""
_ALL = slice(None)
_DEAD = 1e-9
"""Volts below which there is nothing for a curve to draw [V]."""
AMPS_LEFT = 1e-9
"""What a curve far from a change may be off [A]."""
_FROM_TO, _TRIED = (1e-7, 100.0), 73
"""Moves that are tried of each curve [V]."""
_MUCH = 0.05
"""Share of itself by which what a curve draws beyond its tangent may come back in the next step."""
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
    """

    on_one_feed = False
    """Whether they are likely to share what they are fed through."""

    def __init__(self, siemens: Array, amps: Array) -> None:
        self.siemens = siemens
        self.amps = amps

    @abstractmethod
    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S] at the curves of these rows (curves, rows)."""

    @abstractmethod
    def behind(self, curve: int, emf: Array, ohm: Array) -> Array:
        """Near what one curve of all rows draws on a source of its own (rows,) [A]."""

    def beyond(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """What they draw beyond their tangents [A], and its slope [S] (curves, rows)."""
        amps, slope = self.drawn(volts, rows)
        one = self.siemens.shape[1] in (1, len(rows))
        straight, siemens = self.amps, self.siemens
        if not one:
            straight, siemens = straight.take(rows, axis=1), siemens.take(rows, axis=1)
        siemens = siemens - LEAK
        amps -= siemens * volts
        amps -= straight
        slope -= siemens
        return amps, slope

    def alone(self, c: Array, r: Array) -> Array:
        """Near what they draw beyond their tangents [A]: few are settled each by itself in turn.

        :param c: volts at the curves while they draw nothing beyond their tangents (curves, rows)
        :param r: resistance between the curves (curves, curves, rows)
        """
        count = len(c)
        if count > _ONE_BY_ONE or np.abs(c).max(initial=0.0) < _DEAD:
            return np.zeros(c.shape)
        own = np.einsum("iis->is", r)
        # First as if all drew the same, as fans on one feed do; then each on what the others draw.
        first = np.sum(np.maximum(r, 0.0), axis=1) if self.on_one_feed else own
        emf, ohm = self._source(c, first)
        drawn = self.each_behind(emf, ohm)
        flow = drawn - self.amps - self.siemens * (emf - ohm * drawn)
        if count == 1:
            return flow
        for k in range(count):
            others = np.sum([r[k, other] * flow[other] for other in range(count) if other != k], axis=0)
            mine, ohm = self._source(c[k] - others, own[k], k)
            drawn = self.behind(k, mine, ohm)
            flow[k] = drawn - self.amps[k] - self.siemens[k] * (mine - ohm * drawn)
        return flow

    def _source(self, c: Array, own: Array, curve: int | slice = _ALL) -> tuple[Array, Array]:
        """Emf and resistance before curves: their tangents out of the network, to go in whole."""
        whole = 1 / np.maximum(1 - own * self.siemens[curve], 1e-3)
        return (c + own * self.amps[curve]) * whole, own * whole

    def each_behind(self, emf: Array, ohm: Array) -> Array:
        """Near what the curves draw, each on a source of its own (curves, rows) [A]."""
        return np.stack([self.behind(k, emf[k], ohm[k]) for k in range(len(emf))])


class Curves(CurveSet):
    """All curves of a circuit, in each row.

    :param tangent: what the network already holds of them
    :param rows: how many rows
    :param edits: altered parameters, by key of the curve
    """

    on_one_feed = True

    def __init__(
        self,
        groups: Sequence[CurveGroup],
        tangent: Tangent,
        rows: int = 1,
        edits: Mapping[str, CurveEdits] | None = None,
    ) -> None:
        super().__init__(tangent.siemens[:, None], tangent.amps[:, None])
        self.groups = groups
        self.terms: list[Terms] = []
        """Of each group, each (m, rows), or (m, 1) where all rows have the same."""
        self._of = [(n, place) for n, group in enumerate(groups) for place in range(len(group.keys))]
        for group in groups:
            altered = [place for place, key in enumerate(group.keys) if edits and key in edits]
            terms = tuple(one[:, None] for one in group.kind.terms(group.parameters))
            if edits and altered:
                terms = tuple(np.repeat(one, rows, axis=1) for one in terms)
                for place in altered:
                    own = edits[group.keys[place]]
                    for one, new in zip(terms, group.kind.terms(own.parameters), strict=True):
                        one[place, own.rows] = new
            self.terms.append(terms)

    def drawn(self, volts: Array, rows: Index) -> tuple[Array, Array]:
        """Currents [A] and slopes [S]; one row of parameters serves all."""
        found = []
        for group, terms in zip(self.groups, self.terms, strict=True):
            if terms[0].shape[1] not in (1, len(rows)):
                terms = tuple(one.take(rows, axis=1) for one in terms)  # noqa: PLW2901
            found.append(group.kind.drawn(terms, volts[group.columns]))
        if len(found) == 1:
            return found[0]
        if not found:
            return np.zeros(volts.shape), np.zeros(volts.shape)
        return np.concatenate([one for one, _ in found]), np.concatenate([one for _, one in found])

    def each_behind(self, emf: Array, ohm: Array) -> Array:
        """The same for all curves at once."""
        found = [
            group.kind.drawn_behind(terms, emf[group.columns], ohm[group.columns])
            for group, terms in zip(self.groups, self.terms, strict=True)
        ]
        return found[0] if len(found) == 1 else np.concatenate(found)

    def behind(self, curve: int, emf: Array, ohm: Array) -> Array:
        """Near what one curve of all rows draws on a source of its own (rows,) [A]."""
        number, place = self._of[curve]
        terms = tuple(one[place] for one in self.terms[number])
        return self.groups[number].kind.drawn_behind(terms, emf, ohm)
