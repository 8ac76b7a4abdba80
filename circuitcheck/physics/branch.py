"""The few kinds of branch a solver must understand.

A circuit is a set of two-terminal branches. Current is counted positive from ``tail`` to ``head``
through the branch. Three kinds:

* :class:`Conductor`, ``i = v / ohm``, perhaps only while a condition on states holds (a contact);
* :class:`Source`, ``i = (v - emf) / ohm``: a battery, ``tail`` being its positive pole;
* a *curve*, ``i = f(v)`` with f never falling: motor, lamp, diode (one file each). Because no
  branch ever carries less current for more volts, a circuit of such branches has one operating
  point (Duffin 1947, *Nonlinear networks IIa*, Bull. Amer. Math. Soc. 53; from memory).

A :class:`Threshold` watches the current of one branch and is on or off, with hysteresis: relay
coils, module inputs and fuses are all of this one mechanism.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Alternatives, each a tuple of (threshold name, wanted state): closed if any alternative holds.
Condition = tuple[tuple[tuple[str, bool], ...], ...]
#: The condition of a branch that always conducts: one alternative that asks for nothing.
ALWAYS: Condition = ((),)


@dataclass(frozen=True, slots=True)
class Conductor:
    """A resistance; a contact when ``closed_when`` asks for states.

    :param ohm: resistance at 20 degC [ohm], above 0; ``math.inf`` for an open
    :param spread: relative standard uncertainty of ``ohm`` from one sound vehicle to the next
    :param coefficient: temperature coefficient [1/K]
    """

    tail: str
    head: str
    ohm: float
    spread: float = 0.0
    coefficient: float = 0.0
    closed_when: Condition = ALWAYS

    @property
    def siemens(self) -> float:
        """Conductance while closed [S]; 0 for an open."""
        return 0.0 if math.isinf(self.ohm) else 1.0 / self.ohm


@dataclass(frozen=True, slots=True)
class Source:
    """An emf behind a resistance, ``tail`` the positive pole.

    :param emf: [V]
    :param ohm: internal resistance [ohm], above 0
    :param emf_spread: standard uncertainty of the emf [V]
    :param spread: relative standard uncertainty of ``ohm``
    """

    tail: str
    head: str
    emf: float
    ohm: float
    emf_spread: float = 0.0
    spread: float = 0.0

    @property
    def siemens(self) -> float:
        """Conductance of the internal resistance [S]."""
        return 1.0 / self.ohm


class Curve(ABC):
    """What a non-linear branch offers; parameters are a row of numbers so that many solve at once.

    Current is positive from ``tail`` to ``head``; ``spreads`` holds the relative standard uncertainty of
    each parameter.
    """

    __slots__ = ()

    #: Names of the parameters, in the order of the columns.
    PARAMETERS: ClassVar[tuple[str, ...]]

    tail: str
    head: str
    spreads: tuple[float, ...]

    @property
    @abstractmethod
    def values(self) -> tuple[float, ...]:
        """The parameters of this branch, in the order of ``PARAMETERS``."""

    @staticmethod
    @abstractmethod
    def terms(parameters: Array) -> Array:
        """What the law is written in, worked out once of parameters (..., P): (terms, ...)."""

    @staticmethod
    @abstractmethod
    def drawn(terms: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its derivative [S] at some volts."""

    @staticmethod
    @abstractmethod
    def drawn_behind(terms: Array, ohm: Array) -> Callable[[Array], Array]:
        """Near the current on a source behind a resistance [A], by its emf [V]; where to begin from."""

    @classmethod
    def current_and_slope(cls, parameters: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its derivative [S] at some volts; parameters in the last axis."""
        return cls.drawn(cls.terms(parameters), volts)

    @classmethod
    def behind(cls, parameters: Array, emf: Array, ohm: Array) -> Array:
        """Near the current on a source; parameters in the last axis."""
        return cls.drawn_behind(cls.terms(parameters), ohm)(emf)


Branch = Conductor | Source | Curve


@dataclass(frozen=True, slots=True)
class Threshold:
    """On when the current of a branch reaches ``on_amps``, off when it falls to ``off_amps``.

    Between the two it stays as it was. A latching one (a fuse that has blown) never goes off
    again. Current and not volts, so that an open coil never picks up.
    """

    watch: str
    on_amps: float
    off_amps: float
    latching: bool = False

    def next_state(self, state: bool, amps: float) -> bool:
        """The state after a look at the current [A] of the watched branch."""
        if state and self.latching:
            return True
        size = abs(amps)
        return size > self.off_amps if state else size >= self.on_amps


def holds(condition: Condition, states: Mapping[str, bool]) -> bool:
    """Whether a contact with this condition is closed, given the states of all thresholds."""
    if condition is ALWAYS:
        return True
    return any(all(states[name] is wanted for name, wanted in one) for one in condition)
