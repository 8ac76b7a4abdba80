"""The order of the steps, from the graph: from the source outward, control circuits before the fans.

Everything that can be taken out is out to begin with. What can come next is what the power already
reaches, in some mode that has been tried; so that each step makes one more piece of the loom live. Of
those, what carries little comes before what carries the fans' current, and whatever makes a fan turn
comes last. A loom whose every wire has been live behind a lamp then gets its fans, one fuse after the
other with the lamp in place of that fuse, and at the end its battery.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.service import HOT
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.inspect.design import Design
from circuitcheck.inspect.powerup.modes import IGNITION, Mode, modes_of, undone_to_ask
from circuitcheck.parts.thermoswitch import Stage as TemperatureStage
from circuitcheck.parts.thermoswitch import Thermoswitch
from circuitcheck.solve.point import OperatingPoint, solve_point

LIVE = 0.3
"""Share of the nominal volts from which a point counts as live; common practice, no source."""
LITTLE = 1.0
"""What a control circuit carries at the most [A]; common practice, no source."""
TURNS = 0.1
"""Current from which a motor may turn [A]; common practice, no source."""


@dataclass(frozen=True)
class Stage:
    """One step: what is in, what is asked, where the power comes in.

    :param fit: the part that this step puts in; empty where it only asks for something
    :param out: what is still out
    :param at: the fuse whose place the lamp takes; empty at the battery
    :param held: fuses taken out again, so that the other fans stay still
    :param battery: straight on the battery, nothing between
    :param engine: coolant, with the engine running; empty with the engine off
    :param fresh: points that are live for the first time
    """

    fit: str
    mode: Mode
    out: tuple[str, ...]
    at: str = ""
    held: tuple[str, ...] = ()
    battery: bool = False
    engine: str = ""
    fresh: frozenset[str] = field(default=frozenset())


class Order:
    """Walks through a harness; ``stages`` are the steps."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        self.design = Design(harness)
        self.modes = modes_of(harness)
        self.last = undone_to_ask(harness)
        self.out = [
            name for name, part in harness.parts.items() if part.plugged and part.kind != "battery"
        ]
        self.tried = 1
        """How many of the modes have been tried; those asked for beyond that come one by one."""
        self.live: set[str] = set()
        self._known: dict[tuple[str, frozenset[str]], tuple[Circuit, OperatingPoint]] = {}
        self.turned: set[tuple[str, str, frozenset[str]]] = set()
        """Mode, fuse and motors that have turned behind a lamp."""
        self.stages = tuple(self._walk())

    @property
    def base(self) -> Mode:
        """What is not asked for anew at each step: the ignition, once it has been on."""
        number = 1 if self.tried > 1 and self.modes[1].name == IGNITION else 0
        return self.modes[number]

    # -- what the loom does in a stage, straight on its battery --------------------------------------

    def _solved(self, mode: Mode, out: tuple[str, ...]) -> tuple[Circuit, OperatingPoint]:
        key = mode.name, frozenset(out)
        if key not in self._known:
            circuit = build_circuit(self.harness, setup_of(self.harness, Stage("", mode, out)))
            self._known[key] = circuit, solve_point(circuit)
        return self._known[key]

    def _live(self, mode: Mode) -> frozenset[str]:
        _, point = self._solved(mode, tuple(self.out))
        least = LIVE * self.harness.volts
        return frozenset(
            node
            for node, volts in point.volts.items()
            if node not in point.floating and abs(volts) > least
        )

    def turning(self, mode: Mode, out: tuple[str, ...]) -> dict[str, str]:
        """The motors that turn, each with the last fuse on its way; empty where it has none."""
        circuit, point = self._solved(mode, out)
        found = {}
        for motor in self.design.motors:
            amps = abs(point.amps.get(f"{motor}:motor", 0.0))
            if amps > TURNS:
                feeds = [
                    fuse
                    for fuse in self.outward
                    if fuse in self.design.fuses
                    and abs(point.amps.get(f"{fuse}:element", 0.0)) > 0.5 * amps
                    and not self._turns_without(circuit, motor, fuse)
                ]
                found[motor] = feeds[-1] if feeds else ""
        return found

    @staticmethod
    def _turns_without(circuit: Circuit, motor: str, fuse: str) -> bool:
        without = solve_point(circuit.changed({f"{fuse}:element": None}))
        return abs(without.amps.get(f"{motor}:motor", 0.0)) > TURNS

    @cached_property
    def outward(self) -> list[str]:
        """All parts by their distance from the battery, over everything that can conduct."""
        near = _distances(self.harness)
        far = len(near) + 1
        return sorted(
            self.harness.parts,
            key=lambda name: min(
                (near[node] for node in self.harness.parts[name].nodes(name) if node in near),
                default=far,
            ),
        )

    @cached_property
    def _most(self) -> dict[str, float]:
        """The largest current of each pin over all states of use [A]."""
        pins = [key for name, part in self.harness.parts.items() for key in part.contacts(name)]
        return {key: self.design.most(key)[0] for key in pins}

    def _light(self, name: str, live: frozenset[str]) -> bool:
        """Whether the power reaches a part where it carries little: the coil of a relay."""
        contacts = self.harness.parts[name].contacts(name)
        return any(
            self._most[key] < LITTLE for key, one in contacts.items() if live & {one.tail, one.head}
        )

    # -- the walk ----------------------------------------------------------------------------------

    def _walk(self) -> Iterator[Stage]:
        yield self._stage("", self.modes[0])
        while True:
            step = self._control() or self._load()
            if step is None:
                break
            yield from step
        for name in [one for one in self.last if one in self.out]:
            yield self._fitted(name, self.base)
        if self.base is not self.modes[0]:
            yield self._stage("", self.modes[0])  # a contact that never opens shows at rest
        yield from self._on_battery()

    def _control(self) -> list[Stage] | None:
        """The next step that turns no motor."""
        fits = list(self._fits())
        for heavy in (False, True):
            for name, mode, light in fits:
                if light is not heavy and not self._would_turn(mode, name):
                    return [self._fitted(name, mode)]
            for number, mode in enumerate(self.modes[1:], 1):
                if self._can_ask(mode) and self._is_news(number, mode) and not self._would_turn(mode):
                    self.tried = max(self.tried, number + 1)
                    return [self._stage("", mode)]
        return None

    def _load(self) -> list[Stage] | None:
        """The next one that does, each fuse on its own."""
        for name, mode, _ in self._fits():
            if self._would_turn(mode, name):
                self.out.remove(name)
                return self._turned(name, mode)
        for number, mode in enumerate(self.modes[1:], 1):
            if self._can_ask(mode):
                steps = self._turned("", mode)
                self.tried = max(self.tried, number + 1)
                if steps:
                    return steps
        return None

    def _fits(self) -> Iterator[tuple[str, Mode, bool]]:
        """What the power reaches, the nearest first; with the mode, and whether it carries little."""
        for mode in self.modes[: self.tried]:
            if mode.by in self.out and not mode.bridge:
                continue
            live = self._live(mode)
            if live - self.live:
                continue  # it is asked for first, so that what it makes live is live alone
            for name in self.outward:
                nodes = self.harness.parts[name].nodes(name)
                if name in self.out and name not in self.last and live.intersection(nodes):
                    yield name, mode, self._light(name, live)

    def _can_ask(self, mode: Mode) -> bool:
        """Whether the part that asks is there, and the power reaches it."""
        live = self._live(self.base)
        reached = bool(live.intersection(self.harness.parts[mode.by].nodes(mode.by)))
        return reached and (bool(mode.bridge) or mode.by not in self.out)

    def _is_news(self, number: int, mode: Mode) -> bool:
        return number >= self.tried or bool(self._live(mode) - self.live)

    def _would_turn(self, mode: Mode, fit: str = "") -> bool:
        out = tuple(one for one in self.out if one != fit)
        return bool(self.turning(mode, out))

    def _fitted(self, name: str, mode: Mode) -> Stage:
        self.out.remove(name)
        return self._stage(name, mode)

    def _stage(self, fit: str, mode: Mode, at: str = "", held: tuple[str, ...] = ()) -> Stage:
        live = self._live(mode)
        fresh = live - self.live
        self.live |= live
        return Stage(fit, mode, tuple(self.out), at, held, fresh=fresh)

    def _turned(self, fit: str, mode: Mode) -> list[Stage]:
        """One step for each fuse behind which motors turn that have not turned so before."""
        turning = self.turning(mode, tuple(self.out))
        by_fuse: dict[str, set[str]] = {}
        for motor, fuse in turning.items():
            by_fuse.setdefault(fuse, set()).add(motor)
        found = []
        for fuse, motors in by_fuse.items():
            mark = mode.name, fuse, frozenset(motors)
            if mark not in self.turned:
                self.turned.add(mark)
                held = tuple(one for one in by_fuse if one and one != fuse)
                found.append(self._stage(fit, mode, fuse, held))
                fit = ""
        return found

    def _on_battery(self) -> Iterator[Stage]:
        """Everything in, real fuses, real battery; the fans last."""
        for mode in self.modes:
            out = (*self.out, mode.by) if mode.bridge else tuple(self.out)
            yield Stage("", mode, out, battery=True)
        hot = {
            f"{stage.closes + 2:g} degC warming"
            for name in self.last
            for stage in _stages_of(self.harness, name)
        }
        key = "on" if any(mode.ignition == "on" for mode in self.modes) else "off"
        for celsius in sorted(hot, key=lambda text: float(text.split()[0])):
            words = f"engine running, coolant at {celsius.removesuffix(' warming')}"
            mode = Mode(f"engine-{celsius.split()[0]}", words, ignition=key)
            yield Stage("", mode, tuple(self.out), battery=True, engine=celsius)


