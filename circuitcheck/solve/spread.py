"""How readings move when a sound vehicle is a little different: first-order propagation.

For a reading y at an operating point, ``dy = -lambda . di`` where di is how much more current each
branch would carry at the same volts if its own value were one standard uncertainty higher, and
lambda comes from the same factors as the operating point (the adjoint). Every value of the vehicle
that is uncertain is one latent; two readings that share latents are correlated (JCGM 100, 5.2).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np

from circuitcheck.physics.branch import Array, Curve, Source
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.wiring import CurveGroup, Index, Wiring, distinct

TEMPERATURE = "temperature"
"""The latent that all conductors of a loom share."""
TEMPERATURE_SPREAD = 12.0
"""Standard uncertainty of the temperature of the loom [K]: a shed in winter or in summer."""


@dataclass(frozen=True)
class Shifts:
    """``values[row, reading, latent]``: change of a reading for one standard uncertainty."""

    latents: tuple[str, ...]
    values: Array


class Latents:
    """What is uncertain in a circuit, whatever its states and changes.

    ``names`` has the resistances first, then the temperature, the emf of sources, and the parameters
    of curves.
    """

    def __init__(self, wiring: Wiring) -> None:
        branches = list(wiring.linear.values())
        self.own = np.array([one.spread for one in branches])
        """Relative standard uncertainty of each linear branch (linear,)."""
        coefficients = np.array([getattr(one, "coefficient", 0.0) for one in branches])
        self.warm = coefficients * TEMPERATURE_SPREAD
        """The same for one of the temperature (linear,)."""
        self.varied = np.flatnonzero(self.own)
        """Linear branches whose own value is uncertain."""
        emf = [one.emf_spread if isinstance(one, Source) else 0.0 for one in branches]
        self.pushing = np.flatnonzero(emf)
        """Sources whose emf is uncertain, and by how much [V]."""
        self.emf = np.array(emf)[self.pushing]
        self.curves = [CurveLatents.of(wiring, group) for group in wiring.curves]
        self.names = (
            *(f"{wiring.keys[one]} ohm" for one in self.varied.tolist()),
            TEMPERATURE,
            *(f"{wiring.keys[one]} {branches[one].emf:g} V" for one in self.pushing.tolist()),  # type: ignore[union-attr]
            *(name for one in self.curves for name in one.names),
        )

    @cached_property
    def numbers(self) -> dict[str, int]:
        """The place of each in ``names``."""
        return {name: number for number, name in enumerate(self.names)}


@dataclass(frozen=True)
class CurveLatents:
    """The uncertain parameters of the curves of one kind.

    :param place: number of the curve in its group (n,)
    :param parameter: the column of the parameter (n,)
    :param share: its relative standard uncertainty (n,)
    """

    group: CurveGroup
    names: tuple[str, ...]
    place: Index
    parameter: Index
    share: Array

    @classmethod
    def of(cls, wiring: Wiring, group: CurveGroup) -> CurveLatents:
        """Those of a group of curves."""
        found = [
            (place, parameter, share)
            for place, key in enumerate(group.keys)
            for parameter, share in enumerate(_curve(wiring, key).spreads)
            if share
        ]
        place, parameter, share = np.array(found).reshape(-1, 3).T
        names = tuple(f"{group.keys[n]} {group.kind.PARAMETERS[which]}" for n, which, _ in found)
        return cls(group, names, place.astype(np.intp), parameter.astype(np.intp), share)

    def of_curve(self, place: int) -> Index:
        """The numbers of those of one curve."""
        return np.flatnonzero(self.place == place)

    def nudged(self, batch: Batch, rows: Index, some: Index) -> tuple[Array, Array]:
        """Parameters with one of them one standard uncertainty up, and down, and the volts there.

        :param some: numbers of the latents asked for
        :returns: (2, some, rows, P), rows 1 where none alters a curve, and volts (2, some, rows) [V]
        """
        place, first = self.place[some], self.group.columns.start
        number = batch.network.wiring.curves.index(self.group)
        curves, which = np.unique(place, return_inverse=True)
        altered = any(self.group.keys[one] in batch.changes.curves for one in curves.tolist())
        if altered:
            base = np.stack([batch.curve_parameters(number, one)[rows] for one in curves.tolist()])
        else:
            base = self.group.parameters[curves][:, None]
        found = np.stack([base[which], base[which]])
        at = np.arange(len(some))
        for sign, one in zip((1.0, -1.0), found, strict=True):
            one[at, :, self.parameter[some]] *= 1 + sign * self.share[some, None]
        volts = np.stack([batch.curve_volts(first + one)[rows] for one in curves.tolist()])
        return found, np.stack([volts[which]] * 2)


_KNOWN: WeakKeyDictionary[Wiring, Latents] = WeakKeyDictionary()


def latents_of(wiring: Wiring) -> Latents:
    """The latents of a circuit; worked out once."""
    if wiring not in _KNOWN:
        _KNOWN[wiring] = Latents(wiring)
    return _KNOWN[wiring]


def _curve(wiring: Wiring, key: str) -> Curve:
    branch = wiring.circuit.branches[key]
    assert isinstance(branch, Curve)
    return branch


def port_shifts(batch: Batch, ports: Index, rows: Index) -> Array:
    """Shifts of port volts, a meter's load left out of account [V].

    :param ports: those looked at in each row (rows, n)
    :returns: (rows, n, latents), in the order of ``latents_of(batch.network.wiring).names``
    """
    network, wiring = batch.network, batch.network.wiring
    active = batch.active[rows]
    back = batch.ports.between(active.T[:, None], ports.T[None])
    weights = batch.answers(back, rows).transpose(2, 1, 0)
    numbers = np.concatenate([ports, active], axis=1)
    used = distinct(numbers.reshape(-1))
    across = network.across(batch.ports.tail[used], batch.ports.head[used]).T
    places = np.zeros(used[-1] + 1, dtype=np.intp)
    places[used] = np.arange(len(used))
    seen = np.ascontiguousarray(across)[places[numbers]]
    looked, count = seen[:, : ports.shape[1]], ports.shape[1]
    # What flows at the active ports moves the volts of all branches, and what answers a push at a port.
    pushed = np.concatenate([weights, batch.flow[rows][:, None]], axis=1) @ seen[:, count:]
    adjoint = looked - pushed[:, :count]
    rest = network.open_volts[wiring.every_tail] - network.open_volts[wiring.every_head]
    volts, linear = rest - pushed[:, count], len(wiring.keys)
    latents = latents_of(wiring)
    found = np.empty((*ports.shape, len(latents.names)))
    end = _put_linear(latents, batch, rows, volts[:, :linear], adjoint[..., :linear], found)
    for one in latents.curves:
        if one.names:
            column = linear + one.group.columns.start + one.place
            amps = _curve_amps(one, batch, rows)
            found[..., end : end + len(one.names)] = adjoint[..., column] * -amps.T[:, None]
            end += len(one.names)
    return found


def _put_linear(
    latents: Latents, batch: Batch, rows: Index, across: Array, adjoint: Array, found: Array
) -> int:
    """Put in own values of conductors and sources, and the temperature they share; where they end."""
    network = batch.network
    siemens = np.tile(network.siemens, (len(rows), 1))
    own = np.tile(latents.own, (len(rows), 1))
    slot = batch.slot[rows]
    for column in range(slot.shape[1]):
        mine = np.flatnonzero(slot[:, column] < len(network.siemens))
        at = slot[mine, column]
        siemens[mine, at] = batch.siemens[rows[mine], column]
        # A value that the fault sets is not the maker's.
        own[mine, at] *= ~batch.altered[rows[mine], column]
    amps = siemens * (across - network.wiring.emf)
    # More ohms, less current: di = -i u, and dy = -lambda di.
    kept, count = latents.varied, len(latents.varied)
    found[..., :count] = adjoint[..., kept] * (amps * own)[:, None, kept]
    found[..., count] = (adjoint @ (amps * latents.warm)[..., None])[..., 0]
    end = count + 1 + len(latents.pushing)
    pushed = siemens[:, latents.pushing] * latents.emf
    found[..., count + 1 : end] = adjoint[..., latents.pushing] * pushed[:, None]
    return end


def _curve_amps(latents: CurveLatents, batch: Batch, rows: Index) -> Array:
    """By how much more each curve draws for one standard uncertainty of its parameter (n, rows) [A]."""
    parameters, volts = latents.nudged(batch, rows, np.arange(len(latents.names)))
    drawn, _ = latents.group.kind.current_and_slope(parameters, volts)
    more: Array = 0.5 * (drawn[0] - drawn[1])
    return more
