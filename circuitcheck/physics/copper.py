"""Resistance of copper conductors: resistivity, temperature, metric and AWG sections."""

from __future__ import annotations

import math

#: Annealed copper at 20 degC [ohm mm2 / m]: 1/58, IEC 60028.
COPPER_RESISTIVITY = 1 / 58
#: Temperature coefficient of annealed copper at 20 degC [1/K], IEC 60028.
COPPER_COEFFICIENT = 0.00393
#: Length of a strand over length of the cable (lay of the strands). Common practice, no source;
#: it puts the cable between solid copper and the ISO 6722-1 maximum for every standard size.
LAY_FACTOR = 1.025


def awg_area(gauge: int) -> float:
    """Section of a round solid wire of an American gauge [mm2].

    ``d = 0.127 mm * 92 ** ((36 - n) / 39)`` (ASTM B258); 1/0 is 0, 2/0 is -1 and so on.

    >>> round(awg_area(12), 4)
    3.3088
    """
    diameter_mm = 0.127 * 92 ** ((36 - gauge) / 39)
    return float(math.pi / 4 * diameter_mm**2)


def at_temperature(ohm_20: float, celsius: float, coefficient: float = COPPER_COEFFICIENT) -> float:
    """Resistance at a temperature [ohm]: ``R = R20 * (1 + a * (t - 20))`` (IEC 60028).

    Good from about -50 to 200 degC, where copper is linear.

    >>> round(at_temperature(100.0, 85.0), 1)
    125.5
    """
    return ohm_20 * (1 + coefficient * (celsius - 20.0))


def wire_resistance(length_m: float, area_mm2: float) -> float:
    """Resistance at 20 degC of a stranded copper wire [ohm].

    ``R = rho * lay * length / section`` with rho from IEC 60028.

    :param length_m: length [m]
    :param area_mm2: nominal section [mm2]
    :raises ValueError: for a section that is not positive

    >>> round(wire_resistance(1.0, 4.0) * 1000, 2)
    4.42
    """
    if not area_mm2 > 0:
        raise ValueError(f"a wire section must be above 0 mm2, not {area_mm2}")
    return COPPER_RESISTIVITY * LAY_FACTOR * length_m / area_mm2