def _stages_of(harness: Harness, name: str) -> list[TemperatureStage]:
    part = harness.parts[name]
    assert isinstance(part, Thermoswitch)
    return [one for one in (part.low, part.high) if one is not None]


def _distances(harness: Harness) -> dict[str, int]:
    """How many branches lie between the battery's plus clamp and each point."""
    hot = Setup.model_validate({"ignition": "on", "running": "yes", "engine": HOT})
    near: dict[str, list[str]] = {}
    minus = f"{harness.supply.battery}.-"
    for branch in build_circuit(harness, hot).branches.values():
        near.setdefault(branch.tail, []).append(branch.head)
        near.setdefault(branch.head, []).append(branch.tail)
    found = {f"{harness.supply.battery}.+": 0, minus: 10**6}
    front = [f"{harness.supply.battery}.+"]
    while front:
        onward = []
        for node in front:
            for other in near.get(node, ()):
                if other not in found:
                    found[other] = found[node] + 1
                    onward.append(other)
        front = onward
    return found


def setup_of(harness: Harness, stage: Stage, through: dict[str, object] | None = None) -> Setup:
    """The set-up of a step.

    :param through: what the power comes through, as in a description
    """
    gone = [*stage.out, *stage.held, *([stage.at] if stage.at else [])]
    pulled = [one for one in gone if harness.parts[one].kind in ("fuse", "relay")]
    undone = [one for one in gone if one not in pulled]
    if stage.mode.bridge and stage.mode.by not in undone:
        undone.append(stage.mode.by)
    fields: dict[str, object] = {
        "ignition": stage.mode.ignition,
        "switches": stage.mode.switches,
        "pull": pulled,
        "unplug": undone,
        "bridge": [list(pair) for pair in stage.mode.bridge],
    }
    if stage.engine:
        fields |= {"running": "yes", "engine": stage.engine}
    if through:
        fields["through"] = through
    return Setup.model_validate(fields)
