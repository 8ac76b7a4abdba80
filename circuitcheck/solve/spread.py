"""How readings move when a sound vehicle is a little different: first-order propagation.

For a reading y at an operating point, ``dy = -lambda . di`` where di is how much more current each
branch would carry at the same volts if its own value were one standard uncertainty higher, and
lambda comes from the same factors as the operating point (the adjoint). Every value of the vehicle
that is uncertain is one latent; two readings that share latents are correlated (JCGM 100, 5.2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array, Source
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.wiring import Index

TEMPERATURE_SPREAD = 12.0
"""Standard uncertainty of the temperature of the loom [K]: a shed in winter or in summer."""


@dataclass(frozen=True)
class Shifts:
    """``values[row, reading, latent]``: change of a reading for one standard uncertainty."""

    latents: tuple[str, ...]
    values: Array


def port_shifts(batch: Batch, probe: Index, rows: Index) -> Shifts:
    """Shifts of port volts, a meter's load left out of account [V]."""
    network = batch.network
    active = batch.active[rows]
    back = batch.ports.between(active.T[:, None], probe[None, :, None])
    weights = batch.answers(back, rows).transpose(2, 0, 1)
    wiring = network.wiring
    used, number = np.unique(np.concatenate([probe, active.reshape(-1)]), return_inverse=True)
    across = network.across(batch.ports.tail[used], batch.ports.head[used])
    taken = across[:, number[len(probe) :].reshape(active.shape)].transpose(1, 0, 2)
    adjoint = across[:, number[: len(probe)]][None] - taken @ weights
    moved = (taken @ batch.flow[rows][..., None])[..., 0]
    rest = network.open_volts[wiring.every_tail] - network.open_volts[wiring.every_head]
    volts = rest - moved
    linear = len(wiring.keys)
    names, blocks = _linear_latents(batch, rows, volts[:, :linear], adjoint[:, :linear])
    curve_names, curve_blocks = _curve_latents(batch, rows, adjoint[:, linear:])
    values = (
        np.concatenate([*blocks, *curve_blocks], axis=1)
        if names or curve_names
        else (np.zeros((len(rows), 0, len(probe))))
    )
    return Shifts((*names, *curve_names), values.transpose(0, 2, 1))


def _linear_latents(
    batch: Batch, rows: Index, across: Array, adjoint: Array
) -> tuple[list[str], list[Array]]:
    """Own values of conductors and sources, and the temperature they share."""
    network = batch.network
    keys, branches = network.wiring.keys, list(network.wiring.linear.values())
    siemens = np.tile(network.siemens, (len(rows), 1))
    sound = np.ones_like(siemens)
    slot = batch.slot[rows]
    place = np.where(slot < len(keys), slot, -1)
    for column in range(place.shape[1]):
        mine = np.flatnonzero(place[:, column] >= 0)
        at = place[mine, column]
        siemens[mine, at] = batch.siemens[rows[mine], column]
        # A value that the fault sets is not the maker's.
        sound[mine, at] = ~batch.altered[rows[mine], column]
    amps = siemens * (across - network.wiring.emf)
    own = np.array([one.spread for one in branches])
    warm = np.array([getattr(one, "coefficient", 0.0) for one in branches]) * TEMPERATURE_SPREAD
    kept = np.flatnonzero(own)
    names = [f"{keys[column]} ohm" for column in kept]
    # More ohms, less current: di = -i u, and dy = -lambda di.
    blocks = [(adjoint * (amps * own * sound)[..., None])[:, kept]]
    names.append("temperature")
    blocks.append(np.sum(adjoint * (amps * warm)[..., None], axis=1, keepdims=True))
    for column, one in enumerate(branches):
        if isinstance(one, Source) and one.emf_spread:
            names.append(f"{keys[column]} {one.emf:g} V")
            blocks.append((adjoint[:, column] * siemens[:, column, None] * one.emf_spread)[:, None])
    return names, blocks


def _curve_latents(batch: Batch, rows: Index, adjoint: Array) -> tuple[list[str], list[Array]]:
    """Each uncertain parameter of each motor, lamp and diode."""
    names: list[str] = []
    blocks: list[Array] = []
    for _, key, column, _, more, less in curve_nudges(batch, rows):
        names.append(key)
        blocks.append((-adjoint[:, column] * (0.5 * (more - less))[:, None])[:, None])
    return names, blocks


def curve_nudges(
    batch: Batch, rows: Index, only: str | None = None
) -> list[tuple[int, str, int, tuple[Array, Array], Array, Array]]:
    """For each uncertain curve parameter: group, latent, column, the two parameter sets, and the
    currents [A] with the parameter one standard uncertainty up and down.

    :param only: the key of one curve; all of them unless told
    """
    found = []
    for number, group in enumerate(batch.network.wiring.curves):
        for place, key in enumerate(group.keys):
            if only not in (None, key):
                continue
            column = group.columns.start + place
            branch = batch.circuit.branches[key]
            volts = batch.curve_volts(column)[rows]
            base = batch.curve_parameters(number, place)[rows]
            for index, spread in enumerate(branch.spreads):  # type: ignore[union-attr]
                if not spread:
                    continue
                up, down = base.copy(), base.copy()
                up[:, index] *= 1 + spread
                down[:, index] *= 1 - spread
                more, _ = group.kind.current_and_slope(up, volts)
                less, _ = group.kind.current_and_slope(down, volts)
                latent = f"{key} {group.kind.PARAMETERS[index]}"
                found.append((number, latent, column, (up, down), more, less))
    return found
