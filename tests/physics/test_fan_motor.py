"""The fan motor: textbook examples, the two limits, energy, and what every curve must obey.

CP2e = OpenStax College Physics 2e, UP2 = OpenStax University Physics Volume 2; marks as in the
project's list of published values.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from circuitcheck.physics.motor import HELD, RPM, FanMotor


def current(motor, volts):
    return float(FanMotor.current_and_slope(np.array(motor.values), np.array(float(volts)))[0])


def slope(motor, volts):
    return float(FanMotor.current_and_slope(np.array(motor.values), np.array(float(volts)))[1])


def speed(motor, volts):
    return float(FanMotor.speed(np.array(motor.values), np.array(float(volts))))


def rated(volts, amps, resistance, rpm=2500.0, **more):
    return FanMotor.from_rated_point(
        "+", "-", volts=volts, amps=amps, rpm=rpm, resistance=resistance, **more
    )


def locked(motor):
    """The same winding with the rotor held: no back EMF."""
    return FanMotor("+", "-", motor.resistance, 0.0, motor.fan, motor.friction)


motors = st.builds(
    rated,
    volts=st.floats(10.0, 28.0),
    amps=st.floats(1.0, 30.0),
    resistance=st.floats(0.02, 0.3),
    rpm=st.floats(500.0, 5000.0),
    friction_share=st.floats(0.0, 0.6),
)
volts_given = st.floats(0.0, 30.0)


class TestTextbook:
    # M1. CP2e 23.6 text, read: 0.400 ohm on 48.0 V; back EMF 40.0 V when running.
    def test_start_and_run(self):
        motor = rated(48.0, 20.0, 0.400)
        assert current(locked(motor), 48.0) == pytest.approx(120, abs=1)
        assert 48.0 * current(locked(motor), 48.0) == pytest.approx(5760, abs=10)
        assert current(motor, 48.0) == pytest.approx(20, abs=1)
        assert motor.back_emf * speed(motor, 48.0) == pytest.approx(40.0, abs=0.1)
        assert current(motor, 48.0) ** 2 * motor.resistance == pytest.approx(160, abs=1)

    # M2. CP2e 23.6 exercise, read: 120 V; 10.0 A at start; back EMF 100 V running -> 12.00 ohm and
    # 1.67 A.
    def test_current_from_back_emf(self):
        # Ke = 1 and a fan that needs 5/3 N m at 100 rad/s: 100 V of back EMF is the balance.
        motor = FanMotor("+", "-", 12.00, 1.0, (5 / 3) / 100**2, 0.0)
        assert current(locked(motor), 120.0) == pytest.approx(10.0, abs=0.1)
        assert current(motor, 120.0) == pytest.approx(1.67, abs=0.01)
        assert motor.back_emf * speed(motor, 120.0) == pytest.approx(100, abs=1)

    # M3. CP2e 23.6 exercise, read: 120 V; 20.0 A at start; 8.00 A running -> back EMF 72.0 V.
    def test_back_emf_from_current(self):
        motor = rated(120.0, 8.00, 6.0)
        assert current(locked(motor), 120.0) == pytest.approx(20.0, abs=0.1)
        assert motor.back_emf * speed(motor, 120.0) == pytest.approx(72.0, abs=0.1)

    # M4. UP2 13.6, second example, read: 2.0 ohm, 120 V; the motor there is series-wound, which
    # does not touch where the power goes at a given current.
    @pytest.mark.parametrize(
        ("amps", "back_emf", "shaft", "heat", "given_watts"),
        [(10, 100, 1000, 200, 1200), (20, 80, 1600, 800, 2400)],
    )
    def test_where_the_power_goes(self, amps, back_emf, shaft, heat, given_watts):
        motor = rated(120.0, amps, 2.0)
        turning = speed(motor, 120.0)
        torque = motor.fan * turning**2 + motor.friction
        assert motor.back_emf * turning == pytest.approx(back_emf, abs=1)
        assert torque * turning == pytest.approx(shaft, abs=1)
        assert current(motor, 120.0) ** 2 * motor.resistance == pytest.approx(heat, abs=1)
        assert 120.0 * current(motor, 120.0) == pytest.approx(given_watts, abs=1)

    # M5. UP2 9.5, first example, read: 115 V, 20.00 A; 1633.33 W lifts, 666.67 W lost, 1.67 ohm.
    def test_lifting_a_load(self):
        resistance = 666.67 / 20.00**2
        assert resistance == pytest.approx(1.67, abs=0.01)
        motor = rated(115.0, 20.00, resistance)
        turning = speed(motor, 115.0)
        torque = motor.fan * turning**2 + motor.friction
        assert torque * turning == pytest.approx(1633.33, abs=0.01)

    # DOE-HDBK-1012/3 HT-03 eq. 3-25, read: shaft power grows with the cube of speed; its example's
    # 45 kW at 1800 r/min becomes 360 kW at 3600 r/min (computed from the equation).
    def test_fan_law(self):
        motor = rated(13.0, 15.0, 0.18, rpm=1800.0, friction_share=0.0)
        double = brentq(lambda v: speed(motor, v) - 3600 * RPM, 13.0, 130.0)
        power = [motor.back_emf * speed(motor, v) * current(motor, v) for v in (13.0, double)]
        assert power[1] / power[0] == pytest.approx(360 / 45, rel=1e-6)


class TestRatedPoint:
    @given(
        st.floats(10.0, 28.0),
        st.floats(1.0, 30.0),
        st.floats(500.0, 5000.0),
        st.floats(0.02, 0.3),
        st.floats(0.0, 0.6),
    )
    def test_is_met(self, volts, amps, rpm, resistance, friction_share):
        motor = rated(volts, amps, resistance, rpm=rpm, friction_share=friction_share)
        assert current(motor, volts) == pytest.approx(amps, rel=1e-9)
        assert speed(motor, volts) * 60 / (2 * np.pi) == pytest.approx(rpm, rel=1e-9)

    def test_without_room_for_a_back_emf_is_refused(self):
        message = r"15 A through 0\.9 ohm is 13\.5 V, which leaves no back EMF at 13 V"
        with pytest.raises(ValueError, match=message):
            rated(13.0, 15.0, 0.9)


class TestLaws:
    @given(motors, volts_given)
    def test_energy(self, motor, volts):
        """Electrical power in = heat in the winding + power on the shaft."""
        amps, turning = current(motor, volts), speed(motor, volts)
        heat = amps**2 * motor.resistance
        shaft = (motor.fan * turning**2 + motor.friction) * turning
        assert volts * amps == pytest.approx(heat + shaft, rel=1e-7, abs=1e-9)

    @given(motors, volts_given)
    def test_torque(self, motor, volts):
        """Turning, the shaft takes what the magnet gives; standing, friction holds."""
        torque = motor.back_emf * current(motor, volts)
        turning = speed(motor, volts)
        if turning > 0:
            needs = motor.fan * turning**2 + motor.friction
            assert torque == pytest.approx(needs, rel=1e-6, abs=1e-9)
        else:
            assert torque <= motor.friction * (1 + 1e-9) + 1e-12

    @given(motors, volts_given, volts_given)
    def test_more_volts_never_less_current_or_speed(self, motor, one, other):
        low, high = sorted((one, other))
        assert current(motor, low) <= current(motor, high) + 1e-9
        assert speed(motor, low) <= speed(motor, high) + 1e-9

    @given(motors, volts_given)
    def test_backwards_it_is_the_same(self, motor, volts):
        assert current(motor, -volts) == -current(motor, volts)
        assert speed(motor, -volts) == -speed(motor, volts)
        assert slope(motor, -volts) == slope(motor, volts)

    @given(motors, st.floats(0.0, 30.0))
    def test_slope_is_that_of_the_current(self, motor, volts):
        stalls_at = motor.friction * motor.resistance / motor.back_emf
        step = 1e-5
        assume(volts > step and abs(volts - stalls_at) > 10 * step)
        rise = (current(motor, volts + step) - current(motor, volts - step)) / (2 * step)
        assert slope(motor, volts) == pytest.approx(rise, rel=1e-3, abs=1e-4 / motor.resistance)

    @given(motors, volts_given)
    def test_the_rotor_held_is_a_resistance(self, motor, volts):
        assert current(locked(motor), volts) == pytest.approx(volts / motor.resistance, rel=1e-12)
        assert speed(locked(motor), volts) == 0

    @given(motors, volts_given)
    def test_no_sound_motor_draws_more_than_a_held_one(self, motor, volts):
        assert current(motor, volts) <= volts / motor.resistance * (1 + 1e-12)

    @given(motors, st.floats(8.0, 30.0), st.floats(0.02, 0.25))
    def test_a_wheel_that_slips_takes_what_it_takes_at_its_own_speed(self, motor, volts, share):
        """Torque goes with the square of the wheel's speed (DOE-HDBK-1012/3, HT-03 eq. 3-23 to 3-25)."""
        slipping = replace(motor, fan=motor.fan * share**2, wheel=share)
        torque = motor.back_emf * current(slipping, volts)
        wheel = float(FanMotor.wheel_speed(np.array(slipping.values), np.array(volts)))
        assert wheel == pytest.approx(share * speed(slipping, volts))
        if wheel > 0:
            assert torque == pytest.approx(motor.fan * wheel**2 + motor.friction, rel=1e-6, abs=1e-9)
            assert speed(slipping, volts) >= speed(motor, volts)
            assert wheel < speed(motor, volts)


