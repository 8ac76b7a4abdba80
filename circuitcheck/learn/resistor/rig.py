"""The circuit of one stage with the ohms of its resistors as the unknown."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from circuitcheck.inspect.design import Design, Live
from circuitcheck.learn.resistor.stage import Stage, rpm_of
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Branch, Conductor

LEAST, MOST = 1e-3, 1e3
"""Ohms between which an answer is looked for."""


@dataclass(frozen=True)
class Wish:
    """What is wanted of one fan; exactly one of the two is given.

    :param rpm: speed [rpm]
    :param amps: its current [A]
    """

    motor: str
    rpm: float | None = None
    amps: float | None = None

    @property
    def words(self) -> str:
        """As a person says it."""
        wanted = f"{self.rpm:.0f} rpm" if self.rpm is not None else f"{self.amps:.3g} A"
        return f"{self.motor} at {wanted}"


@dataclass(frozen=True)
class Rig:
    """A stage whose resistors all have the same unknown value."""

    design: Design
    stage: Stage

    @cached_property
    def _bare(self) -> dict[str, Conductor]:
        branches = self.stage.scene.circuit.branches
        keys = (f"{name}:element" for name in self.stage.resistors)
        return {key: one for key in keys if isinstance(one := branches[key], Conductor)}

    def at(self, ohms: float, change: Change | None = None) -> Live:
        """The stage with some ohms, solved; with a fault as well, if there is one."""
        found: dict[str, Branch | None] = {
            key: replace(one, ohm=ohms) for key, one in self._bare.items()
        }
        return self.design.with_change(self.stage.scene, {**found, **(change or {})})

    def locked(self, ohms: float, *motors: str) -> Live:
        """The same with the rotors of some motors held."""
        return self.at(ohms, self._fault("seized", motors))

    def dead(self, ohms: float, motor: str) -> Live:
        """The same with one motor open, as from worn brushes."""
        return self.at(ohms, self._fault("open", (motor,)))

    def _fault(self, mode: str, motors: tuple[str, ...]) -> Change:
        branches = self.stage.scene.circuit.branches
        found: dict[str, Branch | None] = {}
        for motor in motors:
            found.update(self.design.faults[f"{motor} {mode}"].change(branches, 0.0))
        return found

    def amps(self, scene: Live, name: str) -> float:
        """Current of a resistor in a scene [A]."""
        return scene.amps(f"{name}:element")

    def watts(self, scene: Live, name: str, ohms: float) -> float:
        """What a resistor gives off in a scene [W]: ``I**2 R`` (CP2e 20.4)."""
        return self.amps(scene, name) ** 2 * ohms

    def worst_locked(self, ohms: float) -> tuple[str, Live]:
        """The fan that heats a resistor most if it alone is held, and the scene."""
        cases = [(motor, self.locked(ohms, motor)) for motor in self.stage.motors]
        return max(cases, key=lambda one: round(self.most_amps(one[1]), 6))

    def most_amps(self, scene: Live) -> float:
        """The largest current of the resistors in a scene [A]."""
        return max(self.amps(scene, name) for name in self.stage.resistors)


def ohms_for(rig: Rig, wish: Wish) -> float:
    """The ohms that give what is wanted [ohm], solved on the whole circuit.

    Speed and current of a fan never rise with the resistance ahead of it, so that there is one answer.

    :raises ValueError: if no resistance gives it
    """
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import, used here alone)

    short = _short(rig, wish)
    at_most = short(math.log(LEAST))
    if at_most < 0 or short(math.log(MOST)) >= 0:
        raise ValueError(_out_of_reach(rig, wish))
    return math.exp(float(brentq(short, math.log(LEAST), math.log(MOST), xtol=1e-10)))


def _short(rig: Rig, wish: Wish) -> Callable[[float], float]:
    """How much more than is wanted a resistance gives, over the logarithm of its ohms."""

    def found(log_ohms: float) -> float:
        scene = rig.at(math.exp(log_ohms))
        if wish.rpm is not None:
            return rpm_of(scene, wish.motor) - wish.rpm
        assert wish.amps is not None
        return scene.amps(f"{wish.motor}:motor") - wish.amps

    return found


def _out_of_reach(rig: Rig, wish: Wish) -> str:
    open_, closed = rig.at(LEAST), rig.at(MOST)
    if wish.rpm is not None:
        slowest, fastest = (rpm_of(one, wish.motor) for one in (closed, open_))
        limits = f"above {slowest:.0f} rpm and below {fastest:.0f} rpm"
    else:
        key = f"{wish.motor}:motor"
        limits = f"above {closed.amps(key):.2g} A and below {open_.amps(key):.3g} A"
    return (
        f"found {wish.words}; must be {limits}, what it does there "
        f"({rig.stage.scene.words}) with the circuit open and with no ohms at all"
    )
