"""What meters read off a solved circuit, and how it follows the volts there.

A reader looks at one port. It answers the value, how the value moves with the port's volts, and
what moves it even at fixed volts (the clamped wire's own resistance, the motor's own fan).
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Branch, Conductor, Source
from circuitcheck.physics.meter import (
    OHMMETER_EMF,
    OHMMETER_OHM,
    OPEN_OHM,
    VOLTMETER_OHM,
)
from circuitcheck.solve.batch import Batch
from circuitcheck.solve.point import OperatingPoint
from circuitcheck.solve.spread import TEMPERATURE, TEMPERATURE_SPREAD
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
        return np.abs(batch.siemens_of(self.key) * batch.read_volts[:, probe])

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
        return self._ohm(batch.read_volts[:, probe])

    def gain(self, batch: Batch, probe: int, rows: Index) -> Array:
        """Ohms for a volt more at the leads."""
        left = OHMMETER_EMF - batch.probe_volts[rows, probe]
        return np.where(left > 1e-9, OHMMETER_OHM * OHMMETER_EMF / np.maximum(left, 1e-9) ** 2, 0.0)

    def value_at(self, circuit: Circuit, point: OperatingPoint) -> float:
        """Ohms [ohm]."""
        return float(self._ohm(np.array(point.between(self.tail, self.head))))
