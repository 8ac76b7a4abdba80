"""What a reading can come out as: words, an open line, or a range of numbers.

Numbers are cut where the suspects leave a gap, so that an outcome is something a person can tell at
a glance ("about 12 V", "nothing"), and the cut costs no more of what the reading tells than it must.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.expected import UNITS, meter_for, scale_factor
from circuitcheck.expect.words import OPEN_LINE, SCALES, normal
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import BUZZES
from circuitcheck.locate.evidence import MISREAD
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import ACCURACY

VEHICLE = 0.03
"""Standard uncertainty of a number from one vehicle to the next, as a share of it: a rough measure
for planning, where the weighing itself takes every tolerance on its own."""
_GAP = 5.0
"""Standard uncertainties between two neighbours from which a cut is made between them."""
_MOST = 7
"""Ranges of numbers at the most."""


@dataclass(frozen=True)
class Outcomes:
    """The outcomes of one reading.

    :param labels: as a person would say them
    :param chances: of each outcome under each row (rows, outcomes)
    """

    labels: tuple[str, ...]
    chances: Array


def tells_nothing(observation: Observation, predicted: Array) -> bool:
    """Whether every row gives the same, as near as the meter can tell."""
    finite = np.isfinite(predicted)
    if not finite.all():
        return not finite.any() and bool(np.isinf(predicted).all() or np.isnan(predicted).all())
    low, high = float(predicted.min()), float(predicted.max())
    if observation.kind == "click":
        return low == high
    meter = ACCURACY[meter_for(observation)].uncertainty(np.array(max(abs(low), abs(high))))
    return high - low < 2 * float(meter)


def outcomes_of(harness: Harness, observation: Observation, predicted: Array) -> Outcomes:
    """The outcomes of a reading.

    :param predicted: what each row gives (rows,)
    """
    scale = SCALES.get(observation.kind)
    if scale is not None:
        known = np.nan_to_num(predicted) / scale_factor(harness, observation)
        chances = scale.chances(known, VEHICLE * np.abs(known))
        labels = scale.words
    else:
        labels, chances = _ranges(observation, predicted)
    buzzing, open_ = np.isnan(predicted), np.isinf(predicted)
    extra = []
    for name, rows in ((OPEN_LINE, open_), (BUZZES, buzzing)):
        if rows.any():
            chances = np.where(rows[:, None], 0.0, chances)
            extra.append(rows.astype(float))
            labels = (*labels, name)
    if extra:
        chances = np.concatenate([chances, np.stack(extra, axis=1)], axis=1)
    return Outcomes(labels, (1 - MISREAD) * chances + MISREAD / chances.shape[1])


def _ranges(observation: Observation, predicted: Array) -> tuple[tuple[str, ...], Array]:
    finite = np.isfinite(predicted)
    values = np.sort(predicted[finite])
    if not values.size:
        return ("a number",), np.ones((len(predicted), 1))
    width = _width(observation, values)
    gaps = np.diff(values) / (0.5 * (width[1:] + width[:-1]))
    widest = np.sort(np.argsort(-gaps)[: _MOST - 1])
    at = [int(n) for n in widest if gaps[n] > _GAP]
    cuts = np.array([0.5 * (values[n] + values[n + 1]) for n in at])
    known = np.where(finite, predicted, 0.0)
    below = normal((cuts - known[:, None]) / _width(observation, known)[:, None])
    edges = np.concatenate([np.zeros((len(known), 1)), below, np.ones((len(known), 1))], axis=1)
    starts, ends = [0, *(n + 1 for n in at)], [*at, len(values) - 1]
    unit = UNITS[observation.kind]
    labels = tuple(_label(float(values[a]), float(values[b]), unit)
                   for a, b in zip(starts, ends, strict=True))  # fmt: skip
    return labels, np.diff(edges, axis=1)


def _width(observation: Observation, values: Array) -> Array:
    meter = ACCURACY[meter_for(observation)].uncertainty(values)
    found: Array = np.hypot(meter, VEHICLE * values)
    return found


def _label(low: float, high: float, unit: str) -> str:
    """``about 12.3 V`` or ``0.2 to 4.1 V``.

    >>> _label(12.21, 12.38, "V"), _label(0.0, 0.004, "V"), _label(1.2, 7.9, "A")
    ('about 12.3 V', 'about 0 V', '1.2 to 7.9 A')
    """
    if high - low <= 0.05 * max(abs(high), abs(low), 0.4):
        middle = 0.5 * (low + high)
        return f"about {_figure(middle)} {unit}"
    return f"{_figure(low)} to {_figure(high)} {unit}"


def _figure(value: float) -> str:
    if abs(value) < 0.005:
        return "0"
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 1 else 2
    return f"{round(value, digits):.{digits}f}" if not math.isinf(value) else OPEN_LINE
