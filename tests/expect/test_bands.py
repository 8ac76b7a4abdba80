"""The 95 % bands, first order, against drawing vehicles one by one.

``expect.vehicle`` draws each uncertain value of a vehicle and ``solve_point`` solves it at full
size; neither knows of the propagation in ``solve.spread``. 400 vehicles for each test.

What may differ, and why (all of it JCGM 101, propagation of distributions by Monte Carlo, from
memory):

* the share in a 95 % band out of 400 scatters binomially with sqrt(0.95 * 0.05 / 400) = 1.1 %, so
  92 to 98.5 % is about three of these to each side;
* a meter's error is rectangular and not normal, and 1.96 / sqrt(3) > 1: where the meter is most of
  the uncertainty, the band holds up to 100 %, and only the lower limit binds;
* a standard deviation out of 400 scatters by 1 / sqrt(800) = 3.5 %; what is left of the 15 % is for
  curves (a joint's resistance is drawn from a lognormal distribution);
* a correlation out of 400 scatters by at most 1 / sqrt(400) = 5 %, so 15 % is three of these.
"""

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from circuitcheck.expect.expected import bench_for, expect_tests, meter_for
from circuitcheck.expect.readers import METER
from circuitcheck.expect.vehicle import drawer, vary
from circuitcheck.harness.load import load_harness
from circuitcheck.physics.meter import ACCURACY
from circuitcheck.solve.point import solve_point

BENCH = str(Path(__file__).parents[1] / "data" / "bench.yaml")
HARNESSES = (BENCH, "twin-fan-switch")
VEHICLES = 400
PLACES = [(name, test) for name in HARNESSES for test in load_harness(name).tests]
each_test = pytest.mark.parametrize(
    ("name", "test"), PLACES, ids=[f"{Path(name).stem}-{test}" for name, test in PLACES]
)
STEADY = 1e-9
"""Below this share of itself a reading does not vary from vehicle to vehicle."""


@dataclass(frozen=True)
class Drawn:
    """Readings of the drawn vehicles without meter error (vehicles, readings), and their band."""

    labels: tuple[str, ...]
    values: np.ndarray
    shown: np.ndarray
    expected: np.ndarray
    """Of the vehicle of the description."""
    low: np.ndarray
    high: np.ndarray
    by_vehicle: np.ndarray
    """First-order covariance of the readings."""
    by_meter: np.ndarray
    """Standard uncertainty of each meter."""

    @property
    def numbers(self):
        """Readings that are numbers and not an open line."""
        return [place for place in range(len(self.labels)) if np.isfinite(self.low[place])]


def with_meters(station, circuit):
    """A station's circuit with all its voltmeters on it at once: together they draw microamps."""
    added = {}
    for place, reader in station.readers:
        for key, branch in reader.meter().items():
            added[f"{key} {place}" if key == METER and len(station.readers) > 1 else key] = branch
    return circuit.changed(added)


@cache
def drawn(name, test):
    harness = load_harness(name)
    bench = bench_for(harness, harness.tests[test])
    run = bench.run([{}])
    shifts = run.shifts(np.array([0])).values[0]
    readings = expect_tests(harness, [test]).tests[0].readings
    low = np.array([np.inf if one.high is None else one.low for one in readings])
    high = np.array([np.inf if one.high is None else one.high for one in readings])
    meters = [ACCURACY.get(meter_for(one)) for _, one in bench.observations]
    # 'click' has no meter.
    by_meter = np.array(
        [
            float(meter.uncertainty(np.array(value))) if meter and np.isfinite(value) else 0.0
            for meter, value in zip(meters, run.values[0], strict=True)
        ]
    )
    values = np.full((VEHICLES, len(readings)), np.nan)
    for seed in range(VEHICLES):
        draw = drawer(seed)
        for station in bench.stations:
            circuit = with_meters(station, vary(station.circuit, draw))
            point = solve_point(circuit)
            assert not point.buzzing
            for place, reader in station.readers:
                values[seed, place] = reader.value_at(circuit, point)
    error = np.random.default_rng(1).uniform(-1, 1, values.shape)
    shown = np.empty_like(values)
    for place, ((_, observation), meter) in enumerate(zip(bench.observations, meters, strict=True)):
        shown[:, place] = as_shown(observation.kind, meter, values[:, place], error[:, place])
    labels = tuple(label for label, _ in bench.observations)
    return Drawn(labels, values, shown, run.values[0], low, high, shifts @ shifts.T, by_meter)


