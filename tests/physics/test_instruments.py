"""Meters: what they load and how wrong they may be, against published examples.

LIEC-1 = T. R. Kuphaldt, Lessons In Electric Circuits, Volume I (DC), fifth edition; CP2e = OpenStax
College Physics 2e; GUM = JCGM 100:2008. Marks as in the project's list of published values.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.meter import (
    ACCURACY,
    INLINE_OHM,
    OHMMETER_EMF,
    OHMMETER_OHM,
    TEST_LAMP,
    VOLTMETER_OHM,
    Accuracy,
)
from circuitcheck.solve.point import solve_point


def solved(**branches):
    return solve_point(Circuit(branches, {}, "0"))


# C19. LIEC-1 ch. 8, read: 24 V over two 250 Mohm; a 10 Mohm meter on the lower shows 0.8889 V.
def test_a_voltmeter_loads_what_it_measures():
    parts = {
        "V": Source("a", "0", 24.0, 1e-3),
        "upper": Conductor("a", "b", 250e6),
        "lower": Conductor("b", "0", 250e6),
    }
    assert solved(**parts).volts["b"] == pytest.approx(12.0, abs=0.01)
    meter = Conductor("b", "0", VOLTMETER_OHM)
    assert solved(**parts, meter=meter).volts["b"] == pytest.approx(0.8889, abs=0.0001)


# C20. CP2e 21.4 exercise, read: 1.585 V behind 0.100 ohm; 1.00 kohm meter -> 1.58 mA, 1.5848 V.
def test_a_poor_voltmeter_on_a_small_cell():
    point = solved(V=Source("a", "0", 1.585, 0.100), meter=Conductor("a", "0", 1000.0))
    assert point.amps["meter"] == pytest.approx(1.58e-3, abs=0.01e-3)
    assert point.volts["a"] == pytest.approx(1.5848, abs=0.0001)


# C21. CP2e 21.4 exercise, read: a 0.0200 ohm meter in series with 10.00 ohm: 0.20 % less current.
def test_a_meter_in_the_lead_lowers_the_current():
    assert INLINE_OHM == 0.0200
    parts = {"V": Source("a", "0", 12.0, 1e-6)}
    before = solved(**parts, R=Conductor("a", "0", 10.00)).amps["R"]
    after = solved(**parts, R=Conductor("a", "b", 10.00), M=Conductor("b", "0", INLINE_OHM))
    assert (before - after.amps["M"]) / before * 100 == pytest.approx(0.20, abs=0.01)


# LIEC-1 ch. 8, read: 10 Mohm for a digital voltmeter.
def test_input_of_the_voltmeter():
    assert VOLTMETER_OHM == 10e6


# Common practice: up to about 1 mA on the lowest range, 0.3 to 3 V with the leads apart.
def test_the_ohmmeter_is_gentle():
    assert OHMMETER_EMF / OHMMETER_OHM <= 1.0e-3
    assert 0.3 <= OHMMETER_EMF <= 3.0


def test_the_test_lamp_is_one_of_five_watts():
    volts, amps = TEST_LAMP
    assert volts * amps == pytest.approx(5.0)


class TestAccuracy:
    # Open meter guide, read: reading 100.0 V, +-(1 % + 2) -> 98.8 to 101.2 V.
    def test_hundred_volts(self):
        meter = Accuracy(share=0.01, offset=2 * 0.1, digit=0.1)
        shown = [meter.shown(100.0, draw) for draw in (-1, 0, 1)]
        assert shown == pytest.approx([98.8, 100.0, 101.2])

    # Laboratory note, read: 1.4869 A, +-(0.5 % + 1), one digit 0.0001 A; product 0.00753 A,
    # computed.
    def test_an_amp_and_a_half(self):
        meter = Accuracy(share=0.005, offset=0.0001, digit=1e-7)
        assert meter.shown(1.4869, 1) - 1.4869 == pytest.approx(0.00753, abs=0.00001)

    # Open answer page, read: 80 000 counts, 79.999 V, +-(0.03 % + 10) -> +-0.034 V.
    def test_a_meter_of_many_counts(self):
        meter = Accuracy(share=0.0003, offset=10 * 0.001, digit=0.001)
        assert meter.shown(79.999, 1) - 79.999 == pytest.approx(0.034, abs=0.001)

    # GUM 4.3.7, from memory: a rectangular distribution of half-width 1 has u = 0.58 (1/sqrt 3).
    def test_rectangular(self):
        assert Accuracy(0.0, 1.0, 0.0).uncertainty(np.array(5.0)) == pytest.approx(0.577, abs=0.001)

    # GUM F.2.2.1, from memory: an indication in steps of x has u = 0.29 x.
    def test_rounding(self):
        assert Accuracy(0.0, 0.0, 1.0).uncertainty(np.array(5.0)) == pytest.approx(0.29, abs=0.005)

    @pytest.mark.parametrize("name", ACCURACY)
    @pytest.mark.parametrize("value", [0.0, 0.7, 12.6, 180.0])
    def test_the_uncertainty_is_the_scatter_of_what_is_shown(self, name, value):
        draw = np.random.default_rng(7)
        meter = ACCURACY[name]
        # A true value anywhere within a step, so that the rounding is a matter of chance.
        true = value + meter.digit * draw.uniform(-0.5, 0.5, 4000)
        wrong = [meter.shown(one, draw.uniform(-1, 1)) - one for one in true]
        # 4000 draws: 1 % of a standard deviation for one standard error, so 5 % is safe.
        assert np.std(wrong) == pytest.approx(float(meter.uncertainty(np.array(value))), rel=0.05)

    @given(st.sampled_from(sorted(ACCURACY)), st.floats(-500, 500), st.floats(-1, 1))
    def test_never_further_out_than_it_claims(self, name, value, draw):
        meter = ACCURACY[name]
        most = meter.share * abs(value) + meter.offset + 0.5 * meter.digit
        assert abs(meter.shown(value, draw) - value) <= most * (1 + 1e-9)

    def test_an_open_line_stays_one(self):
        assert math.isinf(ACCURACY["ohms"].shown(math.inf, 1.0))
