"""The vehicle on the floor: what is done to it, what the instruments show, what it costs in minutes.

Instruments behave as real ones do. The voltmeter loads the circuit with its input, the ohmmeter has
a little cell of its own and means nothing on a live circuit, the test lamp draws current, a fused
lead blows its fuse and a bare one does not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from circuitcheck.circuit.build import numbered
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.errors import UnknownName
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.observed import reader_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.vehicle import shown, vary
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.harness.rules.setups import parted
from circuitcheck.harness.units import beside
from circuitcheck.learn.case import Case
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import ALWAYS, Conductor
from circuitcheck.solve.point import OperatingPoint, solve_point

#: What each thing costs [min]; common practice, no source. Access is in the harness file.
MINUTES = {
    "volts": 1.0,
    "drop": 1.0,
    "ohms": 1.0,
    "amps": 1.5,
    "lamp": 1.0,
    "look": 0.5,
    "hear": 0.5,
    "turn": 0.5,
    "fuse": 0.5,
    "lead": 1.0,
    "undo": 1.0,
    "join": 1.0,
    "pull": 0.5,
    "refit": 0.5,
    "ignition": 0.2,
    "engine": 0.5,
    "coolant": 8.0,
    "battery": 3.0,
    "switch": 0.2,
    "swap": 5.0,
    "drive": 10.0,
}
LIVE_VOLTS = 0.2
"""An ohmmeter across more than this is spoiled [V]; common practice, no source."""
GLOWS_AMPS = 60.0
"""A bare lead of 4 mm2 that carries more than this gets hot at once [A]; common practice, no source."""


@dataclass(frozen=True)
class Measurement:
    """One look at the vehicle.

    :param setup: as it was then
    :param shown: what the instrument showed or the eye saw
    :param value: the same before rounding and error; infinite for an open line, NaN if it buzzes
    :param sound: what it would have shown on a sound vehicle, straight from the description
    :param own_doing: fuses that the student's own leads had blown by then
    :param spoiled: ohms with the battery connected: the reading is not to be relied on
    :param bare: a lead without a fuse was on
    :param renewed: units that had been put right by then, each of which makes the case another one
    """

    said: str
    observation: Observation
    setup: Setup
    shown: str
    value: float
    sound: str
    minutes: float
    own_doing: frozenset[str]
    spoiled: bool
    bare: bool
    renewed: frozenset[str]


@dataclass
class Workshop:
    """One vehicle with its hidden faults, and the state it is in.

    :param bare: whether the lead that is on has no fuse
    :param opened: what has been opened up to reach things
    :param blown: fuses that have blown, in service or since
    :param own_doing: those of them that would have blown on a sound vehicle too
    :param blown_before: fuses that had blown before the student came
    :param renewed: units that have been put right
    :param unsafe: what was done that could have hurt somebody or something
    """

    case: Case
    state: dict[str, Any] = field(default_factory=dict)
    bare: bool = False
    opened: set[str] = field(default_factory=set)
    blown: set[str] = field(default_factory=set)
    own_doing: set[str] = field(default_factory=set)
    minutes: float = 0.0
    log: list[Measurement] = field(default_factory=list)
    renewed: set[str] = field(default_factory=set)
    blown_before: frozenset[str] = field(init=False)
    unsafe: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.blown |= self._blown_in_use()
        self.blown_before = frozenset(one.removesuffix(" blown") for one in self.blown)

    @property
    def faults(self) -> tuple[ChosenFault, ...]:
        """What is still wrong with it."""
        return tuple(one for one in self.case.faults if one.mode.replace not in self.renewed)

    @property
    def due(self) -> tuple[str, ...]:
        """The units that are to be put right."""
        return tuple(dict.fromkeys(one.mode.replace for one in self.case.faults))

    def needless(self, units: Iterable[str]) -> tuple[str, ...]:
        """Those of some units that were not at fault; a fuse that had blown has to be renewed too."""
        return tuple(one for one in units if one not in {*self.due, *self.blown_before})

    def _blown_in_use(self) -> frozenset[str]:
        """The fuses that what is still wrong blows in use."""
        faults = self.faults
        (found,) = blown_in_service(self.harness, [lambda branches: combined(faults, branches)])
        return found

    @property
    def harness(self) -> Harness:
        """The description, as the student has it."""
        return self.case.harness

    @property
    def setup(self) -> Setup:
        """The state as a test's set-up."""
        return Setup.model_validate(self.state)

    # -- doing something ---------------------------------------------------------------------------

    def spend(self, what: str, *points: str) -> list[str]:
        """Pay for an action, and for getting at the parts it touches; what is opened is told.

        Putting right is not on the clock: what is put right in vain is counted at the end.
        """
        self.minutes += MINUTES.get(what, 0.0)
        told = []
        for name in points:
            part = self.harness.parts.get(name.partition(".")[0])
            access = part.access if part else getattr(self.harness.wires.get(name), "access", None)
            if access and access not in self.opened:
                self.opened.add(access)
                self.minutes += self.harness.access[access].minutes
                note = self.harness.access[access].note
                told.append(
                    f"You open up: {access}{f', {note}' if note else ''} "
                    f"({self.harness.access[access].minutes:g} min)."
                )
        return told

    def renew(self, unit: str) -> list[str]:
        """Put a unit right; a fuse that had blown for its sake is renewed with it."""
        self.renewed.add(unit)
        told = self.spend("renew", *self._places(unit))
        self.blown.discard(f"{unit} blown")
        cured = sorted(self.blown - self._blown_in_use() - self.own_doing)
        self.blown -= set(cured)
        names = [one.removesuffix(" blown") for one in cured]
        told += [f"{name}, which it had blown, is renewed with it." for name in names]
        return [*told, *self.settle()]

    def _places(self, unit: str) -> list[str]:
        """The parts and wires that make up a unit."""
        parts, wires = self.harness.parts.items(), self.harness.wires.items()
        found = [name for name, one in parts if unit in (name, one.belongs_to)]
        found += [name for name, one in wires if unit in (name, one.belongs_to)]
        return found or [unit]

    def settle(self) -> list[str]:
        """Let the vehicle take up its state: fuses may blow, leads may get hot."""
        circuit = self._vehicle()
        point = solve_point(circuit)
        return self._consequences(circuit, point)

    def _consequences(self, circuit: Circuit, point: OperatingPoint) -> list[str]:
        told = []
        for name in circuit.thresholds:
            if not name.endswith("blown") or not point.states[name] or name in self.blown:
                continue
            self.blown.add(name)
            if solve_point(self._sound()).states.get(name):
                self.own_doing.add(name)
            fuse = name.removesuffix(" blown").removesuffix(" fuse")
            if fuse.partition(" ")[0] in ("bridge", "feed", "ground"):
                told.append(
                    self._warn(
                        "The lead's fuse blows: it joined the supply to where there is "
                        "next to no resistance before battery minus."
                    )
                )
            else:
                told.append(f"Fuse {fuse} blows.")
        amps = max((abs(point.amps.get(key, 0.0)) for key in self._leads()), default=0.0)
        if self.bare and amps > GLOWS_AMPS:
            told.append(
                self._warn(
                    f"The bare lead carries {amps:.0f} A and smokes: it shorts the "
                    "supply, and no fuse opens. You tear it off."
                )
            )
            self.state.pop("bridge", None)
            self.bare = False
        return told

    def _warn(self, text: str) -> str:
        self.unsafe.append(text)
        return f"! {text}"

    def warn_of_bare_lead(self) -> str:
        """A lead without a fuse is unsafe wherever it goes."""
        return self._warn("A lead without a fuse: whatever goes wrong now, nothing opens.")

    def _leads(self) -> list[str]:
        return [numbered("bridge", i) for i in range(len(self.state.get("bridge", [])))]

    # -- looking at something ----------------------------------------------------------------------

    def measure(self, said: str, observation: Observation) -> tuple[Measurement, list[str]]:
        """Take a reading; what happens besides is told."""
        kind = observation.kind
        word = {"speed": "look", "click": "hear"}.get(kind, kind)
        touched = beside(self.harness, *observation.points) if kind == "turn" else observation.points
        told = self.spend(word, *touched)
        circuit = self._vehicle()
        if kind == "ohms":
            told += self._ohms_are_safe(observation, circuit)
        if kind == "turn":
            told += self._hand_is_safe()
        value = _value(self.harness, circuit, observation, self.case.meter_ohm, told, self._consequences)
        error = math.tanh(self.case.chance.normal(f"meter {len(self.log)}"))
        whole = self._sound().after(frozenset(self.own_doing & self.blown))
        sound = _value(self.harness, whole, observation, self.case.meter_ohm)
        self.log.append(
            Measurement(
                said,
                observation,
                self.setup,
                _as_read(self.harness, observation, value, error),
                value,
                _as_read(self.harness, observation, sound, 0.0),
                self.minutes,
                frozenset(self.own_doing & self.blown),
                kind == "ohms" and self.setup.battery == "connected",
                self.bare,
                frozenset(self.renewed),
            )
        )
        return self.log[-1], told

    def _ohms_are_safe(self, observation: Observation, circuit: Circuit) -> list[str]:
        point = solve_point(circuit)
        volts = abs(point.between(*observation.points))
        if volts > LIVE_VOLTS:
            return [
                self._warn(
                    f"Ohms on a live circuit: {volts:.1f} V stand across the leads. The "
                    "reading means nothing, and the meter may be gone."
                )
            ]
        if self.setup.battery == "connected":
            return [
                self._warn(
                    "Ohms with the battery connected: it may come on while you measure, and "
                    "another path may lie beside yours."
                )
            ]
        return []

    def _hand_is_safe(self) -> list[str]:
        if self.setup.running:
            return [self._warn("A hand in the fan beside a running engine: belts and fans turn.")]
        if parted(self.setup):
            return []
        return [
            self._warn(
                "A hand in a fan that can start at any moment: its fuse out, its plug undone or the "
                "battery off first."
            )
        ]

    def _vehicle(self) -> Circuit:
        """The faulty vehicle in its present state."""
        circuit = vary(self._sound(), self.case.chance.normal)
        change: Change = combined(self.faults, circuit.branches, self.state.get("swap", []))
        return circuit.changed(change).after(frozenset(self.blown))

    def _sound(self) -> Circuit:
        circuit = Bench(self.harness, self.setup, ()).circuit
        if not self.bare:
            return circuit
        leads = {
            key: replace(one, closed_when=ALWAYS)
            for key in self._leads()
            if isinstance(one := circuit.branches[key], Conductor)
        }
        thresholds: Mapping[str, Any] = {
            name: one for name, one in circuit.thresholds.items() if one.watch not in leads
        }
        return replace(circuit.changed(leads), thresholds=thresholds)

    # -- names -------------------------------------------------------------------------------------

    def terminal(self, name: str) -> str:
        """A terminal by its name, capitals forgiven.

        :raises UnknownName: if there is none
        """
        return _find("terminal", name, self.harness.terminals())

    def probe_point(self, name: str) -> str:
        """A terminal, or bare metal of the body, by its name, capitals forgiven.

        :raises UnknownName: if there is none
        """
        return _find("terminal", name, self.harness.probe_points())

    def part(self, name: str, *kinds: str) -> str:
        """A part of some kinds by its name, capitals forgiven.

        :raises UnknownName: if there is none
        """
        parts = self.harness.parts
        fit = [one for one in parts if not kinds or parts[one].kind_name in kinds]
        return _find(" or ".join(kinds) if kinds else "part", name, fit)

    def fuse(self, name: str) -> str:
        """A fuse, or a lead that has one.

        :raises UnknownName: if there is none
        """
        leads = [] if self.bare else self._leads()
        return _find("fuse", name, [*self._fuses(), *leads])

    def _fuses(self) -> list[str]:
        return [one for one, part in self.harness.parts.items() if part.kind_name == "fuse"]

    def clampable(self, name: str) -> str:
        """A wire, a pin, a fuse or the lead that a clamp goes round.

        :raises UnknownName: if there is none
        """
        pins = [key for one, part in self.harness.parts.items() for key in part.contacts(one)]
        known = [*self.harness.wires, *self._fuses(), *pins, *self._leads()]
        return _find("wire, pin or fuse", name, known)


def _find(what: str, name: str, known: list[str]) -> str:
    folded = {one.casefold(): one for one in known}
    if name.casefold() not in folded:
        raise UnknownName(what, name, known)
    return folded[name.casefold()]


Consequences = Callable[[Circuit, OperatingPoint], list[str]]


def _value(
    harness: Harness,
    circuit: Circuit,
    observation: Observation,
    meter_ohm: float,
    told: list[str] | None = None,
    consequences: Consequences | None = None,
) -> float:
    """What an instrument finds on a circuit, its own load included."""
    with_it, reader = reader_for(circuit, observation, harness.volts, meter_ohm)
    with_it = with_it.changed(reader.meter())
    point = solve_point(with_it)
    if told is not None and consequences is not None:
        told += consequences(with_it, point)
    return math.nan if point.buzzing else reader.value_at(with_it, point)


def _as_read(harness: Harness, observation: Observation, value: float, error: float) -> str:
    if math.isnan(value):
        return "buzzes"
    text = shown(harness, observation, value, error)
    if observation.kind == "speed" and value:
        return f"{text}, some {round(value, -2):.0f} rpm"
    return text
