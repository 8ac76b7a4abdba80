"""Expected readings: value, 95 % band, unit and word, for the sound circuit or any other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from circuitcheck.circuit.build import lead_keys
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead, cautions_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.words import OPEN_LINE, SCALES
from circuitcheck.harness.model import Harness, Observation, Test
from circuitcheck.harness.readings import BUZZES
from circuitcheck.notebook import html_table, text_table
from circuitcheck.parts.part import Situation
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import ACCURACY, OPEN_OHM, Accuracy
from circuitcheck.physics.motor import HELD, RPM, FanMotor

UNITS = {
    "volts": "V",
    "drop": "V",
    "amps": "A",
    "ohms": "ohm",
    "speed": "rpm",
    "lamp": "",
    "click": "",
    "hear": "rpm",
    "turn": "N m",
    "fuse": "",
}
_ONE_WORD = ("lamp", "click", "hear", "turn", "fuse")
"""Kinds of observation whose word says all that a person can."""
COVERAGE = 1.96
"""Standard uncertainties to each side that hold 95 % of a normal distribution."""


@dataclass(frozen=True, slots=True)
class ExpectedReading:
    """One reading as it should be.

    :param expected: in ``unit``; None for an open line or a circuit that buzzes
    :param low: lower end of the 95 % band
    :param high: upper end; None without limit
    :param word: what is seen or heard, or OL; empty for a plain number
    """

    name: str
    kind: str
    unit: str
    expected: float | None
    low: float | None
    high: float | None
    word: str

    @property
    def shown(self) -> str:
        """The expected value as a person would note it."""
        if self.kind == "speed" and self.expected:
            return f"{self.word} ({self.expected:.0f} rpm)"
        if self.word or self.expected is None:
            return self.word
        return f"{number(self.expected)} {self.unit}"

    @property
    def band(self) -> str:
        """The band as a person would note it; empty where there is none."""
        if self.kind in _ONE_WORD or not (self.expected or self.kind != "speed"):
            return ""
        if self.expected is None or self.low is None or self.high is None:
            return ""
        if self.kind == "speed":
            return f"{self.low:.0f} and {self.high:.0f}"
        return f"{number(self.low)} and {number(self.high)}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class ExpectedTest:
    """One test with what it should give.

    :param lead: what a sound circuit asks of the jumper lead
    :param buzzing: thresholds that never come to rest
    :param lead_blows: whether the fuse of the lead blows
    """

    test: str
    title: str
    cautions: tuple[str, ...]
    lead: Lead | None
    readings: tuple[ExpectedReading, ...]
    buzzing: tuple[str, ...] = ()
    lead_blows: bool = False

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "test": self.test,
            "title": self.title,
            "cautions": list(self.cautions),
            "lead": asdict(self.lead) if self.lead else None,
            "readings": [one.to_dict() for one in self.readings],
            "buzzing": list(self.buzzing),
            "lead_blows": self.lead_blows,
        }


@dataclass(frozen=True)
class Expectation:
    """What some tests of a harness give, sound or with faults.

    :param blown: fuses that the faults have blown in use, before any test
    """

    harness: str
    tests: tuple[ExpectedTest, ...]
    faults: tuple[str, ...] = ()
    blown: tuple[str, ...] = ()

    def __str__(self) -> str:
        columns = ("test", "reading", "expected", "95 % between")
        rows = [
            (one.test, each.name, each.shown, each.band) for one in self.tests for each in one.readings
        ]
        return f"{self.harness}, {' and '.join(self.faults) or 'sound'}\n\n{text_table(columns, rows)}"

    def __iter__(self) -> Iterator[ExpectedTest]:
        return iter(self.tests)

    def __getitem__(self, test: str) -> ExpectedTest:
        """One test by its name.

        :raises KeyError: if it is not among them
        """
        return {one.test: one for one in self.tests}[test]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "harness": self.harness,
            "faults": list(self.faults),
            "blown": list(self.blown),
            "tests": [one.to_dict() for one in self.tests],
        }

    def _repr_html_(self) -> str:
        rows = [
            (
                one.test,
                r.name,
                "" if r.expected is None else f"{r.expected:.4g}",
                r.unit,
                r.word,
                "" if r.low is None else f"{r.low:.4g}",
                "" if r.high is None else f"{r.high:.4g}",
            )
            for one in self.tests
            for r in one.readings
        ]
        title = f"{self.harness}: {' and '.join(self.faults) or 'sound'}"
        return html_table(title, ["test", "reading", "expected", "unit", "word", "low", "high"], rows)


def bench_for(harness: Harness, test: Test) -> Bench:
    """The bench of one of the harness's tests."""
    return Bench(harness, test.setup, tuple(test.observe.items()))


