"""A tungsten lamp: resistance rises with the current through it.

Current follows ``I / I0 = (V / V0) ** 0.55`` (lamp re-rating exponents; D. D. Van Horn, J. IES,
April 1965) down to where the filament would be colder than the room; below that it is the cold
resistance. Hot over cold is 4.8/0.35 (OpenStax University Physics 2, 9.3, second example).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from circuitcheck.physics.branch import Array, Curve

EXPONENT = 0.55
HOT_OVER_COLD = 4.8 / 0.35
_STEPS = 3


@dataclass(frozen=True, slots=True)
class Filament(Curve):
    """The lamp branch.

    :param rated_volts: [V]
    :param rated_amps: [A] at the rated volts
    :param strength: 1 for a whole filament, 0 for a broken one
    """

    tail: str
    head: str
    rated_volts: float
    rated_amps: float
    strength: float = 1.0
    spreads: tuple[float, ...] = (0.0,) * 3
    PARAMETERS: ClassVar[tuple[str, ...]] = ("rated_volts", "rated_amps", "strength")

    @property
    def values(self) -> tuple[float, ...]:
        """Parameters in the order of ``PARAMETERS``."""
        return (self.rated_volts, self.rated_amps, self.strength)

    @staticmethod
    def terms(parameters: Array) -> Array:
        """Rated volts [V] and amps [A], siemens while cold, the volts where the laws meet, strength."""
        v0, i0, on = (parameters[..., i] for i in range(3))
        # The two laws meet where the hot resistance has come down to the cold one.
        meet = v0 * HOT_OVER_COLD ** (-1 / (1 - EXPONENT))
        return np.stack([v0, i0, HOT_OVER_COLD * i0 / v0, meet, on])

    @staticmethod
    def drawn(terms: Array, volts: Array) -> tuple[Array, Array]:
        """Current [A] and its slope [S]."""
        v0, i0, cold_siemens, meet, on = terms
        size = np.abs(volts)
        warm = np.maximum(size, meet)
        hot = i0 * (warm / v0) ** EXPONENT
        cold = size <= meet
        current = np.where(cold, cold_siemens * size, hot)
        slope = np.where(cold, cold_siemens, EXPONENT * hot / warm)
        return on * np.sign(volts) * current, on * slope

    @staticmethod
    def drawn_behind(terms: Array, ohm: Array) -> Callable[[Array], Array]:
        """Current on a source behind a resistance, to some per cent [A].

        Newton's steps from the volts' end come from above, since the current of a hot filament is
        concave; the cold one is met exactly.
        """

        def drawn(emf: Array) -> Array:
            volts = emf
            for _ in range(_STEPS):
                current, slope = Filament.drawn(terms, volts)
                volts = volts - (volts + ohm * current - emf) / (1 + ohm * slope)
            return Filament.drawn(terms, volts)[0]

        return drawn

    @staticmethod
    def brightness(parameters: Array, volts: Array) -> Array:
        """Power over rated power [1]; a filament glows visibly from about a twentieth."""
        current, _ = Filament.current_and_slope(parameters, volts)
        return np.abs(current * volts) / (parameters[..., 0] * parameters[..., 1])
