"""What a person sees, hears and feels without a meter: fans, lamps, relays, fuses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.expect.readers import LEAD_OHM, METER, Instrument, Reader
from circuitcheck.physics.branch import Array, Branch, Conductor
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.motor import RPM, FanMotor
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.point import OperatingPoint
from circuitcheck.solve.spread import latents_of
from circuitcheck.solve.wiring import Index


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
