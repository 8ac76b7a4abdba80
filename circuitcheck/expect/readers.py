"""What each kind of observation reads off a solved circuit, and how it follows the volts there.

A reader looks at one port. It answers the value, how the value moves with the port's volts, and
what moves it even at fixed volts (the clamped wire's own resistance, the motor's own fan).
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.harness.model import Observation
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Branch, Conductor, Source
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.meter import (
    INLINE_OHM,
    OHMMETER_EMF,
    OHMMETER_OHM,
    OPEN_OHM,
    TEST_LAMP,
    VOLTMETER_OHM,
)
from circuitcheck.physics.motor import RPM, FanMotor
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.point import OperatingPoint
from circuitcheck.solve.spread import TEMPERATURE, TEMPERATURE_SPREAD, latents_of
from circuitcheck.solve.wiring import Index

METER = "meter"
"""Key of the branch that an instrument adds to the circuit."""
LEAD_OHM = 1e-9
"""Joins a fitted test lamp to where it is held: a switch, not a lead [ohm]."""


@dataclass(frozen=True)
class Instrument:
    """An instrument on a circuit that it shares with others.

    :param fitted: branches that lie ready there, joined to nothing yet
    :param change: what putting it on does
    :param reader: what reads it there
    """

    reader: Reader
    fitted: Mapping[str, Branch] = field(default_factory=dict)
    change: Change = field(default_factory=dict)


class Reader(ABC):
    """One observation of one circuit; ``probe`` is its place among the probes of a batch.

    Unless it says otherwise, it adds nothing to the circuit, and only its port's volts move it.
    """

    def meter(self) -> Mapping[str, Branch]:
        """Branches that the instrument adds while it is in place."""
        return {}

    @property
    def bends(self) -> bool:
        """Whether the instrument itself is no straight line."""
        return False

    def instrument(self, place: int) -> Instrument:
        """The same among others; ``place`` is its own in the test."""
        return Instrument(self)

    @abstractmethod
    def port(self) -> tuple[str, str]:
        """The nodes it looks at, most positive first."""

    @abstractmethod
    def values(self, batch: Batch, probe: int) -> Array:
        """The reading in all rows of a batch (rows,), in its own unit."""

    @abstractmethod
    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """Change of the reading for one volt more at the port, in the rows asked for (rows,)."""

    def own(self, batch: Batch, probe: int, rows: Index) -> dict[str, Array]:
        """Change of the reading at fixed volts for one standard uncertainty of each latent.

        :returns: latent to change in the rows asked for (rows asked for,)
        """
        return {}

    @abstractmethod
    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """The reading at the operating point of a circuit that its meter is in."""


@dataclass(frozen=True)
class VoltsReader(Reader):
    """A voltmeter from tail to head.

    :param ohm: its input [ohm]
    """

    tail: str
    head: str
    ohm: float = VOLTMETER_OHM

    def meter(self) -> Mapping[str, Branch]:
        """Its input resistance."""
        return {METER: Conductor(self.tail, self.head, self.ohm)}

    @property
    def on(self) -> VoltsReader:
        """The same where the circuit has its input resistance already."""
        return replace(self, ohm=math.inf)

    def port(self) -> tuple[str, str]:
        """Where the leads are."""
        return self.tail, self.head

    def values(self, batch: Batch, probe: int) -> Array:
        """Volts with the meter's load [V]."""
        return batch.metered(probe, 1 / self.ohm)

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """1, less the meter's load; 0 where nothing joins the leads."""
        loaded = 1 / (1 + batch.probe_ohms[rows, probe] / self.ohm)
        return np.where(batch.probe_cut[rows, probe], 0.0, loaded)

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """Volts [V]."""
        return point.between(self.tail, self.head)


@dataclass(frozen=True)
class AmpsReader(Reader):
    """A clamp around a branch, or a meter in the lead; the sign is left out.

    A meter in the lead is part of ``branch`` already: :func:`reader_for` has put it in.
    """

    key: str
    branch: Conductor | None
    inline: bool = False

    def instrument(self, place: int) -> Instrument:
        """A clamp leaves the circuit alone; a meter in the lead alters its branch."""
        return Instrument(self, change={self.key: self.branch} if self.inline else {})

    def port(self) -> tuple[str, str]:
        """The ends of the branch."""
        assert self.branch is not None
        return self.branch.tail, self.branch.head

    def values(self, batch: Batch, probe: int) -> Array:
        """Amps [A]."""
        return np.abs(batch.siemens_of(self.key) * batch.probe_volts[:, probe])

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """The conductance, with the sign of the current [S]."""
        found: Array = batch.siemens_of(self.key)[rows] * np.sign(batch.probe_volts[rows, probe])
        return found

    def own(self, batch: Batch, probe: int, rows: Index) -> dict[str, Array]:
        """Its own resistance and temperature."""
        assert self.branch is not None
        amps = self.values(batch, probe)[rows]
        spread = np.where(batch.alters(self.key)[rows], 0.0, self.branch.spread)
        return {
            f"{self.key} ohm": -amps * spread,
            TEMPERATURE: -amps * self.branch.coefficient * TEMPERATURE_SPREAD,
        }

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """Amps [A]."""
        return abs(point.amps.get(self.key, 0.0))


