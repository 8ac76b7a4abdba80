"""Worked examples and exercises of two physics books: their answers, by their method.

CP2e is OpenStax College Physics 2e; UP2 is OpenStax University Physics, volume 2. Figures only, each to
one unit of its last printed digit. Where the wires of a description (0.8 mohm each) would show in that
digit, all resistances are a hundred times the book's, and currents and powers a hundredth. A description
ends at 100 V: of 120 V it is a tenth, with a tenth of the currents and a hundredth of the powers.
"""

import pytest

from circuitcheck.learn.explanation import explain
from circuitcheck.loom import Loom


def drawn(told, symbol):
    return next(one for one in told.drawn if one.symbol == symbol)


def delivered(told):
    return sum(-one.power for one in told.drawn if one.power < 0)


def in_a_row(book, emf, *ohms, internal="0.00001 ohm"):
    """A battery and resistors in a row, with a drop across each: u1, u2, ..."""
    parts = {f"R{n}": book.resistor(ohm) for n, ohm in enumerate(ohms, 1)}
    ends = ["G1.+", *(f"R{n}.{pin}" for n in range(1, len(ohms) + 1) for pin in (1, 2)), "G1.-"]
    return book.loom(
        {"G1": book.battery(internal, resting=emf), **parts}, list(zip(ends[::2], ends[1::2], strict=True)),
        observe={"all": "{volts: [G1.+, G1.-]}",
                 **{f"u{n}": f"{{drop: [R{n}.1, R{n}.2]}}" for n in range(1, len(ohms) + 1)}},
    )  # fmt: skip


def test_three_in_a_row_and_their_power(book):
    # CP2e 21.1, first example: 12.0 V; 1.00, 6.00, 13.0 ohm: 0.600 A; 0.600, 3.60, 7.80 V;
    # 0.360, 2.16, 4.68 W; 7.20 W in all.
    loom = in_a_row(book, 12.0, 1.00, 6.00, 13.0)
    told = explain(loom, "book")
    assert told.value == pytest.approx(0.600, abs=0.001)
    assert delivered(told) == pytest.approx(7.20, abs=0.01)
    for number, volts, watts in ((1, 0.600, 0.360), (2, 3.60, 2.16), (3, 7.80, 4.68)):
        assert drawn(told, f"R{number}").heat == pytest.approx(watts, abs=0.01)
        assert explain(loom, "book", observe=f"u{number}").value == pytest.approx(volts, abs=0.01)


def test_a_string_of_five(book):
    # UP2 10.2, first example: 9 V; four of 20 ohm and one of 10 ohm: 0.1 A; 2 V each and 1 V;
    # 0.2 W each and 0.1 W; 0.9 W.
    loom = in_a_row(book, 9, 20, 20, 20, 20, 10)
    told = explain(loom, "book")
    assert told.value == pytest.approx(0.1, abs=0.01)
    assert delivered(told) == pytest.approx(0.9, abs=0.01)
    assert [drawn(told, f"R{n}").heat for n in range(1, 6)] == pytest.approx([0.2] * 4 + [0.1], abs=0.01)
    assert explain(loom, "book", observe="u5").value == pytest.approx(1, abs=0.01)


def test_three_side_by_side_and_their_power(book):
    # CP2e 21.1, second example: the same three side by side: 0.804 ohm; 14.92 A; 12.0, 2.00, 0.92 A;
    # 144, 24.0, 11.1 W; 179 W. Here a hundred times the ohms.
    loom = book.loom(
        {"G1": book.battery(resting=12), "R1": book.resistor(100), "R2": book.resistor(600),
         "R3": book.resistor(1300), "X1": book.splice(4), "X2": book.splice(4)},
        [("G1.+", "X1.1"), ("X1.2", "R1.1"), ("X1.3", "R2.1"), ("X1.4", "R3.1"), ("R1.2", "X2.1"),
         ("R2.2", "X2.2"), ("R3.2", "X2.3"), ("X2.4", "G1.-")],
    )  # fmt: skip
    told = explain(loom, "book")
    (side_by_side,) = [one for one in told.lines if one.how == "parallel"]
    assert side_by_side.value / 100 == pytest.approx(0.804, abs=0.001)
    assert told.value * 100 == pytest.approx(14.92, abs=0.01)
    assert delivered(told) * 100 == pytest.approx(179, abs=1)
    for symbol, amps, watts in (("R1", 12.0, 144), ("R2", 2.00, 24.0), ("R3", 0.92, 11.1)):
        assert drawn(told, symbol).amps * 100 == pytest.approx(amps, abs=0.01)
        assert drawn(told, symbol).heat * 100 == pytest.approx(watts, abs=0.1)


