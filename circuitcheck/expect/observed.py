"""The reader of each kind of observation."""

from __future__ import annotations

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.readers import METER, AmpsReader, NoAmps, OhmsReader, Reader, VoltsReader
from circuitcheck.expect.senses import ClickReader, CurveReader, FuseReader, HearReader, TurnReader
from circuitcheck.harness.model import Observation
from circuitcheck.physics.branch import Conductor
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.meter import INLINE_OHM, TEST_LAMP, VOLTMETER_OHM
from circuitcheck.physics.motor import FanMotor

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
