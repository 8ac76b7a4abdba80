"""A test laid out for solving: circuits with their meters, and what is read off each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.readers import AmpsReader, Reader, VoltsReader, reader_for
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Conductor
from circuitcheck.physics.meter import INLINE_OHM, VOLTMETER_OHM
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import OperatingPoint, solve_point
from circuitcheck.solve.spread import Shifts, port_shifts
from circuitcheck.solve.sweep import Group, Index, settle

Blown = Sequence[frozenset[str]]


@dataclass(frozen=True)
class Station:
    """One circuit and the readings taken on it: (place in the test, reader)."""

    circuit: Circuit
    readers: tuple[tuple[int, Reader], ...]

    def carried(self, change: Change) -> Change:
        """A change of the bench's circuit on this one: an in-line meter stays in its branch."""
        found = dict(change)
        for _, reader in self.readers:
            if isinstance(reader, AmpsReader) and reader.inline and reader.key in change:
                branch = change[reader.key]
                if isinstance(branch, Conductor):
                    found[reader.key] = replace(branch, ohm=branch.ohm + INLINE_OHM)
        return found

    @cached_property
    def networks(self) -> Networks:
        """What has been worked out of this circuit so far."""
        return Networks(self.circuit)


@dataclass(frozen=True)
class Bench:
    """A set-up and its observations on a harness."""

    harness: Harness
    setup: Setup
    observations: tuple[tuple[str, Observation], ...]

    @cached_property
    def circuit(self) -> Circuit:
        """The sound circuit without meters."""
        return build_circuit(self.harness, self.setup)

    @cached_property
    def stations(self) -> tuple[Station, ...]:
        """Observations that leave the circuit alone share a station; the others have their own."""
        shared: list[tuple[int, Reader]] = []
        alone: list[Station] = []
        for place, (_, observation) in enumerate(self.observations):
            circuit, reader = reader_for(self.circuit, observation, self.harness.volts)
            if circuit is self.circuit:
                shared.append((place, reader))
            else:
                alone.append(Station(circuit, ((place, reader),)))
        return (Station(self.circuit, tuple(shared)), *alone) if shared else tuple(alone)

    def run(
        self, changes: Sequence[Change], blown: Blown | None = None, fuses: Array | None = None
    ) -> Run:
        """Take every reading under every change.

        :param blown: for each change the fuses that have blown in service before the test
        :param fuses: for each change, by how much every fuse opens above its usual limit [1]
        """
        return Run(self, changes, blown or [frozenset()] * len(changes), fuses)

    def point(self, change: Change, blown: frozenset[str] = frozenset()) -> OperatingPoint:
        """The operating point under one change, no meter on it."""
        return solve_point(self.circuit.changed(change).after(blown))


class Run:
    """The readings of one bench under many changes.

    ``values[row, reading]`` is the reading: infinite for an open line, NaN where the circuit buzzes.
    """

    def __init__(
        self, bench: Bench, changes: Sequence[Change], blown: Blown, fuses: Array | None = None
    ) -> None:
        self.bench = bench
        self.fuses = fuses
        self.changes = changes
        self.blown = blown
        self.values = np.full((len(changes), len(bench.observations)), np.nan)
        self.buzzing = np.zeros(len(changes), dtype=bool)
        self._groups: list[tuple[Station, list[Group]]] = []
        for station in bench.stations:
            self._take(station)

    def _take(self, station: Station) -> None:
        probes = [reader.port() for _, reader in station.readers]
        changes = [station.carried(change) for change in self.changes]
        settled = settle(station.networks, changes, probes, self.blown, self.fuses)
        self._groups.append((station, settled.groups))
        self.buzzing[settled.buzzing] = True  # their readings stay NaN
        for group in settled.groups:
            batch = group.batch
            for port, (place, reader) in zip(batch.probe_ports, station.readers, strict=True):
                self.values[group.rows, place] = reader.values(batch, port)[group.local]
            meters = [
                port
                for port, (_, reader) in zip(batch.probe_ports, station.readers, strict=True)
                if isinstance(reader, VoltsReader)
            ]
            doubtful = batch.behind_knee(meters, 1 / VOLTMETER_OHM)[group.local]
            for row in group.rows[doubtful]:
                self._take_one(station, int(row))
        for row in settled.unsure:
            self._take_one(station, int(row))

    def _take_one(self, station: Station, row: int) -> None:
        """At full size, each meter on its own."""
        change = station.carried(self.changes[row])
        circuit = station.circuit.changed(change)
        circuit = circuit.after(self.blown[row], 1.0 if self.fuses is None else float(self.fuses[row]))
        bare = solve_point(circuit)
        self.buzzing[row] |= bool(bare.buzzing)
        for place, reader in station.readers:
            if bare.buzzing:
                self.values[row, place] = np.nan
                continue
            meter = {key: one for key, one in reader.meter().items() if key not in circuit.branches}
            point = solve_point(circuit.changed(meter)) if meter else bare
            self.values[row, place] = reader.value_at(circuit, point)

    def shifts(self, rows: Index) -> Shifts:
        """How readings move with every latent, for some rows (in the order given)."""
        where = np.full(len(self.changes), -1, dtype=np.intp)
        where[rows] = np.arange(len(rows))
        names: dict[str, int] = {}
        pieces = []
        for station, groups in self._groups:
            for group in groups:
                mine = np.flatnonzero(where[group.rows] >= 0)
                if mine.size:
                    at = where[group.rows[mine]]
                    for place, latents, change in _station_shifts(station, group, group.local[mine]):
                        numbers = [names.setdefault(one, len(names)) for one in latents]
                        columns = np.array(numbers, dtype=np.intp)
                        pieces.append((np.ix_(at, np.array([place]), columns), change))
        values = np.zeros((len(rows), len(self.bench.observations), len(names)))
        for cells, change in pieces:
            values[cells] += change[:, None, :]
        return Shifts(tuple(names), values)


def _station_shifts(
    station: Station, group: Group, rows: Index
) -> list[tuple[int, tuple[str, ...], Array]]:
    """For each reader its place, and its shifts (rows, latents): through the volts, and its own."""
    batch, found = group.batch, []
    by_volts = port_shifts(batch, batch.probe_ports, rows)
    for number, (place, reader) in enumerate(station.readers):
        gain = reader.gain(batch, batch.probe_ports[number])[rows]
        found.append((place, by_volts.latents, gain[:, None] * by_volts.values[:, number]))
        own = reader.own(batch, rows)
        if own:
            found.append((place, tuple(own), np.stack(list(own.values()), axis=1)))
    return found