def behind_a_lead(book, emf, lead, first, second):
    """A lead, then two loads side by side."""
    return book.loom(
        {"G1": book.battery(resting=emf), "R1": book.resistor(lead), "R2": book.resistor(first),
         "R3": book.resistor(second), "X1": book.splice(3), "X2": book.splice(3)},
        [("G1.+", "R1.1"), ("R1.2", "X1.1"), ("X1.2", "R2.1"), ("X1.3", "R3.1"), ("R2.2", "X2.1"),
         ("R3.2", "X2.2"), ("X2.3", "G1.-")],
        observe={"loads": "{drop: [X1.1, X2.3]}"},
    )  # fmt: skip


def test_two_loads_behind_a_lead(book):
    # CP2e 21.1, third example: 1.00 ohm before 6.00 and 13.0 ohm side by side on 12.0 V: 5.11 ohm;
    # 2.35 A; 9.65 V; 1.61 A and 15.5 W in the 6.00 ohm. Here a hundred times the ohms.
    loom = behind_a_lead(book, 12.0, 100, 600, 1300)
    told = explain(loom, "book")
    assert told.value * 100 == pytest.approx(2.35, abs=0.01)
    assert 12.0 / told.value / 100 == pytest.approx(5.11, abs=0.01)
    assert drawn(told, "R2").amps * 100 == pytest.approx(1.61, abs=0.01)
    assert drawn(told, "R2").heat * 100 == pytest.approx(15.5, abs=0.1)
    assert explain(loom, "book", observe="loads").value == pytest.approx(9.65, abs=0.01)


def test_a_lead_shared_by_lamp_and_motor(book):
    # UP2 10.2, exercise: 120 V, a lead of 0.800 ohm that carries 15.0 A, a lamp of 75.0 W at 120 V taken
    # as a resistance: the lamp has 60.8 W and the motor 1.56 kW.
    # Here a tenth of the volts.
    lamp = 120**2 / 75.0
    motor = 108 / (15.0 - 108 / lamp)
    told = explain(behind_a_lead(book, 12.0, 0.800, lamp, motor), "book")
    assert told.value * 10 == pytest.approx(15.0, abs=0.1)
    assert drawn(told, "R2").heat * 100 == pytest.approx(60.8, abs=0.1)
    assert drawn(told, "R3").heat / 10 == pytest.approx(1.56, abs=0.01)


def test_four_alike_and_what_drives_them(book):
    # UP2 10.2, last example: two in a row and two side by side, all of 10.00 ohm; 2.00 A through the
    # first take 50.00 V, 100.00 W; 40, 40, 10, 10 W.
    loom = book.loom(
        {"G1": book.battery(resting=50), **{f"R{n}": book.resistor(10) for n in range(1, 5)},
         "X1": book.splice(3), "X2": book.splice(3)},
        [("G1.+", "R1.1"), ("R1.2", "R2.1"), ("R2.2", "X1.1"), ("X1.2", "R3.1"), ("X1.3", "R4.1"),
         ("R3.2", "X2.1"), ("R4.2", "X2.2"), ("X2.3", "G1.-")],
    )  # fmt: skip
    told = explain(loom, "book")
    assert told.value == pytest.approx(2.00, abs=0.01)
    assert delivered(told) == pytest.approx(100, abs=0.1)
    assert [drawn(told, f"R{n}").heat for n in range(1, 5)] == pytest.approx([40, 40, 10, 10], abs=0.1)


@pytest.mark.parametrize(
    ("load", "amps", "volts"), [(10.0, (1.188, 0.001), 11.9), (0.500, (20.0, 0.1), 10.0)]
)
def test_a_battery_with_a_resistance_of_its_own(book, load, amps, volts):
    # CP2e 21.2: 12.0 V behind 0.100 ohm.
    loom = in_a_row(book, 12.0, load, internal="0.1 ohm")
    told = explain(loom, "book")
    assert told.value == pytest.approx(amps[0], abs=amps[1])
    assert drawn(told, "R1").heat == pytest.approx(amps[0] * volts, rel=0.01)
    assert explain(loom, "book", observe="all").value == pytest.approx(volts, abs=0.1)


def test_a_voltmeter_on_a_small_source(book):
    # CP2e 21.4, exercise: 1.585 V behind 0.100 ohm, a meter of 1.00 kohm: 1.58 mA and 1.5848 V.
    loom = in_a_row(book, 1.585, 1000, internal="0.1 ohm")
    assert explain(loom, "book").value * 1000 == pytest.approx(1.58, abs=0.01)
    assert explain(loom, "book", observe="u1").value == pytest.approx(1.5848, abs=0.0001)


