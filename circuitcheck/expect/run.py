"""The readings of a bench under many changes, from one sweep.

An instrument that alters the circuit (an ohmmeter, a meter in the lead, a test lamp) is itself a
change: each fault is solved once with the voltmeters and clamps, and once with each such instrument
in place, all of them together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.circuit.idle import Idle, joins
from circuitcheck.circuit.series import SeriesRuns
from circuitcheck.expect.readers import AmpsReader, Reader, VoltsReader
from circuitcheck.expect.senses import CurveReader, FuseReader
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Branch
from circuitcheck.solve.changes import Changes, one_of
from circuitcheck.solve.network import Networks, is_loom
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.rounds import Group
from circuitcheck.solve.spread import Shifts, latents_of, port_shifts
from circuitcheck.solve.sweep import Settled, settle
from circuitcheck.solve.wiring import Bool, Index, distinct

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

    @cached_property
    def places(self) -> Index:
        """Of each reader its place in the test."""
        return np.array([place for place, _, _ in self.readers], dtype=np.intp)

    @cached_property
    def voltmeters(self) -> tuple[Index, Index, Array]:
        """Place and probe of each voltmeter, and its conductance [S]."""
        found = [
            (place, probe, 1 / reader.ohm)
            for place, probe, reader in self.readers
            if isinstance(reader, VoltsReader)
        ]
        place, probe, siemens = np.array(found).reshape(-1, 3).T
        return place.astype(np.intp), probe.astype(np.intp), siemens

    def idle(self, circuit: Circuit) -> Idle:
        """What is idle while its instrument is on the shared circuit."""
        readers = [one for _, _, one in self.readers]
        return Idle(
            circuit.changed(self.change),
            [one.port() for one in readers if isinstance(one, VoltsReader)],
            {one.key for one in readers if isinstance(one, AmpsReader | CurveReader | FuseReader)},
        )

    def carrying(self, change: Change, instrument: Change) -> Change:
        """A change of the bench on this circuit, an instrument of the station with it."""
        carried = self.station.carried(change)
        return {**instrument, **carried} if instrument else carried

    @cached_property
    def others(self) -> list[tuple[int, int, Reader]]:
        """The readers that are no voltmeters."""
        return [one for one in self.readers if not isinstance(one[2], VoltsReader)]


class Layout:
    """Readings of some stations on one circuit, with what has been worked out of it so far.

    :param in_place: whether their instruments are on it from the beginning, and not put on by each row
    """

    def __init__(self, circuit: Circuit, stations: Sequence[Station], *, in_place: bool = False) -> None:
        self.circuit = circuit
        self.placed: list[Placed] = []
        self.probes: list[tuple[str, str]] = []
        kept: set[str] = set()
        for station in stations:
            change: dict[str, Branch | None] = {}
            readers = []
            for place, reader in station.readers:
                instrument = reader.instrument(place)
                self.circuit = self.circuit.changed(instrument.fitted)
                change |= instrument.change
                readers.append((place, len(self.probes), instrument.reader))
                self.probes.append(instrument.reader.port())
                if not isinstance(reader, AmpsReader):  # all of a run carries the same
                    kept.update(reader.port())
            if in_place:
                self.circuit, change = self.circuit.changed(change), {}
            self.placed.append(Placed(station, change, tuple(readers)))
        self._metered: dict[int, Layout] = {}
        self.networks = Networks(self.circuit)
        self.runs = SeriesRuns(self.circuit, kept)

    @classmethod
    def of(cls, circuit: Circuit, stations: Sequence[Station]) -> list[Layout]:
        """All stations on one circuit; of a whole loom a test lamp on one of its own.

        Every row that puts a lamp on bends all other curves a little; one that stays on has bent them.
        """
        if not is_loom(circuit):
            return [cls(circuit, stations)]
        lamps = [one for one in stations if any(reader.bends for _, reader in one.readers)]
        others = [one for one in stations if one not in lamps]
        found = [cls(circuit, others)] if others else []
        return [*found, *(cls(circuit, [one], in_place=True) for one in lamps)]

    def metered(self, number: int) -> Layout:
        """One voltmeter by its number in ``meters``, with its load on the circuit from the beginning."""
        if number not in self._metered:
            _, station, place = self.meters[number]
            one = self.placed[station].station
            reader = dict(one.readers)[place]
            assert isinstance(reader, VoltsReader)
            loaded = one.circuit.changed(reader.meter())
            self._metered[number] = Layout(
                loaded, [replace(one, circuit=loaded, readers=((place, reader.on),))]
            )
        return self._metered[number]

    @cached_property
    def clamped(self) -> dict[str, set[str]]:
        """The branches that an ammeter is at, and their ends."""
        return {
            reader.key: set(reader.port())
            for placed in self.placed
            for _, _, reader in placed.readers
            if isinstance(reader, AmpsReader)
        }

    @cached_property
    def meters(self) -> list[tuple[int, int, int]]:
        """Of each voltmeter the probe, the number of its station, and its place in the test."""
        return [
            (probe, number, place)
            for number, one in enumerate(self.placed)
            for place, probe, reader in one.readers
            if isinstance(reader, VoltsReader)
        ]

    @cached_property
    def idle(self) -> list[Idle]:
        """What is idle at each station; not asked of a small circuit, of which most carries current."""
        return [one.idle(self.circuit) for one in self.placed] if is_loom(self.circuit) else []


class Alike:
    """Rows of which only one of each kind is solved.

    :param kind: of each row; rows of one kind do the same to all that is read
    """

    def __init__(self, kind: Index) -> None:
        _, self.rows, self._solved = np.unique(kind, return_index=True, return_inverse=True)
        """Rows that are solved, in the numbers of all rows."""
        self._each = np.argsort(self._solved, kind="stable")
        """All rows, by the row that is solved for them."""
        self._many = np.bincount(self._solved, minlength=len(self.rows))

    def everyone(self, group: Group) -> Group:
        """A group of the rows solved as one of all rows that it stands for."""
        many, ends = self._many[group.rows], np.cumsum(self._many)[group.rows]
        place = np.repeat(ends - np.cumsum(many), many) + np.arange(many.sum())
        return Group(self._each[place], np.repeat(group.local, many), group.batch)

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
    :param together: for each row of the run the two rows of ``changes`` that act at once, the
        second -1 for none; the two must alter different branches. Those of ``changes`` unless told
    """

    def __init__(
        self,
        bench: Bench,
        changes: Sequence[Change],
        counts: Sequence[int],
        blown: Blown | None = None,
        fuses: Array | None = None,
        together: Index | None = None,
    ) -> None:
        self.bench = bench
        self.changes = changes
        self._counts = np.array(counts, dtype=np.intp)
        self._first = np.cumsum([0, *counts])
        self._change_of = np.append(np.repeat(np.arange(len(changes)), self._counts), -1)
        """The number of the change that each of its rows belongs to; the last for no row."""
        if together is None:
            every = np.arange(len(self._change_of) - 1)
            together = np.stack([every, np.full(len(every), -1)], axis=1)
        self.together = together
        self.rows = len(together)
        self.blown = [frozenset[str]()] * self.rows if blown is None else blown
        self.fuses = np.ones(self.rows) if fuses is None else fuses
        self.values = np.full((self.rows, len(bench.observations)), np.nan)
        self.buzzing = np.zeros(self.rows, dtype=bool)
        self._groups: list[tuple[Placed, Group]] = []
        for layout in bench.layouts if self.rows else ():
            self._take(layout)

    def _take(self, layout: Layout) -> None:
        """Solve every row with the instrument of every station in place, and read it off."""
        placed = layout.placed
        alike = Alike(self._kinds(layout))
        station, row = np.divmod(alike.rows, self.rows)
        settled = self._settled(layout, station, row)
        self.buzzing[alike.all_of(settled.buzzing) % self.rows] = True
        whole = {*alike.rows[settled.unsure].tolist()}
        whole |= {*alike.rows[self._clamp_moved(layout)[row]].tolist()}
        for group in settled.groups:
            self._read(layout, alike.everyone(group))
        for number in sorted(whole):
            one = placed[number // self.rows].station
            self._take_one(one, number % self.rows, alike.like(number) % self.rows)
        for number, solved in self._behind_knee(layout, settled.groups, alike):
            left = [one for one in solved.tolist() if alike.rows[one] not in whole]
            if left:
                self._take_metered(layout.metered(number), alike, np.array(left, dtype=np.intp))

    def _settled(self, layout: Layout, station: Index, row: Index) -> Settled:
        """Some rows at rest, each with the instrument of a station in place."""
        blown = [self.blown[one] for one in row.tolist()]
        changes = self._laid_out(layout, station, row)
        return settle(layout.networks, changes, layout.probes, blown, self.fuses[row])

    def _behind_knee(
        self, layout: Layout, groups: Sequence[Group], alike: Alike
    ) -> Iterator[tuple[int, Index]]:
        """Voltmeters by their numbers in ``layout.meters``, and the rows where each bends a diode."""
        meters, siemens = layout.meters, 1 / self.bench.harness.meter_ohm
        probes = [probe for probe, _, _ in meters]
        stations = np.array([station for _, station, _ in meters], dtype=np.intp)
        found = [np.zeros((0, 2), dtype=np.intp)]
        for group in groups:
            doubtful = group.batch.behind_knee(probes, siemens)[group.local]
            if not doubtful.any():
                continue
            doubtful &= (alike.rows[group.rows] // self.rows)[:, None] == stations
            row, meter = np.nonzero(doubtful)
            found.append(np.stack([meter, group.rows[row]], axis=1))
        meter, row = np.concatenate(found).T
        for number in distinct(meter).tolist():
            yield number, row[meter == number]

    def _clamp_moved(self, layout: Layout) -> Bool:
        """Rows that join a clamped branch to other nodes: its volts are not those of the port then."""
        moved = np.zeros(len(self.changes) + 1, dtype=bool)  # the last for no change
        for number, one in enumerate(self.changes):
            for key in layout.clamped.keys() & one.keys():
                new = one[key]
                if new is not None and {new.tail, new.head} != layout.clamped[key]:
                    moved[number] = True
        return np.asarray(np.any(moved[self._change_of[self.together]], axis=1))

    def _laid_out(self, layout: Layout, station: Index, row: Index) -> Changes:
        """The changes of some rows, each with the instrument of a station in place."""
        listed: list[Change] = []
        counts: list[int] = []
        both = np.full((len(row), 2), -1, dtype=np.intp)
        for number, placed in enumerate(layout.placed):
            mine = np.flatnonzero(station == number)
            rows = self.together[row[mine]]
            for columns in ([0], [1]) if placed.change else ([0, 1],):
                # What acts first has the instrument of the station with it.
                instrument = placed.change if columns == [0] else {}
                asked = rows[:, columns]
                change = self._change_of[asked]
                used = distinct(change[asked >= 0])
                size = self._counts[used]
                start = np.full(len(self.changes) + 1, -1)
                start[used] = sum(counts) + np.cumsum(size) - size - self._first[used]
                both[mine[:, None], columns] = np.where(asked >= 0, start[change] + asked, -1)
                listed += [placed.carrying(self.changes[one], instrument) for one in used.tolist()]
                counts += size.tolist()
        changes = Changes.of(layout.networks.wiring, listed, counts)
        return changes.take(both[:, 0]) if np.all(both[:, 1] < 0) else changes.together(*both.T)

    def _read(self, layout: Layout, group: Group) -> None:
        """Read off what has come to rest; what buzzes stays NaN."""
        station = group.rows // self.rows
        for number, placed in enumerate(layout.placed):
            mine = np.flatnonzero(station == number)
            if not mine.size:
                continue
            own = Group(group.rows[mine] % self.rows, group.local[mine], group.batch)
            self._groups.append((placed, own))
            places, probes, siemens = placed.voltmeters
            if places.size:
                volts = group.batch.metered(probes, siemens)
                self.values[own.rows[:, None], places] = volts[own.local]
            for place, probe, reader in placed.others:
                self.values[own.rows, place] = reader.values(group.batch, probe)[own.local]

    def _kinds(self, layout: Layout) -> Index:
        """For all rows at all stations numbers that are equal where all that is read is."""
        none = np.zeros(self._first[-1], dtype=bool)
        unmoved = [self._unmoved(one) for one in layout.idle] or [none]
        kind, adds = self._marked(layout, np.all(unmoved, axis=0))
        found = [self._paired(np.where(one, -1, kind), one, adds) for one in unmoved]
        each = np.broadcast_to(found, (len(layout.placed), self.rows))
        return np.asarray((each + (len(kind) + 2) ** 2 * np.arange(len(each))[:, None]).reshape(-1))

    def _unmoved(self, idle: Idle) -> Bool:
        """Rows of the changes that leave all that is read at a station as it is."""
        return np.repeat([idle.unmoved_by(one) for one in self.changes], np.diff(self._first))

    def _marked(self, layout: Layout, unmoved: Bool) -> tuple[Index, Bool]:
        """For each row of the changes a number that is equal where all that is read is, and which add.

        :param unmoved: rows that need not be told apart
        """
        marks: dict[Any, int] = {}
        counts = np.diff(self._first)
        first, adding = [], []
        wary = bool(layout.idle) and bool(np.any(self.together[:, 1] >= 0))
        for change, start, count in zip(
            self.changes, self._first.tolist(), counts.tolist(), strict=False
        ):
            mark = () if count and unmoved[start] else layout.runs.mark(change)
            adding.append(mark is None or (wary and joins(layout.circuit, change)))
            first.append(start if mark is None else marks.setdefault((mark, count), start))
        kind = np.repeat(np.array(first, dtype=np.intp) - self._first[:-1], counts)
        kind += np.arange(len(kind))
        return kind, np.repeat(np.array(adding, dtype=bool), counts)

    def _paired(self, kind: Index, unmoved: Bool, adds: Bool) -> Index:
        """For each row of the run a number that is equal where all that is read at a station is.

        :param kind: the same of the rows of the changes; ``unmoved`` and ``adds`` tell which do nothing
            to what is read, alone, and which add something
        """
        one, other = self.together.T
        # What is added may end within a run, and then it matters where along it the other change is;
        # and what is idle carries current once a branch is added that closes a loop.
        apart = np.append(adds, False)[self.together].any(axis=1) & ~(unmoved[one] & (other < 0))
        pair = np.where(apart[:, None], self.together, np.append(kind, -1)[self.together])
        pair = np.sort(pair, axis=1)
        found: Index = (pair[:, 0] + 1) * (len(kind) + 1) + pair[:, 1] + 1
        special = (self.fuses != 1.0) | np.array([bool(one) for one in self.blown], dtype=bool)
        found[special] = -1 - np.flatnonzero(special)
        return found

    def _change(self, row: int) -> Change:
        """What one row alters."""
        found: dict[str, Branch | None] = {}
        for one in self.together[row].tolist():
            if one >= 0:
                number = self._change_of[one]
                found |= one_of(self.changes[number], one - int(self._first[number]))
        return found

    def _take_one(self, station: Station, row: int, rows: Index) -> None:
        """All readings of a station at full size, each meter on its own.

        :param rows: all those that read like ``row``
        """
        circuit = self._circuit(station, row)
        bare = solve_point(circuit)
        near = np.array(list(bare.volts.values()))  # a meter moves little: it is begun from there
        self.buzzing[rows] |= bool(bare.buzzing)
        for place, reader in station.readers:
            if bare.buzzing:
                self.values[rows, place] = np.nan
                continue
            meter = {key: one for key, one in reader.meter().items() if key not in circuit.branches}
            point = solve_point(circuit.changed(meter), near) if meter else bare
            self.values[rows, place] = reader.value_at(circuit, point)

    def _take_metered(self, layout: Layout, alike: Alike, solved: Index) -> None:
        """One voltmeter with its load on the circuit, of rows that are at rest without it.

        :param layout: with this meter alone
        :param solved: numbers of the rows among those of ``alike``
        """
        (placed,) = layout.placed
        ((place, probe, reader),) = placed.readers
        row = alike.rows[solved] % self.rows
        settled = self._settled(layout, np.zeros_like(row), row)
        for group in settled.groups:
            own = alike.everyone(Group(solved[group.rows], group.local, group.batch))
            self.values[own.rows % self.rows, place] = reader.values(own.batch, probe)[own.local]
        for one in [*settled.unsure.tolist(), *settled.buzzing.tolist()]:
            rows = alike.like(int(alike.rows[solved[one]])) % self.rows
            self._take_one(placed.station, int(row[one]), rows)

    def _circuit(self, station: Station, row: int) -> Circuit:
        """The circuit of one row, with the instrument of a station in place."""
        circuit = station.circuit.changed(station.carried(self._change(row)))
        return circuit.after(self.blown[row], float(self.fuses[row]))

    def shifts(self, rows: Index) -> Shifts:
        """How readings move with every latent of the bench, for some rows (in the order given)."""
        where = np.full(self.rows, -1, dtype=np.intp)
        where[rows] = np.arange(len(rows))
        numbers = {name: number for number, name in enumerate(self.bench.latents)}
        values = np.zeros((len(rows), len(self.bench.observations), len(numbers)))
        alike: dict[tuple[int, int], list[tuple[Placed, Group]]] = {}
        for placed, group in self._groups:
            mine = np.flatnonzero(where[group.rows] >= 0)
            if mine.size:
                some = Group(where[group.rows[mine]], group.local[mine], group.batch)
                alike.setdefault((id(group.batch), len(placed.readers)), []).append((placed, some))
        for many in alike.values():
            moved = _shifts_of(many)
            names = latents_of(many[0][1].batch.network.wiring).names
            columns = np.array([numbers[one] for one in names], dtype=np.intp)
            places = np.concatenate([np.tile(one.places, (len(group.rows), 1)) for one, group in many])
            at = np.concatenate([group.rows for _, group in many])
            values[at[:, None, None], places[..., None], columns] = moved
        return Shifts(self.bench.latents, values)


def _shifts_of(many: Sequence[tuple[Placed, Group]]) -> Array:
    """Shifts of the readings of stations in one batch, by the volts and their own.

    :param many: stations with as many readings each
    :returns: (rows of all, readings, latents)
    """
    batch = many[0][1].batch
    probes = [
        np.tile([probe for _, probe, _ in placed.readers], (len(group.local), 1))
        for placed, group in many
    ]
    local = np.concatenate([group.local for _, group in many])
    found = port_shifts(batch, batch.probe_ports[np.concatenate(probes)], local)
    numbers = latents_of(batch.network.wiring).numbers
    first = 0
    for placed, group in many:
        mine = found[first : first + len(group.local)]
        for number, (_, probe, reader) in enumerate(placed.readers):
            mine[:, number] *= reader.gain(batch, probe, group.local)[:, None]
            for name, change in reader.own(batch, probe, group.local).items():
                if name in numbers:  # of what is certain nothing is kept
                    mine[:, number, numbers[name]] += change
        first += len(group.local)
    return found