@dataclass(frozen=True)
class NoAmps(Reader):
    """A clamp around something that this set-up has taken away: no current."""

    reference: str

    def port(self) -> tuple[str, str]:
        """Anywhere."""
        return self.reference, self.reference

    def values(self, batch: Batch, probe: int) -> Array:
        """0 A."""
        return np.zeros(len(batch))

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """It stays at 0 A."""
        return np.zeros(len(rows))

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """0 A."""
        return 0.0


@dataclass(frozen=True)
class CurveReader(Reader):
    """Something seen of a motor or a lamp: ``look(parameters, volts)`` in the reading's unit.

    :param added: whether it is a test lamp, which the instrument brings along
    """

    key: str
    branch: FanMotor | Filament
    added: bool = False

    @property
    def bends(self) -> bool:
        """A lamp that it brings along does."""
        return self.added

    def look(self, parameters: Array, volts: Array) -> Array:
        """Speed [rpm] or share of the rated power [1]."""
        if isinstance(self.branch, FanMotor):
            return np.abs(FanMotor.wheel_speed(parameters, volts)) / RPM
        return Filament.brightness(parameters, volts)

    def meter(self) -> Mapping[str, Branch]:
        """A test lamp, if it is one."""
        return {self.key: self.branch} if self.added else {}

    def instrument(self, place: int) -> Instrument:
        """A test lamp hangs on its minus lead until the plus lead is put on."""
        if not self.added:
            return Instrument(self)
        key, lamp = f"{METER} {place}", self.branch
        lead = {f"{key} lead": Conductor(lamp.tail, key, LEAD_OHM)}
        hanging = replace(self, key=key, branch=replace(lamp, tail=key))
        return Instrument(hanging, {key: hanging.branch}, lead)

    def port(self) -> tuple[str, str]:
        """Its terminals."""
        return self.branch.tail, self.branch.head

    def _place(self, batch: Batch) -> tuple[int, int, int]:
        for number, group in enumerate(batch.network.wiring.curves):
            if self.key in group.keys:
                place = group.keys.index(self.key)
                return number, place, group.columns.start + place
        raise LookupError(self.key)

    def values(self, batch: Batch, probe: int) -> Array:
        """What is seen, in all rows."""
        number, place, column = self._place(batch)
        return self.look(batch.curve_parameters(number, place), batch.curve_volts(column))

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """By a small step; the curve has kinks and no step is better than another there."""
        number, place, column = self._place(batch)
        own, volts = batch.curve_parameters(number, place)[rows], batch.curve_volts(column)[rows]
        return (self.look(own, volts + 1e-4) - self.look(own, volts - 1e-4)) / 2e-4

    def own(self, batch: Batch, probe: int, rows: Index) -> dict[str, Array]:
        """Its own parameters."""
        number, place, _ = self._place(batch)
        latents = latents_of(batch.network.wiring).curves[number]
        mine = latents.of_curve(place)
        if not mine.size:
            return {}
        parameters, volts = latents.nudged(batch, rows, mine)
        more = np.broadcast_to(self.look(parameters, volts), volts.shape)
        return {latents.names[n]: 0.5 * (up - down) for n, up, down in zip(mine, *more, strict=True)}

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """What is seen at one point."""
        branch = circuit.branches.get(self.key)
        if not isinstance(branch, FanMotor | Filament):
            return 0.0
        volts = np.array(point.between(*self.port()))
        return float(self.look(np.array(branch.values), volts))


@dataclass(frozen=True)
class HearReader(CurveReader):
    """An ear at a motor: the speed of its shaft [rpm], whether its fan goes with it or not."""

    def look(self, parameters: Array, volts: Array) -> Array:
        """Speed [rpm]."""
        return np.abs(FanMotor.speed(parameters, volts)) / RPM


@dataclass(frozen=True)
class TurnReader(CurveReader):
    """A hand that turns the fan of a motor: the torque that it takes [N m], whatever the volts."""

    def look(self, parameters: Array, volts: Array) -> Array:
        """Torque [N m]."""
        return FanMotor.turning_torque(parameters)

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """The motor is without current."""
        return np.zeros(len(rows))


@dataclass(frozen=True)
class FuseReader(Reader):
    """Whether a fuse has blown, fitted, pulled out, or in a lead.

    :param key: the branch that is the fuse
    :param ends: the nodes on both sides of it: what is open beside it has not blown
    """

    key: str
    ends: tuple[str, str]

    def port(self) -> tuple[str, str]:
        """Both sides of it."""
        return self.ends

    def values(self, batch: Batch, probe: int) -> Array:
        """1 blown, 0 whole."""
        return np.where(batch.siemens_of(self.key) == 0.0, 1.0, 0.0)

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """A state does not move a little."""
        return np.zeros(len(rows))

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """1 blown, 0 whole."""
        branch = circuit.branches.get(self.key)
        return float(branch is None or not conducts(branch, point.states))