def test_an_ammeter_in_the_way(book):
    # CP2e 21.4, exercise: 0.0200 ohm in series with 10.00 ohm takes 0.20 % off the current.
    without, within = (explain(in_a_row(book, 12, *ohms), "book").value for ohms in ((10,), (0.02, 10)))
    wire = 0.0008  # the description has one wire more with the meter in
    assert 100 * (1 - within / without) == pytest.approx(0.20 + 100 * wire / 10, abs=0.001)


def test_a_lamp_and_a_starter_in_a_row_by_mistake(book):
    # CP2e 21.1, exercise: 30.0 W and 2.40 kW, both for 12.0 V, in series on 12.0 V: 29.6 W.
    told = explain(in_a_row(book, 12.0, 12**2 / 30.0, 12**2 / 2400), "book")
    assert delivered(told) == pytest.approx(29.6, abs=0.1)


def test_three_sources(book):
    # UP2 10.3, first example: V1 0.5 V behind R1 1 and R4 2 ohm, V3 2.30 V behind R2 5, R5 1 and R6 2 ohm,
    # V2 0.6 V with R3 1 ohm: 0.20, 0.30, 0.50 A; 0.04, 0.45, 0.25, 0.08, 0.09, 0.18 W.
    ohms = {1: 1, 2: 5, 3: 1, 4: 2, 5: 1, 6: 2}
    loom = book.loom(
        {"G1": book.battery(resting=2.3), "G2": book.battery(resting=0.6), "G3": book.battery(resting=0.5),
         **{f"R{n}": book.resistor(ohm) for n, ohm in ohms.items()}, "X1": book.splice(3), "X2": book.splice(3)},
        [("G3.+", "R1.1"), ("R1.2", "R4.1"), ("R4.2", "X1.1"), ("X2.1", "G3.-"),
         ("G1.+", "R2.1"), ("R2.2", "R5.1"), ("R5.2", "R6.1"), ("R6.2", "X1.2"), ("X2.2", "G1.-"),
         ("X1.3", "R3.1"), ("R3.2", "G2.-"), ("G2.+", "X2.3")],
    )  # fmt: skip
    told = explain(loom, "book")
    for number, amps in ((1, 0.20), (2, 0.30), (3, 0.50)):
        assert abs(drawn(told, f"R{number}").amps) == pytest.approx(amps, abs=0.01)
    watts = [drawn(told, f"R{n}").heat for n in range(1, 7)]
    assert watts == pytest.approx([0.04, 0.45, 0.25, 0.08, 0.09, 0.18], abs=0.01)
    assert sum(watts) == pytest.approx(1.09, abs=0.01)


@pytest.mark.parametrize(
    ("ohm", "running", "at_rest", "back"),
    [(12.00, 1.67, 10.0, 100), (6.00, 8.00, 20.0, 72.0), (2.0, 10, 60, 100), (2.0, 20, 60, 80)],
)
def test_back_emf(book, ohm, running, at_rest, back):
    # CP2e 23.6, two exercises on 120 V: 10.0 A at rest and 100 V of back EMF running give 12.00 ohm and
    # 1.67 A; 20.0 A at rest and 8.00 A running give 72.0 V. UP2 13.6, second example: 2.0 ohm, 10 A and
    # then 20 A: 100 V, 1000 W at the shaft, 200 W of heat; 80 V, 1600 W, 800 W; 60 A at rest is 120 V / 2.0
    # ohm, not printed. Here a tenth of all volts and currents.
    loom = book.loom(
        {"G1": book.battery(resting=12),
         "M1": f"{{kind: motor, rated: {{volts: 12, amps: {running / 10}, rpm: 2000}}, winding: {ohm} ohm, plug: no}}"},
        [("G1.+", "M1.+"), ("M1.-", "G1.-")], observe={"fan": "{speed: M1}"},
    )  # fmt: skip
    told = explain(loom, "book", observe="fan")
    found = {one.left: one.value for one in told.lines}
    assert found["I"] * 10 == pytest.approx(running, rel=0.005)
    assert found["E_M1"] * 10 == pytest.approx(back, abs=0.5)
    motor = drawn(told, "R_M1")
    assert motor.power * 100 == pytest.approx(back * running, rel=0.005)
    assert motor.heat * 100 == pytest.approx(running**2 * ohm, rel=0.005)
    assert explain(loom, "book", Loom(loom).fault("M1 seized")).value * 10 == pytest.approx(
        at_rest, abs=0.1
    )