class TestByHand:
    """Common practice, no source: a sound fan turns freely, a seized one not at all."""

    def test_what_a_hand_feels_is_the_friction(self):
        motor = rated(13.0, 15.0, 0.18)
        rows = [motor, replace(motor, friction=5 * motor.friction), locked(motor)]
        rows.append(replace(motor, fan=0.0, wheel=0.1))
        felt = FanMotor.turning_torque(np.array([one.values for one in rows]))
        assert felt[:2] == pytest.approx([motor.friction, 5 * motor.friction])
        assert (felt[2], felt[3]) == (HELD, 0.0)
        # Ke at 13 V less 2.7 V in the winding and 2500 r/min; 6 % of the torque at 15 A is friction.
        assert motor.friction == pytest.approx(0.06 * 15 * 10.3 / (2500 * np.pi / 30), rel=1e-6)


class TestLimits:
    def test_without_load_it_draws_nothing_and_reaches_the_volts(self):
        motor = FanMotor("+", "-", 0.18, 0.038, 0.0, 0.0)
        assert current(motor, 13.0) == pytest.approx(0.0, abs=1e-9)
        assert motor.back_emf * speed(motor, 13.0) == pytest.approx(13.0)

    def test_friction_alone_is_a_constant_current(self):
        motor = FanMotor("+", "-", 0.18, 0.04, 0.0, 0.08)
        assert [current(motor, v) for v in (2.0, 13.0)] == pytest.approx([2.0, 2.0])

    def test_below_its_friction_it_stands_and_is_a_resistance(self):
        motor = FanMotor("+", "-", 0.5, 0.04, 1e-5, 0.08)  # 2 A of friction: it starts at 1 V
        assert speed(motor, 0.99) == 0
        assert current(motor, 0.99) == pytest.approx(1.98)
        assert speed(motor, 1.01) > 0

    def test_an_open_motor_draws_nothing(self):
        motor = FanMotor("+", "-", 0.18, 0.038, 6e-6, 0.03, strength=0.0)
        assert (current(motor, 13.0), slope(motor, 13.0), speed(motor, 13.0)) == (0, 0, 0)

    def test_many_at_once(self):
        rows = np.array([rated(13.0, 15.0, 0.18).values, rated(13.0, 20.0, 0.12).values])
        amps, _ = FanMotor.current_and_slope(rows, np.array([13.0, 13.0]))
        assert amps == pytest.approx([15.0, 20.0])
