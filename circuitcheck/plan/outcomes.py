"""What a reading can come out as: words, an open line, or a range of numbers.

Numbers are cut where the suspects leave a gap, so that an outcome is something a person can tell at
a glance ("about 12 V", "nothing"), and the cut costs no more of what the reading tells than it must.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.expected import UNITS, accuracy_of, scale_factor
from circuitcheck.expect.words import OPEN_LINE, SCALES, normal
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.harness.readings import BUZZES
from circuitcheck.locate.evidence import MISREAD
from circuitcheck.physics.branch import Array
from circuitcheck.plan.spread import vehicle_spread

_BY_EYE = 0.03
"""Standard uncertainty of what is seen from one vehicle to the next, as a share of it."""
_GAP = 3.0
"""Standard uncertainties between two neighbours from which a cut is made between them: one in fifteen
then comes to lie on the wrong side, which the chances of the outcomes hold."""
_LESS, _MORE = " or less", " or more"
_MOST = 7
"""Ranges of numbers at the most."""


@dataclass(frozen=True)
class Outcomes:
    """The outcomes of one reading.

    :param labels: as a person would say them, numbers in rising order before words
    :param chances: of each outcome under each row (rows, outcomes)
    :param spans: least and most of each range of numbers; those come first
    :param unit: of the numbers
    :param effort: rank of what it takes to get right: a look, volts to the battery's post, any other
    """

    labels: tuple[str, ...]
    chances: Array
    spans: tuple[tuple[float, float], ...] = ()
    unit: str = ""
    effort: int = 0

    def either(self, chosen: Collection[int]) -> str:
        """Some of them in words, neighbouring ranges as one.

        >>> spans = ((0.0, 0.1), (0.4, 0.6), (9.6, 9.8), (11.5, 12.6))
        >>> labels = ("0 to 0.10 V", "0.40 to 0.60 V", "about 9.7 V", "11.5 to 12.6 V")
        >>> volts = Outcomes(labels, np.ones((1, 4)), spans, "V")
        >>> volts.either([2]), volts.either([0, 1]), volts.either([1, 2]), volts.either([2, 3])
        ('about 9.7 V', '0.60 V or less', '0.40 to 9.8 V', '9.6 V or more')
        """
        said = []
        left = sorted(chosen)
        while left:
            run = [left.pop(0)]
            while left and left[0] == run[-1] + 1 and left[0] < len(self.spans):
                run.append(left.pop(0))
            said.append(self._run(run[0], run[-1]))
        if len(said) > 1 and said[-1] == OPEN_LINE and said[-2].endswith(_MORE):
            said.pop()
        return " or ".join(said)

    def _run(self, low: int, high: int) -> str:
        """Neighbouring ranges as one."""
        if low == high:
            return self.labels[low]
        (least, _), (_, most) = self.spans[low], self.spans[high]
        if low == 0 and high < len(self.spans) - 1:
            return f"{_figure(most)} {self.unit}{_LESS}"
        if low > 0 and high == len(self.spans) - 1:
            return f"{_figure(least)} {self.unit}{_MORE}"
        return _label(least, most, self.unit)


def tells_nothing(harness: Harness, observation: Observation, predicted: Array) -> bool:
    """Whether every row gives the same, as near as the meter can tell."""
    finite = np.isfinite(predicted)
    if not finite.all():
        return not finite.any() and bool(np.isinf(predicted).all() or np.isnan(predicted).all())
    low, high = float(predicted.min()), float(predicted.max())
    meter = accuracy_of(harness, observation).uncertainty(np.array(max(abs(low), abs(high))))
    return high - low < 2 * float(meter)


def outcomes_of(harness: Harness, observation: Observation, predicted: Array) -> Outcomes:
    """The outcomes of a reading.

    :param predicted: what each row gives (rows,)
    """
    scale = SCALES.get(observation.kind)
    spans: tuple[tuple[float, float], ...] = ()
    if scale is not None:
        known = np.nan_to_num(predicted) / scale_factor(harness, observation)
        chances = scale.chances(known, _BY_EYE * np.abs(known))
        labels = scale.words
    else:
        spans, chances = _ranges(harness, observation, predicted)
        unit = UNITS[observation.kind]
        labels = tuple(_label(*one, unit) for one in spans) or ("a number",)
    buzzing, open_ = np.isnan(predicted), np.isinf(predicted)
    extra = []
    for name, rows in ((OPEN_LINE, open_), (BUZZES, buzzing)):
        if rows.any():
            chances = np.where(rows[:, None], 0.0, chances)
            extra.append(rows.astype(float))
            labels = (*labels, name)
    if extra:
        chances = np.concatenate([chances, np.stack(extra, axis=1)], axis=1)
    chances = (1 - MISREAD) * chances + MISREAD / chances.shape[1]
    effort = 0 if scale else 1 if observation.kind == "volts" else 2
    return Outcomes(labels, chances, spans, UNITS[observation.kind], effort)


def _ranges(
    harness: Harness, observation: Observation, predicted: Array
) -> tuple[tuple[tuple[float, float], ...], Array]:
    finite = np.isfinite(predicted)
    values = np.sort(predicted[finite])
    if not values.size:
        return (), np.ones((len(predicted), 1))
    width = _width(harness, observation, values)
    gaps = np.diff(values) / (0.5 * (width[1:] + width[:-1]))
    widest = np.sort(np.argsort(-gaps)[: _MOST - 1])
    at = [int(n) for n in widest if gaps[n] > _GAP]
    cuts = np.array([0.5 * (values[n] + values[n + 1]) for n in at])
    known = np.where(finite, predicted, 0.0)
    below = normal((cuts - known[:, None]) / _width(harness, observation, known)[:, None])
    edges = np.concatenate([np.zeros((len(known), 1)), below, np.ones((len(known), 1))], axis=1)
    starts, ends = [0, *(n + 1 for n in at)], [*at, len(values) - 1]
    spans = tuple((float(values[a]), float(values[b])) for a, b in zip(starts, ends, strict=True))
    return spans, np.diff(edges, axis=1)


def _width(harness: Harness, observation: Observation, values: Array) -> Array:
    meter = accuracy_of(harness, observation).uncertainty(values)
    found: Array = np.hypot(meter, vehicle_spread(observation.kind, values, harness.volts))
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
