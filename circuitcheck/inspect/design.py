"""A harness laid out to be judged: every state it works in, solved, sound and with faults.

A *scene* is a state in which the vehicle is used: ignition, engine running or not, each
temperature step of the switches, each position of the hand switches. In all of them fuses are kept
whole, so that rules see the current there would be and judge by themselves when a fuse opens.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from circuitcheck.circuit.build import all_faults, build_circuit
from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.circuit.series import Mark, SeriesRuns
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.inspect.limits import Limits
from circuitcheck.joined import Joined
from circuitcheck.parts.fault import CHASSIS, Change, FaultMode
from circuitcheck.parts.fuse import Fuse
from circuitcheck.parts.lamp import Lamp
from circuitcheck.parts.module import Module
from circuitcheck.parts.motor import Motor
from circuitcheck.parts.part import Part
from circuitcheck.parts.relay import Relay
from circuitcheck.parts.switch import Switch
from circuitcheck.parts.thermoswitch import Thermoswitch
from circuitcheck.physics.branch import ALWAYS, Branch
from circuitcheck.solve.point import OperatingPoint, solve_point

Kind = TypeVar("Kind", bound=Part)
KEPT_WHOLE = 1e6
"""By how much the limits of all fuses are moved so that none opens."""
NOTHING = 1e-8
"""Less than this [A] is what the solver leaves unaccounted for."""
MOST_SCENES = 60
"""More positions of hand switches than this are not combined; the first ones stand for them."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One state of use."""

    words: str
    setup: Setup


def scenes_of(harness: Harness) -> list[Scene]:
    """Every state of use: ignition and engine, coolant, hand switches."""
    coolant = sorted(
        {20.0}
        | {
            stage.closes + 1
            for part in harness.parts.values()
            if isinstance(part, Thermoswitch)
            for stage in (part.low, part.high)
            if stage
        }
    )
    hand = {
        name: list(part.positions) for name, part in harness.parts.items() if isinstance(part, Switch)
    }
    positions = list(itertools.islice(itertools.product(*hand.values()), MOST_SCENES))
    found = []
    for (ignition, running), celsius, chosen in itertools.product(
        (("on", True), ("off", False)), coolant, positions
    ):
        where = dict(zip(hand, chosen, strict=True))
        words = "engine running" if running else "ignition off"
        words += f", coolant at {celsius:g} degC" if len(coolant) > 1 else ""
        words += "".join(f", {name} at {position}" for name, position in where.items())
        setup = Setup.model_validate(
            {
                "ignition": ignition,
                "running": running,
                "switches": where,
                "engine": f"{celsius:g} degC warming",
            }
        )
        found.append(Scene(words, setup))
    return found


@dataclass(frozen=True)
class Live:
    """A scene with its circuit and its operating point."""

    words: str
    circuit: Circuit
    point: OperatingPoint

    def amps(self, key: str) -> float:
        """Size of the current through a branch [A]; 0 where it is not there."""
        return abs(self.point.amps.get(key, 0.0))


def _matters(scene: Live, key: str) -> bool:
    """Whether it can make a difference that a branch is broken.

    One that carries nothing can go without moving any volts; but a contact may have carried something
    on the way to rest.
    """
    branch = scene.circuit.branches.get(key)
    return scene.amps(key) > NOTHING or getattr(branch, "closed_when", ALWAYS) != ALWAYS


