"""Which resistors slow which fans, and in what state of use: found from the solved circuit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from circuitcheck.errors import UnknownName
from circuitcheck.inspect.design import Design, Live
from circuitcheck.learn.curves import speed
from circuitcheck.parts.resistor import Resistor

AT_WORK = 0.2
"""Share of a fan's current from which a resistor is at work and not just joined to it."""


@dataclass(frozen=True)
class Stage:
    """A state of use in which resistors slow fans.

    :param resistors: those to be sized, each in the way of a fan
    :param slows: for each of them the motors that it slows, in the order of the description
    """

    scene: Live
    resistors: tuple[str, ...]
    slows: tuple[tuple[str, ...], ...]

    @property
    def motors(self) -> tuple[str, ...]:
        """The fans that are slowed, each once."""
        return tuple(dict.fromkeys(one for motors in self.slows for one in motors))


def rpm_of(scene: Live, motor: str) -> float:
    """Speed of a motor in a scene [rpm]."""
    return speed(scene.circuit, scene.point, f"{motor}:motor")


def full_speeds(design: Design) -> dict[str, float]:
    """The highest speed of each motor in any state of use [rpm]; motors that never run are left out."""
    found: dict[str, float] = {}
    for scene in design.running:
        for motor in design.motors:
            if design.runs(scene, motor):
                found[motor] = max(found.get(motor, 0.0), rpm_of(scene, motor))
    return found


def stage_of(design: Design, named: Sequence[str] = ()) -> Stage:
    """The stage of some resistors; without a name, the slowest stage of all.

    A resistor that several stages share has the fastest of them for its own: in a pack of three, each
    stage has one resistor that it alone adds.

    :raises UnknownName: if there is no such resistor
    :raises ValueError: if no resistor slows a fan, or those named do not belong together
    """
    known = [name for name, _ in design.parts(Resistor)]
    for name in named:
        if name not in known:
            raise UnknownName("resistor", name, known)
    own = {name: found for name in (named or known) if (found := _own_stage(design, name))}
    if not own:
        raise ValueError(_none(design, named))
    first = min(own.values(), key=lambda one: rpm_of(one[0], one[1][0]))[0]
    together = [name for name, (scene, _) in own.items() if scene is first]
    if strays := [name for name in named if name not in together]:
        raise ValueError(
            f"found {' and '.join(named)}; must be resistors that work in the same state "
            f"of use, and {strays[0]} does not work with {together[0]}"
        )
    _check_apart(design, first, together)
    return Stage(first, tuple(together), tuple(own[name][1] for name in together))


def _own_stage(design: Design, name: str) -> tuple[Live, tuple[str, ...]] | None:
    """The fastest state of use in which a resistor slows fans, and those fans."""
    cases = [(scene, motors) for scene in design.running if (motors := slowed(design, scene, name))]
    return max(cases, key=lambda one: round(rpm_of(one[0], one[1][0]), 3), default=None)


def slowed(design: Design, scene: Live, name: str) -> tuple[str, ...]:
    """The motors that a resistor slows.

    Those that stand without it; or, where two fans are joined so that each is fed through both
    resistors, those that stand without any of the resistors that carry current.
    """
    most = max((scene.amps(f"{motor}:motor") for motor in design.motors), default=0.0)
    at_work = [one for one, _ in design.parts(Resistor) if scene.amps(f"{one}:element") > AT_WORK * most]
    if name not in at_work:
        return ()
    return _stopped_without(design, scene, [name]) or _stopped_without(design, scene, at_work)


def _stopped_without(design: Design, scene: Live, names: Sequence[str]) -> tuple[str, ...]:
    """The motors of a scene that stand when some resistors are taken out."""
    without = design.with_change(scene, {f"{name}:element": None for name in names})
    return tuple(
        motor for motor in design.motors if design.runs(scene, motor) and not design.runs(without, motor)
    )


def _check_apart(design: Design, scene: Live, names: Sequence[str]) -> None:
    """Two unknowns in one current have no single answer.

    :raises ValueError: if there are two such
    """
    seen: dict[str, str] = {}
    for name in names:
        for motor in _stopped_without(design, scene, [name]):
            if motor in seen:
                raise ValueError(
                    f"{seen[motor]} and {name} stand in the same current: name the one to "
                    f"be sized, with --resistor {name}"
                )
            seen[motor] = name


def _none(design: Design, named: Sequence[str]) -> str:
    """Why there is no stage, and where a resistor could go."""
    if named:
        return f"{' and '.join(named)}: no fan is slowed there in any state of use"
    wire = _likely_wire(design)
    hint = f"; --in puts one into a wire, such as --in {wire}" if wire else ""
    return (
        f"{design.harness.name} has no resistor that slows a fan in any state of use, so there is "
        f"none to size{hint}"
    )


def _likely_wire(design: Design) -> str | None:
    """The first loom wire that carries a fan's whole current, and does so at the slowest speed."""
    best: dict[str, float] = {}
    for scene in design.running:
        for motor in design.motors:
            amps = scene.amps(f"{motor}:motor")
            for name, wire in design.harness.wires.items():
                if not wire.belongs_to and amps > 1.0 and abs(scene.amps(name) - amps) < 0.01 * amps:
                    best[name] = max(best.get(name, 0.0), round(rpm_of(scene, motor), -1))
    return min(best, key=lambda one: best[one], default=None)