@dataclass(frozen=True)
class ClickReader(Reader):
    """Whether a relay is pulled in."""

    threshold: str
    reference: str

    def port(self) -> tuple[str, str]:
        """Anywhere; it follows a state."""
        return self.reference, self.reference

    def values(self, batch: Batch, probe: int) -> Array:
        """1 pulled in, 0 at rest."""
        return batch.state(self.threshold).astype(float)

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """A state does not move a little."""
        return np.zeros(len(rows))

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """1 pulled in, 0 at rest."""
        return float(point.states.get(self.threshold, False))


@dataclass(frozen=True)
class OhmsReader(Reader):
    """An ohmmeter on the unpowered circuit."""

    tail: str
    head: str

    def meter(self) -> Mapping[str, Branch]:
        """Its own little source."""
        return {METER: Source(self.tail, self.head, OHMMETER_EMF, OHMMETER_OHM)}

    def instrument(self, place: int) -> Instrument:
        """Its source, put on."""
        return Instrument(self, change={f"{METER} {place}": self.meter()[METER]})

    def port(self) -> tuple[str, str]:
        """Where the leads are."""
        return self.tail, self.head

    def _ohm(self, volts: Array) -> Array:
        left = OHMMETER_EMF - volts
        with np.errstate(divide="ignore", invalid="ignore"):
            ohm = np.where(left > 1e-12, OHMMETER_OHM * volts / left, math.inf)
        return np.where(ohm > OPEN_OHM, math.inf, np.maximum(ohm, 0.0))

    def values(self, batch: Batch, probe: int) -> Array:
        """Ohms [ohm]; infinite for an open line."""
        return self._ohm(batch.probe_volts[:, probe])

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """Ohms for a volt more at the leads."""
        left = OHMMETER_EMF - batch.probe_volts[rows, probe]
        return np.where(left > 1e-9, OHMMETER_OHM * OHMMETER_EMF / np.maximum(left, 1e-9) ** 2, 0.0)

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """Ohms [ohm]."""
        return float(self._ohm(np.array(point.between(self.tail, self.head))))


_OF_MOTOR = {"speed": CurveReader, "hear": HearReader, "turn": TurnReader}


def reader_for(
    circuit: Circuit, observation: Observation, volts: float, meter_ohm: float = VOLTMETER_OHM
) -> tuple[Circuit, Reader]:
    """The reader of an observation, and the circuit it needs to look at.

    :param volts: nominal volts of the vehicle, for the test lamp
    :param meter_ohm: input of the voltmeter [ohm]
    """
    kind, points = observation.kind, observation.points
    if kind in ("volts", "drop"):
        return circuit, VoltsReader(points[0], points[1], meter_ohm)
    if kind == "ohms":
        ohms = OhmsReader(points[0], points[1])
        return circuit.changed(ohms.meter()), ohms
    if kind == "click":
        return circuit, ClickReader(f"{points[0]} pulled in", circuit.reference)
    if kind == "amps":
        return _amps(circuit, points[0], inline=observation.inline)
    if kind == "fuse":
        return circuit, _fuse(circuit, points[0])
    if kind in _OF_MOTOR:
        key = f"{points[0]}:motor"
        return circuit, _OF_MOTOR[kind](key, _curve(circuit, key))
    if len(points) == 1:
        return circuit, CurveReader(f"{points[0]}:lamp", _curve(circuit, f"{points[0]}:lamp"))
    scale = volts / 12.0
    filament = Filament(points[0], points[1], TEST_LAMP[0] * scale, TEST_LAMP[1] / scale)
    lamp = CurveReader(METER, filament, added=True)
    return circuit.changed(lamp.meter()), lamp


def _curve(circuit: Circuit, key: str) -> FanMotor | Filament:
    branch = circuit.branches[key]
    assert isinstance(branch, FanMotor | Filament)
    return branch


def _fuse(circuit: Circuit, point: str) -> FuseReader:
    key = _element(circuit, point)
    branch = circuit.branches.get(key)
    ends = (branch.tail, branch.head) if branch else (circuit.reference, circuit.reference)
    return FuseReader(key, ends)


def _element(circuit: Circuit, point: str) -> str:
    """The branch of a wire, pin or lead; of a fuse, what melts in it."""
    return point if point in circuit.branches else f"{point}:element"


def _amps(circuit: Circuit, point: str, *, inline: bool) -> tuple[Circuit, Reader]:
    key = _element(circuit, point)
    branch = circuit.branches.get(key)
    if not isinstance(branch, Conductor):
        return circuit, NoAmps(circuit.reference)
    if inline:
        branch = Conductor(
            branch.tail,
            branch.head,
            branch.ohm + INLINE_OHM,
            branch.spread,
            branch.coefficient,
            branch.closed_when,
        )
        circuit = circuit.changed({key: branch})
    return circuit, AmpsReader(key, branch, inline)