@dataclass(frozen=True)
class Design:
    """A harness with its limits, and everything that rules share, worked out once."""

    harness: Harness
    limits: Limits = field(default_factory=Limits)

    def parts(self, kind: type[Kind]) -> Iterator[tuple[str, Kind]]:
        """The parts of a kind, by name."""
        for name, part in self.harness.parts.items():
            if isinstance(part, kind):
                yield name, part

    @cached_property
    def plus(self) -> str:
        """The plus clamp of the battery that feeds the loom."""
        return f"{self.harness.supply.battery}.+"

    @cached_property
    def minus(self) -> str:
        """Its minus clamp."""
        return f"{self.harness.supply.battery}.-"

    @cached_property
    def scenes(self) -> tuple[Live, ...]:
        """Every state of use, solved, sound."""
        found = []
        for scene in scenes_of(self.harness):
            circuit = build_circuit(self.harness, scene.setup).after(frozenset(), KEPT_WHOLE)
            found.append(Live(scene.words, circuit, solve_point(circuit)))
        return tuple(found)

    def with_change(self, scene: Live, change: Change) -> Live:
        """A scene with a fault in it, fuses kept whole."""
        circuit = scene.circuit.changed(change)
        return Live(scene.words, circuit, solve_point(circuit))

    @cached_property
    def faults(self) -> Mapping[str, FaultMode]:
        """Every fault mode by its name."""
        return {one.spec: one for one in all_faults(self.harness)}

    def with_fault(self, scene: Live, spec: str) -> Live:
        """A scene with a named fault."""
        return self.with_change(scene, self.faults[spec].change(scene.circuit.branches, 0.0))

    # -- motors -----------------------------------------------------------------------------------

    @cached_property
    def motors(self) -> tuple[str, ...]:
        """The names of the motors."""
        return tuple(name for name, _ in self.parts(Motor))

    def runs(self, scene: Live, motor: str) -> bool:
        """Whether a motor has current enough to turn: a twentieth of its rated one."""
        part = self.harness.parts[motor]
        return isinstance(part, Motor) and scene.amps(f"{motor}:motor") > 0.05 * part.rated.amps

    @cached_property
    def running(self) -> tuple[Live, ...]:
        """The scenes in which a motor runs."""
        return tuple(one for one in self.scenes if any(self.runs(one, m) for m in self.motors))

    @cached_property
    def full(self) -> Live | None:
        """The scene in which the motors draw most."""
        found = self.running
        return max(found, key=self._draw) if found else None

    def _draw(self, scene: Live) -> float:
        return round(sum(scene.amps(f"{one}:motor") for one in self.motors), 6)

    @cached_property
    def starting(self) -> tuple[Live, ...]:
        """The scenes in which motors run, at the instant in which they still stand."""
        found = []
        for scene in self.running:
            change: dict[str, Branch | None] = {}
            for motor in self.motors:
                change.update(self.faults[f"{motor} seized"].change(scene.circuit.branches, 0.0))
            found.append(self.with_change(scene, change))
        return tuple(found)

    @cached_property
    def locked(self) -> Mapping[str, tuple[tuple[Live, Live], ...]]:
        """For each motor the scenes in which it runs, and the same with its rotor locked."""
        return {
            motor: tuple(
                (one, self.with_fault(one, f"{motor} seized"))
                for one in self.running
                if self.runs(one, motor)
            )
            for motor in self.motors
        }

    @cached_property
    def broken(self) -> tuple[tuple[str, Live, Live], ...]:
        """Every single break (open, blown, stuck open) in every distinct state in which something is on.

        Each with the name of the fault, the sound scene and the broken one; breaks of what carries no
        current change nothing and are left out. Wherever a run of branches is broken, every current is
        the same: it is solved for the first break of each run, and the others share that scene.
        """
        breaks = [one for one in self.faults.values() if one.severity is None and not one.overloads]
        found = []
        for scene in self.distinct:
            runs = SeriesRuns(scene.circuit, kept=())
            solved: dict[Mark, Live] = {}
            for fault in breaks:
                change = fault.change(scene.circuit.branches, 0.0)
                if not any(_matters(scene, key) for key in change):
                    continue
                taken_out = all(new is None for new in change.values())
                mark = (taken_out and runs.mark(change)) or (fault.spec,)
                if mark not in solved:
                    solved[mark] = self.with_change(scene, change)
                found.append((fault.spec, scene, solved[mark]))
        return tuple(found)

    @cached_property
    def distinct(self) -> tuple[Live, ...]:
        """The scenes in which a load is on, one for each set of branches that conduct."""
        seen: dict[frozenset[str], Live] = {}
        for scene in self.scenes:
            if not any(scene.amps(key) > 1e-3 for key in self.loads):
                continue
            states = scene.point.states
            on = frozenset(k for k, b in scene.circuit.branches.items() if conducts(b, states))
            seen.setdefault(on, scene)
        return tuple(seen.values())

    # -- fuses and loads --------------------------------------------------------------------------

    @cached_property
    def fuses(self) -> Mapping[str, float]:
        """Rating [A] of each fuse by its name."""
        return {name: part.rating for name, part in self.parts(Fuse)}

    @cached_property
    def loads(self) -> Mapping[str, str]:
        """The branches that use current, each with the part it belongs to."""
        found = {f"{name}:motor": name for name in self.motors}
        found.update((f"{name}:lamp", name) for name, _ in self.parts(Lamp))
        for name, _ in self.parts(Relay):
            found.update((f"{name}:{one}", name) for one in ("coil", "damping", "diode"))
        for name, part in self.parts(Module):
            found.update((f"{name}:{label}", name) for label in part.inputs)
        return found

    def supply_sets(self, scene: Live) -> Joined[str]:
        """What is joined in a scene without passing a fuse, a load or the body."""
        return Joined(
            (branch.tail, branch.head)
            for key, branch in scene.circuit.branches.items()
            if conducts(branch, scene.point.states) and self._joins(key, branch)
        )

    def _joins(self, key: str, branch: Branch) -> bool:
        battery = self.harness.supply.battery
        ends = {branch.tail, branch.head}
        return not (
            key in self.loads
            or key.removesuffix(":element") in self.fuses
            or key == f"{battery}:cells"
            or ends & {CHASSIS, self.minus, f"{battery}.post-"}
        )

    @cached_property
    def wire_sets(self) -> Joined[str]:
        """What wires, plugs, splices and pins join for good."""
        pairs = [(wire.start, wire.end) for wire in self.harness.wires.values()]
        for name, part in self.harness.parts.items():
            pairs += [(one.tail, one.head) for one in part.contacts(name).values()]
            if part.kind_name == "splice":
                pins = part.pins()
                pairs += [(f"{name}.{pins[0]}", f"{name}.{pin}") for pin in pins[1:]]
        return Joined(pairs)

    def most(self, key: str, scenes: tuple[Live, ...] | None = None) -> tuple[float, str]:
        """The largest current of a branch over some scenes [A], and which scene."""
        found = self.scenes if scenes is None else scenes
        worst = max(found, key=lambda one: round(one.amps(key), 6), default=None)
        return (worst.amps(key), worst.words) if worst else (0.0, "")
