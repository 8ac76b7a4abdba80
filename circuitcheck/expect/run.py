"""The readings of a bench under many changes, from one sweep.

An instrument that alters the circuit (an ohmmeter, a meter in the lead, a test lamp) is itself a
change: each fault is solved once with the voltmeters and clamps, and once with each such instrument
in place, all of them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.circuit.series import SeriesRuns
from circuitcheck.expect.readers import AmpsReader, Reader, VoltsReader
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Branch
from circuitcheck.physics.meter import VOLTMETER_OHM
from circuitcheck.solve.changes import Changes, one_of
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.spread import Shifts, port_shifts
from circuitcheck.solve.sweep import Group, settle
from circuitcheck.solve.wiring import Index

if TYPE_CHECKING:
    from circuitcheck.expect.bench import Bench, Station

Blown = Sequence[frozenset[str]]


@dataclass(frozen=True)
class Placed:
    """The readers of one station on the circuit that all stations share.

    :param station: the same on a circuit of its own
    :param change: what its instrument does to the shared circuit
    :param readers: place in the test, number of the probe, reader
    """

    station: Station
    change: Change
    readers: tuple[tuple[int, int, Reader], ...]


class Layout:
    """All readings of a bench on one circuit, with what has been worked out of it so far."""

    def __init__(self, bench: Bench) -> None:
        fitted: dict[str, Branch] = {}
        self.placed: list[Placed] = []
        self.probes: list[tuple[str, str]] = []
        kept: set[str] = set()
        for station in bench.stations:
            change: dict[str, Branch | None] = {}
            readers = []
            for place, reader in station.readers:
                instrument = reader.instrument(place)
                fitted |= instrument.fitted
                change |= instrument.change
                readers.append((place, len(self.probes), instrument.reader))
                self.probes.append(instrument.reader.port())
                if not isinstance(reader, AmpsReader):  # all of a run carries the same
                    kept.update(reader.port())
            self.placed.append(Placed(station, change, tuple(readers)))
        self.circuit: Circuit = bench.circuit.changed(fitted)
        self.networks = Networks(self.circuit)
        self.runs = SeriesRuns(self.circuit, kept)

    @cached_property
    def meters(self) -> list[int]:
        """The probes of voltmeters."""
        return [probe for one in self.placed for _, probe, reader in one.readers
                if isinstance(reader, VoltsReader)]  # fmt: skip


class Alike:
    """Changes of which only the first of each kind is solved.

    :param same: for each change the number of the first that does the same
    :param counts: rows of each change
    """

    def __init__(self, same: Sequence[int], counts: Sequence[int]) -> None:
        self.first = sorted(set(same))
        """Numbers of the changes that are solved."""
        starts = np.cumsum([0, *counts])
        of_change = [np.arange(starts[one], starts[one + 1]) for one in range(len(same))]
        none = np.zeros(0, dtype=np.intp)
        self.rows = np.concatenate([none, *(of_change[one] for one in self.first)])
        """Rows that are solved, in the numbers of all rows."""
        solved = np.empty(int(starts[-1]), dtype=np.intp)
        solved[self.rows] = np.arange(len(self.rows))
        self._solved = np.concatenate([none, *(solved[of_change[one]] for one in same)])
        """For each of all rows its number among those solved."""

    def everyone(self, group: Group) -> Group:
        """A group of the rows solved as one of all rows that it stands for."""
        place = np.full(len(self.rows), -1, dtype=np.intp)
        place[group.rows] = group.local
        local = place[self._solved]
        rows = np.flatnonzero(local >= 0)
        return Group(rows, local[rows], group.batch)

    def all_of(self, solved: Index) -> Index:
        """All rows that some of the rows solved stand for."""
        return np.flatnonzero(np.isin(self._solved, solved))

    def like(self, row: int) -> Index:
        """All rows that one of them is like."""
        return np.flatnonzero(self._solved == self._solved[row])


class Run:
    """The readings of one bench under many changes.

    ``values[row, reading]`` is the reading: infinite for an open line, NaN where the circuit buzzes.

    :param counts: how many rows each change stands for
    :param blown: for each row the fuses that have blown in service before the test
    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    """

    def __init__(
        self, bench: Bench, changes: Sequence[Change], counts: Sequence[int], blown: Blown,
        fuses: Array | None = None,
    ) -> None:  # fmt: skip
        self.bench = bench
        self.layout = bench.layout
        self.changes = changes
        self.counts = counts
        self.blown = blown
        self.fuses = np.ones(sum(counts)) if fuses is None else fuses
        self.rows = sum(counts)
        self.values = np.full((self.rows, len(bench.observations)), np.nan)
        self.buzzing = np.zeros(self.rows, dtype=bool)
        self._groups: list[tuple[Placed, Group]] = []
        self._take()

    def _take(self) -> None:
        """Solve every change with every station's instrument in place, and read it off."""
        placed, times = self.layout.placed, len(self.layout.placed)
        alike = self._alike()
        listed = [{**one.change, **one.station.carried(change)}
                  for one in placed for change in self.changes]  # fmt: skip
        counts = [*self.counts] * times
        changes = Changes.of(self.layout.networks.wiring, [listed[one] for one in alike.first],
                             [counts[one] for one in alike.first])  # fmt: skip
        of_row = alike.rows % max(self.rows, 1)
        settled = settle(self.layout.networks, changes, self.layout.probes,
                         [self.blown[row] for row in of_row.tolist()], self.fuses[of_row])  # fmt: skip
        self.buzzing[alike.all_of(settled.buzzing) % max(self.rows, 1)] = True
        alone = alike.rows[settled.unsure].tolist()
        for group in settled.groups:
            self._read(alike.everyone(group))
            doubtful = group.batch.behind_knee(self.layout.meters, 1 / VOLTMETER_OHM)[group.local]
            alone += alike.rows[group.rows[doubtful]].tolist()
        for row in alone:
            one = placed[row // self.rows]
            self._take_one(one.station, row % self.rows, alike.like(row) % self.rows)

    def _read(self, group: Group) -> None:
        """Read off what has come to rest; what buzzes stays NaN."""
        station = group.rows // self.rows
        for number, placed in enumerate(self.layout.placed):
            mine = np.flatnonzero(station == number)
            if not mine.size:
                continue
            own = Group(group.rows[mine] % self.rows, group.local[mine], group.batch)
            self._groups.append((placed, own))
            for place, probe, reader in placed.readers:
                self.values[own.rows, place] = reader.values(group.batch, probe)[own.local]

    def _alike(self) -> Alike:
        """Which changes do the same to all that is read."""
        marks: dict[Any, int] = {}
        own, row = [], 0
        for number, (change, count) in enumerate(zip(self.changes, self.counts, strict=True)):
            mark = self.layout.runs.mark(change)
            if mark is None or self.fuses[row] != 1.0 or any(self.blown[row : row + count]):
                mark = (number,)
            own.append(marks.setdefault((mark, count), number))
            row += count
        times = range(len(self.layout.placed))
        same = [one + number * len(self.changes) for number in times for one in own]
        return Alike(same, [*self.counts] * len(times))

    def _change(self, row: int) -> Change:
        for change, count in zip(self.changes, self.counts, strict=True):
            if row < count:
                return one_of(change, row)
            row -= count
        raise IndexError(row)

    def _take_one(self, station: Station, row: int, rows: Index) -> None:
        """At full size, each meter on its own; ``rows`` are all those that read like ``row``."""
        circuit = station.circuit.changed(station.carried(self._change(row)))
        circuit = circuit.after(self.blown[row], float(self.fuses[row]))
        bare = solve_point(circuit)
        self.buzzing[rows] |= bool(bare.buzzing)
        for place, reader in station.readers:
            if bare.buzzing:
                self.values[rows, place] = np.nan
                continue
            meter = {key: one for key, one in reader.meter().items() if key not in circuit.branches}
            point = solve_point(circuit.changed(meter)) if meter else bare
            self.values[rows, place] = reader.value_at(circuit, point)

    def shifts(self, rows: Index) -> Shifts:
        """How readings move with every latent, for some rows (in the order given)."""
        where = np.full(self.rows, -1, dtype=np.intp)
        where[rows] = np.arange(len(rows))
        names: dict[str, int] = {}
        pieces = []
        for placed, group in self._groups:
            mine = np.flatnonzero(where[group.rows] >= 0)
            if mine.size:
                at = where[group.rows[mine]]
                for place, latents, change in _shifts_of(placed, group, group.local[mine]):
                    numbers = [names.setdefault(one, len(names)) for one in latents]
                    columns = np.array(numbers, dtype=np.intp)
                    pieces.append((np.ix_(at, np.array([place]), columns), change))
        values = np.zeros((len(rows), len(self.bench.observations), len(names)))
        for cells, change in pieces:
            values[cells] += change[:, None, :]
        return Shifts(tuple(names), values)


def _shifts_of(
    placed: Placed, group: Group, rows: Index
) -> list[tuple[int, tuple[str, ...], Array]]:
    """For each reader its place, and its shifts (rows, latents): through the volts, and its own."""
    batch, found = group.batch, []
    probes = np.array([probe for _, probe, _ in placed.readers], dtype=np.intp)
    by_volts = port_shifts(batch, batch.probe_ports[probes], rows)
    for number, (place, probe, reader) in enumerate(placed.readers):
        gain = reader.gain(batch, probe)[rows]
        found.append((place, by_volts.latents, gain[:, None] * by_volts.values[:, number]))
        own = reader.own(batch, probe, rows)
        if own:
            found.append((place, tuple(own), np.stack(list(own.values()), axis=1)))
    return found
