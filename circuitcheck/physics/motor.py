"""A permanent-magnet DC motor turning a fan.

At the terminals ``V = I R + Ke w``; on the shaft ``Ke I = k w**2 + T0`` (the torque constant equals
the back-EMF constant in SI units; a fan's torque grows with the square of its speed, as in the
affinity laws of DOE-HDBK-1012/3, HT-03 eq. 3-23 to 3-25). Eliminating I leaves a quadratic for w,
so the current at given volts is closed-form and never falls as the volts rise.

With the volts d above those that friction holds it at, ``d = V - R T0 / Ke``, the back EMF is
``Ke w = 2 d / (1 + s)`` and the slope ``dI/dV = (1 - 1/s) / R``, where ``s^2 = 1 + 4 k R d / Ke^3``:
the root of the quadratic in the form that does not cancel.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from circuitcheck.physics.branch import Array, Curve

Bool = NDArray[np.bool_]

RPM = math.pi / 30
"""One revolution per minute in radians per second."""
HELD = 1e3
"""What stands for the torque of a held shaft [N m]: more than any hand has."""


@dataclass(frozen=True, slots=True)
class FanMotor(Curve):
    """The motor branch, ``tail`` its plus terminal.

    :param resistance: winding and brushes [ohm]
    :param back_emf: Ke [V s/rad], also the torque constant [N m/A]
    :param fan: k [N m s2/rad2]
    :param friction: T0 [N m]
    :param strength: 1 for a motor; 0 takes it out of the circuit (an open motor)
    :param wheel: speed of the fan wheel as a share of the shaft's; below 1 it slips on the shaft
    """

    tail: str
    head: str
    resistance: float
    back_emf: float
    fan: float
    friction: float
    strength: float = 1.0
    wheel: float = 1.0
    spreads: tuple[float, ...] = (0.0,) * 6
    PARAMETERS: ClassVar[tuple[str, ...]] = (
        "resistance",
        "back_emf",
        "fan",
        "friction",
        "strength",
        "wheel",
    )

    @property
    def values(self) -> tuple[float, ...]:
        """Parameters in the order of ``PARAMETERS``."""
        return (
            self.resistance,
            self.back_emf,
            self.fan,
            self.friction,
            self.strength,
            self.wheel,
        )

    @staticmethod
    def speed(parameters: Array, volts: Array) -> Array:
        """Shaft speed at some volts [rad/s]; signed as the volts are, 0 while friction holds it."""
        _, _, holding, bend = FanMotor.terms(parameters)
        emf, _, _ = _turning(holding, bend, np.abs(volts))
        ke, on = parameters[..., 1], parameters[..., 4]
        found: Array = np.copysign(emf / np.where(ke > 0, ke, 1.0), volts) * on
        return found

    @staticmethod
    def wheel_speed(parameters: Array, volts: Array) -> Array:
        """Speed of the fan wheel at some volts [rad/s], which is what an eye sees."""
        found: Array = FanMotor.speed(parameters, volts) * parameters[..., 5]
        return found

    @staticmethod
    def turning_torque(parameters: Array) -> Array:
        """Torque with which a hand turns the wheel of a motor without current [N m].

        Its friction; :data:`HELD` where the shaft is held, nothing where the wheel slips on it.
        Turned slowly: what a winding that is joined up brakes is left out.
        """
        held, slips = parameters[..., 1] == 0.0, parameters[..., 5] < 1.0
        found: Array = np.where(slips, 0.0, np.where(held, HELD, parameters[..., 3]))
        return found

    @staticmethod
    def terms(parameters: Array) -> Array:
        """Winding [ohm], its conductance [S], the volts that friction holds, and 4 k R / Ke^3 [1/V]."""
        r, ke, k, t0, on = (parameters[..., i] for i in range(5))
        turns = ke > 0  # a seized one does not, at any volts
        found = np.empty((4, *r.shape))
        found[0], found[1] = r, on / r
        if turns.all():
            found[2], found[3] = t0 * r / ke, 4 * k * r / (ke * ke * ke)
            return found
        ke = np.where(turns, ke, 1.0)
        found[2] = np.where(turns, t0 * r / ke, np.inf)
        found[3] = 4 * k * r * turns / (ke * ke * ke)
        return found

    @staticmethod
    def drawn(terms: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its slope [S]; ``I = (V - Ke w) / R``."""
        _, siemens, holding, bend = terms
        size = np.abs(volts)
        emf, turns, s = _turning(holding, bend, size)
        size -= emf
        # More volts drive more current, less what meets the back EMF of a shaft that turns faster.
        slope = 1 - turns / s
        slope *= siemens
        return np.copysign(size, volts) * siemens, slope

    @staticmethod
    def drawn_behind(terms: Array, ohm: Array) -> Callable[[Array], Array]:
        """Current on a source behind a resistance [A]: as of a motor with that much more winding."""
        r, siemens, holding, bend = terms
        longer = 1 + ohm / r
        siemens, holding, bend = siemens / longer, holding * longer, bend * longer

        def drawn(emf: Array) -> Array:
            size = np.abs(emf)
            back, _, _ = _turning(holding, bend, size)
            size -= back
            found: Array = np.copysign(size, emf)
            found *= siemens
            return found

        return drawn

    @classmethod
    def from_rated_point(
        cls,
        tail: str,
        head: str,
        *,
        volts: float,
        amps: float,
        rpm: float,
        resistance: float,
        friction_share: float = 0.06,
        spreads: tuple[float, ...] = (0.0,) * 6,
    ) -> FanMotor:
        """The motor that draws ``amps`` at ``volts`` while turning at ``rpm``.

        :param friction_share: share of the rated torque that is brush and bearing friction
        :raises ValueError: if the winding alone would use up the rated volts

        >>> m = FanMotor.from_rated_point("+", "-", volts=13, amps=15, rpm=2600, resistance=0.18)
        >>> i, _ = FanMotor.current_and_slope(np.array(m.values), np.array(13.0))
        >>> round(float(i), 6)
        15.0
        """
        omega = rpm * RPM
        emf = volts - amps * resistance
        if not emf > 0:
            raise ValueError(
                f"{amps:g} A through {resistance:g} ohm is {amps * resistance:g} V, "
                f"which leaves no back EMF at {volts:g} V"
            )
        ke = emf / omega
        torque = ke * amps
        return cls(
            tail,
            head,
            resistance,
            ke,
            torque * (1 - friction_share) / omega**2,
            torque * friction_share,
            spreads=spreads,
        )


def _turning(holding: Array, bend: Array, size: Array) -> tuple[Array, Bool, Array]:
    """Back EMF at volts without a sign [V], whether it turns, and s."""
    over = np.maximum(size - holding, 0.0)
    s = np.sqrt(1 + bend * over)
    return 2 * over / (1 + s), over > 0, s
