"""The diode as a drop and a resistance.

The rule of thumb of 0.7 V for silicon: T. R. Kuphaldt, Lessons In Electric Circuits, volume III,
diodes; from memory.
"""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.diode import Junction
from circuitcheck.solve.point import solve_point

volts_given = st.floats(-30.0, 30.0)


def current_and_slope(volts, strength=1.0):
    diode = Junction("a", "k", 0.7, 0.05, strength)
    found = Junction.current_and_slope(np.array(diode.values), np.array(float(volts)))
    return tuple(float(one) for one in found)


# From memory: 12 V through 1 kohm and a silicon diode leaves 11.3 V, 11.3 mA for the resistor.
def test_in_series_with_a_resistor():
    parts = {
        "V": Source("a", "0", 12.0, 1e-3),
        "R": Conductor("a", "b", 1000.0),
        "D": Junction("b", "0", 0.7, 0.05),
    }
    point = solve_point(Circuit(parts, {}, "0"))
    assert point.amps["D"] == pytest.approx(11.3e-3, abs=0.1e-3)
    assert point.volts["b"] == pytest.approx(0.7, abs=0.01)


def test_turned_round_it_blocks():
    parts = {
        "V": Source("a", "0", 12.0, 1e-3),
        "R": Conductor("a", "b", 1000.0),
        "D": Junction("0", "b", 0.7, 0.05),
    }
    point = solve_point(Circuit(parts, {}, "0"))
    assert abs(point.amps["D"]) < 1e-6
    assert point.volts["b"] == pytest.approx(12.0, abs=0.001)


def test_leakage_is_a_tenth_of_a_microampere_at_ten_volts():
    assert current_and_slope(-10.0)[0] == pytest.approx(-0.1e-6)  # common practice, no source


@given(volts_given, volts_given)
def test_more_volts_never_less_current(one, other):
    low, high = sorted((one, other))
    assert current_and_slope(low)[0] <= current_and_slope(high)[0]


@given(volts_given)
def test_slope_is_that_of_the_current(volts):
    step = 1e-6
    assume(abs(volts - 0.7) > 2 * step)
    rise = (current_and_slope(volts + step)[0] - current_and_slope(volts - step)[0]) / (2 * step)
    assert current_and_slope(volts)[1] == pytest.approx(rise, rel=1e-4, abs=1e-8)


def test_no_step_at_the_drop():
    assert current_and_slope(0.7)[0] == pytest.approx(current_and_slope(0.7 + 1e-9)[0], abs=1e-7)


def test_an_open_diode_conducts_nothing_either_way():
    for volts in (-10.0, 5.0):
        assert current_and_slope(volts, strength=0.0) == (0.0, 0.0)