def as_shown(kind, meter, values, error):
    """What the meter shows; only volts have a minus, and nobody misjudges a fan that stands."""
    if meter is None:
        return values
    read = np.array([meter.shown(v, e) for v, e in zip(values, error, strict=True)])
    if kind == "speed":
        read[values == 0] = 0.0
    return read if kind in ("volts", "drop") else np.maximum(read, 0.0)


def first_order(drawn_):
    return np.sqrt(np.diag(drawn_.by_vehicle))


def varying(found):
    """Readings that differ from vehicle to vehicle, by drawing or by first order."""
    scatter = found.values[:, found.numbers].std(axis=0)
    size = np.maximum(1.0, np.abs(found.values[:, found.numbers].mean(axis=0)))
    by_order = first_order(found)[found.numbers]
    return [
        place
        for place, s, o, m in zip(found.numbers, scatter, by_order, size, strict=True)
        if max(s, o) > STEADY * m
    ]


@each_test
def test_the_band_holds_95_percent_of_vehicles(name, test):
    found = drawn(name, test)
    u = first_order(found)
    for place in found.numbers:
        inside = (found.low[place] <= found.shown[:, place]) & (
            found.shown[:, place] <= found.high[place]
        )
        share = inside.mean()
        assert share >= 0.92, (found.labels[place], share)
        if u[place] > 2 * found.by_meter[place]:
            assert share <= 0.985, (found.labels[place], share)


@each_test
def test_open_lines_are_open_in_every_vehicle(name, test):
    found = drawn(name, test)
    for place in set(range(len(found.labels))) - set(found.numbers):
        assert np.all(np.isinf(found.values[:, place])), found.labels[place]


@each_test
def test_standard_deviations_agree(name, test):
    found = drawn(name, test)
    for place in varying(found):
        scatter = found.values[:, place].std(ddof=1)
        assert first_order(found)[place] == pytest.approx(scatter, rel=0.15), found.labels[place]


@each_test
def test_the_middle_is_where_the_vehicle_of_the_description_is(name, test):
    """A median out of 400 scatters by 1.25 / sqrt(400) = 6 % of a deviation; 25 % is allowed."""
    found = drawn(name, test)
    for place in varying(found):
        scatter = found.values[:, place].std(ddof=1)
        off = np.median(found.values[:, place]) - found.expected[place]
        assert abs(off) < 0.25 * scatter, found.labels[place]


@each_test
def test_correlations_agree_in_sign_and_size(name, test):
    found = drawn(name, test)
    u = first_order(found)
    for one, other in combinations(varying(found), 2):
        by_order = found.by_vehicle[one, other] / (u[one] * u[other])
        by_drawing = np.corrcoef(found.values[:, one], found.values[:, other])[0, 1]
        label = f"{found.labels[one]} and {found.labels[other]}"
        assert by_order == pytest.approx(by_drawing, abs=0.15), label
        if abs(by_drawing) > 0.15:
            assert np.sign(by_order) == np.sign(by_drawing), label


def test_two_readings_of_one_battery_rise_together():
    """A fuller battery lifts every reading in volts of the same test: correlation near one."""
    found = drawn("twin-fan-switch", "feed-at-the-switch")
    one, other = found.labels.index("battery"), found.labels.index("feed")
    u = first_order(found)
    assert found.by_vehicle[one, other] / (u[one] * u[other]) > 0.99


def test_the_drawing_is_the_same_on_every_machine():
    assert [round(drawer(5)(name), 4) for name in ("temperature", "E1:joint ohm")] == [
        round(drawer(5)(name), 4) for name in ("temperature", "E1:joint ohm")
    ]
    assert drawer(5)("temperature") != drawer(6)("temperature")
    assert drawer(None)("temperature") == 0.0


def test_the_latents_are_standard_normal():
    found = np.array([drawer(seed)("temperature") for seed in range(2000)])
    # Standard errors: 1/sqrt(2000) = 2.2 % of the mean, 1/sqrt(4000) = 1.6 % of the deviation.
    assert abs(found.mean()) < 0.08
    assert found.std() == pytest.approx(1.0, abs=0.06)


def test_every_kind_of_reader_has_been_drawn():
    kinds = set()
    for name, test in PLACES:
        harness = load_harness(name)
        kinds |= {one.kind for one in harness.tests[test].observe.values()}
    assert {"volts", "drop", "amps", "ohms", "speed", "lamp"} <= kinds
