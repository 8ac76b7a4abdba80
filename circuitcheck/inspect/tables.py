"""The shared tables as numbers: wire resistance, current capacity, bundles, opening times of fuses."""

from __future__ import annotations

import csv
import math
from bisect import bisect_left
from collections.abc import Sequence
from functools import cache

from circuitcheck.physics.copper import at_temperature
from circuitcheck.shipped import folder

_TABLE_CELSIUS = 70.0
"""Conductor temperature for which ``capacity.csv`` holds [degC]."""
_TABLE_AMBIENT = 30.0
"""Air temperature for which it holds [degC]."""
ADIABATIC = 115.0
"""Copper under PVC from 70 to 160 degC: ``t = (k S / I) ** 2`` with k [A s**0.5 / mm2]
(IEC 60364-4-43 and 60364-5-54; from memory)."""
LARGEST_SMALL_BLADE = 40.0
"""The largest rating of types C and F [A]; above it a fuse is taken to be of type E (ISO 8820-3)."""


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """The rows of a table in ``shared/``."""
    with (folder("shared") / name).open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


@cache
def _capacities() -> tuple[tuple[float, float], ...]:
    column = "amps_one_core_in_air_30_degc_conductor_70_degc"
    return tuple((float(row["mm2"]), float(row[column])) for row in rows("capacity.csv"))


def sections() -> tuple[float, ...]:
    """Wire sections that the table has [mm2], rising."""
    return tuple(mm2 for mm2, _ in _capacities())


@cache
def _bundles() -> tuple[tuple[float, float], ...]:
    return tuple((float(row["loaded_wires"]), float(row["factor"])) for row in rows("bundle.csv"))


def on_logs(points: Sequence[tuple[float, float]], x: float) -> float:
    """A value between the points of a table, straight on logarithmic scales; beyond the ends too.

    >>> round(on_logs([(1.0, 10.0), (100.0, 1000.0)], 10.0), 6)
    100.0
    """
    place = min(max(bisect_left([one for one, _ in points], x), 1), len(points) - 1)
    (x0, y0), (x1, y1) = points[place - 1], points[place]
    share = math.log(x / x0) / math.log(x1 / x0)
    return float(y0 * (y1 / y0) ** share)


def bundle_factor(wires: float) -> float:
    """Share of its current that a wire keeps among others as loaded as itself [1].

    :param wires: how many, itself among them
    """
    table = _bundles()
    return min(1.0, on_logs(table, min(wires, table[-1][0])))


def capacity(mm2: float, *, ambient: float, wire_celsius: float, bundle: float = 1.0) -> float:
    """Current that a copper wire carries for good [A].

    The heat that a wire gives off grows with its rise above the air and the heat it makes with
    ``I**2 R``: ``I = I0 sqrt(rise / 40 K) sqrt(R70 / R)`` from the table's 40 K (IEC 60287 in its
    simplest form; the published correction factors for air temperature follow it).

    :param mm2: section [mm2]
    :param ambient: air [degC]
    :param wire_celsius: what the insulation stands for good [degC]
    :param bundle: equally loaded wires side by side, this one among them
    """
    rise = wire_celsius - ambient
    if rise <= 0:
        return 0.0
    warmer = at_temperature(1.0, _TABLE_CELSIUS) / at_temperature(1.0, wire_celsius)
    factor = math.sqrt(rise / (_TABLE_CELSIUS - _TABLE_AMBIENT) * warmer)
    return on_logs(_capacities(), mm2) * factor * bundle_factor(bundle)


def seconds_to_melt(mm2: float, amps: float) -> float:
    """Until a short circuit brings the insulation to 160 degC [s], all heat staying in the copper."""
    return (ADIABATIC * mm2 / amps) ** 2 if amps > 0 else math.inf


@cache
def _curve(kind: str, end: str) -> tuple[tuple[float, float], ...]:
    row = next(one for one in rows("fuse.csv") if one["type"] == kind)
    found = []
    for percent in (110, 135, 160, 200, 350, 600):
        text = row[f"{end}_s_at_{percent}_percent"]
        if text:
            found.append((percent / 100, float(text)))
    return tuple(found)


def _opening(rating: float, amps: float, end: str) -> float:
    points = _curve("C" if rating <= LARGEST_SMALL_BLADE else "E", end)
    ratio = amps / rating
    if ratio < points[0][0]:
        return math.inf
    last = points[-1][0]
    # Beyond the table a fuse melts on what energy it takes: current squared times time stays.
    return on_logs(points, min(ratio, last)) * (last / max(ratio, last)) ** 2


def opens_not_before(rating: float, amps: float) -> float:
    """The shortest time in which a blade fuse may open [s]; infinite where it must not at all."""
    return _opening(rating, amps, "min")


def opens_at_latest(rating: float, amps: float) -> float:
    """The time by which a blade fuse must have opened [s]; infinite where nothing says it will.

    >>> opens_at_latest(20.0, 40.0)
    5.0
    """
    return _opening(rating, amps, "max")


@cache
def resistances() -> tuple[tuple[float, float], ...]:
    """Section [mm2] and greatest resistance [ohm/m] at 20 degC of road-vehicle wire."""
    return tuple(
        (float(row["mm2"]), float(row["maximum_mohm_per_m_20_degc"]) / 1000)
        for row in rows("wire.csv")
        if row["standard"] == "ISO 6722-1"
    )


@cache
def gauges() -> tuple[tuple[str, float], ...]:
    """American gauges and their sections [mm2], the thinnest first."""
    found = [(row["awg"], float(row["area_mm2"])) for row in rows("awg.csv")]
    return tuple(sorted(found, key=lambda one: one[1]))