def expect_tests(
    harness: Harness, tests: Sequence[str], faults: Sequence[ChosenFault] = ()
) -> Expectation:
    """The expected readings of some tests, sound or with faults."""
    (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    found = tuple(_expect(harness, name, faults, blown) for name in tests)
    fuses = tuple(sorted(one.removesuffix(" blown") for one in blown))
    return Expectation(harness.name, found, tuple(one.spec for one in faults), fuses)


def _expect(
    harness: Harness, name: str, faults: Sequence[ChosenFault], blown: frozenset[str]
) -> ExpectedTest:
    test = harness.tests[name]
    bench = bench_for(harness, test)
    change = combined(faults, bench.circuit.branches, test.setup.swap)
    run = bench.run([change], blown=[blown])
    shifts = run.shifts(np.array([0])).values[0]
    spread = np.sqrt(np.sum(shifts**2, axis=-1))
    readings = [
        expected_reading(harness, label, one, float(value), float(u))
        for (label, one), value, u in zip(bench.observations, run.values[0], spread, strict=True)
    ]
    point = bench.point(change, blown)
    return ExpectedTest(
        name,
        test.title,
        tuple(cautions_for(harness, test.setup, test.observe.values())),
        bench.lead,
        tuple(readings),
        point.buzzing,
        any(point.states.get(f"{key} fuse blown", False) for key in lead_keys(test.setup)),
    )


def expected_reading(
    harness: Harness, label: str, observation: Observation, value: float, spread: float
) -> ExpectedReading:
    """A value with its standard uncertainty as a reading with its band, the meter's share added."""
    kind = observation.kind
    unit = UNITS[kind]
    if math.isnan(value):
        return ExpectedReading(label, kind, unit, None, None, None, BUZZES)
    if math.isinf(value):
        return ExpectedReading(label, kind, unit, None, OPEN_OHM, None, OPEN_LINE)
    word = word_for(harness, observation, value)
    if kind == "turn" and value >= HELD:
        return ExpectedReading(label, kind, unit, None, None, None, word)
    if kind in ("click", "fuse"):
        return ExpectedReading(label, kind, unit, value, value, value, word)
    meter = float(accuracy_of(harness, observation).uncertainty(np.array(value)))
    meter = COVERAGE * (meter if kind != "speed" or value else 0.0)
    less, more = _reach(kind, value, spread)
    low, high = value - math.hypot(less, meter), value + math.hypot(more, meter)
    if kind not in ("volts", "drop"):
        low = max(low, 0.0)
    return ExpectedReading(label, kind, unit, value, low, high, word)


def _reach(kind: str, value: float, spread: float) -> tuple[float, float]:
    """How far sound vehicles go below and above a value, 95 % of them.

    What is lost across a joint or a contact goes with its resistance, which varies by a factor and
    not by a sum: its logarithm is what is spread evenly to both sides.
    """
    if kind not in ("drop", "ohms") or not value:
        return COVERAGE * spread, COVERAGE * spread
    share = COVERAGE * min(spread / abs(value), 1.0)
    down, up = abs(value) * -math.expm1(-share), abs(value) * math.expm1(share)
    return (down, up) if value > 0 else (up, down)


def meter_for(observation: Observation) -> str:
    """Which accuracy applies to an observation."""
    return "inline" if observation.inline else observation.kind


def accuracy_of(harness: Harness, observation: Observation) -> Accuracy:
    """How far off a reading may be: as usual, or as is said of the meter it is taken with."""
    usual = ACCURACY[meter_for(observation)]
    measured = observation.kind in ("volts", "drop", "amps", "ohms")
    return usual.no_better_than(harness.meter_within) if measured else usual


def full_speed(harness: Harness, motor: str) -> float:
    """Speed of a motor straight on the resting battery [rpm]: what a person calls fast."""
    values = _motor(harness, motor)
    return float(FanMotor.speed(values, np.array(harness.supply.resting))) / RPM


def _motor(harness: Harness, name: str) -> Array:
    """The parameters of a sound motor (P,)."""
    branch = harness.parts[name].inside(name, Situation())[f"{name}:motor"]
    return np.array(branch.values)  # type: ignore[union-attr]


def scale_factor(harness: Harness, observation: Observation) -> float:
    """What a looked-at value is divided by before it is put into words."""
    if observation.kind in ("speed", "hear"):
        return full_speed(harness, observation.points[0])
    if observation.kind == "turn":
        return float(_motor(harness, observation.points[0])[3])
    return 1.0


def word_for(harness: Harness, observation: Observation, value: float) -> str:
    """The word for a looked-at value; empty for a measured one."""
    scale = SCALES.get(observation.kind)
    if scale is None:
        return ""
    return scale.word(value / scale_factor(harness, observation))


def said(harness: Harness, observation: Observation, value: float) -> str:
    """A predicted value as it would be noted."""
    if math.isnan(value):
        return BUZZES
    if math.isinf(value):
        return OPEN_LINE
    return word_for(harness, observation, value) or f"{number(value)} {UNITS[observation.kind]}"


def number(value: float) -> str:
    """Three digits that mean something, never an exponent.

    >>> number(0.0004), number(12.345), number(0.8123), number(130.4)
    ('0.00', '12.3', '0.81', '130')
    """
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    return f"{round(value, digits) + 0.0:.{digits}f}"
