"""Values and watts that resistors are sold in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from circuitcheck.inspect.tables import rows

SERIES = ("E6", "E12", "E24")
"""The series of IEC 60063 that are looked through, the coarsest first."""
WATTS = (
    5.0,
    10.0,
    15.0,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
    75.0,
    100.0,
    150.0,
    200.0,
    250.0,
    300.0,
    400.0,
    500.0,
    600.0,
    800.0,
    1000.0,
)
"""Usual ratings of wirewound resistors [W]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class StandardValue:
    """A resistance that is sold.

    :param ohms: [ohm]
    :param series: the series in which it is the next one below or above
    """

    ohms: float
    series: tuple[str, ...]


@cache
def _figures(series: str) -> tuple[float, ...]:
    """The two-figure values of a series and of the coarser ones that it holds, ascending."""
    held = SERIES[: SERIES.index(series) + 1]
    return tuple(float(row["value"]) for row in rows("eseries.csv") if row["first_series"] in held)


def around(series: str, ohms: float) -> tuple[float, float]:
    """The largest value of a series not above some ohms, and the smallest not below.

    >>> around("E12", 0.4), around("E6", 4.7)
    ((0.39, 0.47), (4.7, 4.7))
    """
    decade = math.floor(math.log10(ohms))
    values = [
        float(f"{figure}e{decade + shift - 1}") for shift in (-1, 0, 1) for figure in _figures(series)
    ]
    # A value that the solver has only just missed is that value.
    below = max(one for one in values if one <= ohms * (1 + 1e-9))
    return below, min(one for one in values if one >= ohms * (1 - 1e-9))


def neighbours(ohms: float) -> tuple[StandardValue, ...]:
    """One value below and one above in each series, ascending, each once.

    >>> [(one.ohms, one.series) for one in neighbours(0.52)]
    [(0.47, ('E6', 'E12')), (0.51, ('E24',)), (0.56, ('E12', 'E24')), (0.68, ('E6',))]
    """
    found: dict[float, list[str]] = {}
    for series in SERIES:
        for value in around(series, ohms):
            if series not in found.setdefault(value, []):
                found[value].append(series)
    return tuple(StandardValue(value, tuple(found[value])) for value in sorted(found))


def usual_watts(watts: float) -> float:
    """The smallest usual rating that is not below some watts [W].

    >>> usual_watts(60.5), usual_watts(2000.0)
    (75.0, 2000.0)
    """
    return next((one for one in WATTS if one >= watts), math.ceil(watts / 100) * 100.0)
