"""Worked examples of textbooks, described as looms: the book's answers, by the book's method.

Sources (short names as on the page of published values): LIEC-1 is T. R. Kuphaldt, Lessons In
Electric Circuits, volume I; CP2e is OpenStax College Physics 2e. Tolerance: one unit of the last
printed digit; wires and crimps of the description are 0.8 mohm each, below that everywhere here.
"""

import re

import pytest

from circuitcheck.learn.explanation import explain


def drawn(told, symbol):
    return next(one for one in told.drawn if one.symbol == symbol)


def test_three_in_series(book):
    # LIEC-1 ch. 5: 9 V; 3, 10, 5 kohm: 500 uA; 1.5 V, 5 V, 2.5 V.
    loom = book.loom(
        {"G1": book.battery(resting=9), "R1": book.resistor(3000), "R2": book.resistor(10000),
         "R3": book.resistor(5000)},
        [("G1.+", "R1.1"), ("R1.2", "R2.1"), ("R2.2", "R3.1"), ("R3.2", "G1.-")],
        observe={"first": "{drop: [R1.1, R1.2]}", "second": "{drop: [R2.1, R2.2]}",
                 "third": "{drop: [R3.1, R3.2]}"},
    )  # fmt: skip
    told = explain(loom, "book")
    assert told.value == pytest.approx(500e-6, abs=0.5e-6)
    assert {"V_G1", "R1", "R2", "R3"} <= set(re.findall(r"\w+", told.lines[0].formula))
    for name, volts in (("first", 1.5), ("second", 5.0), ("third", 2.5)):
        assert explain(loom, "book", observe=name).value == pytest.approx(volts, abs=0.05)


def test_three_in_parallel(book):
    # LIEC-1 ch. 5: 9 V; 10, 2, 1 kohm side by side: 625 ohm; 0.9, 4.5, 9 mA.
    loom = book.loom(
        {"G1": book.battery(resting=9), "R1": book.resistor(10000), "R2": book.resistor(2000),
         "R3": book.resistor(1000), "X1": book.splice(4), "X2": book.splice(4)},
        [("G1.+", "X1.1"), ("X1.2", "R1.1"), ("X1.3", "R2.1"), ("X1.4", "R3.1"), ("R1.2", "X2.1"),
         ("R2.2", "X2.2"), ("R3.2", "X2.3"), ("X2.4", "G1.-")],
        observe={"feed": "{volts: [X1.1, X2.4]}"},
    )  # fmt: skip
    told = explain(loom, "book")
    (step,) = [one for one in told.lines if one.how == "parallel"]
    assert step.value == pytest.approx(625, abs=0.5)
    for symbol, milliamps in (("R1", 0.9), ("R2", 4.5), ("R3", 9.0)):
        assert drawn(told, symbol).amps * 1000 == pytest.approx(milliamps, abs=0.05)


def test_series_of_two_parallel_pairs(book):
    # LIEC-1 ch. 7: 24 V; (100 par 250) in series with (350 par 200) ohm.
    loom = book.loom(
        {"G1": book.battery(), "R1": book.resistor(100), "R2": book.resistor(250),
         "R3": book.resistor(350), "R4": book.resistor(200), "X1": book.splice(3),
         "X2": book.splice(4), "X3": book.splice(3)},
        [("G1.+", "X1.1"), ("X1.2", "R1.1"), ("X1.3", "R2.1"), ("R1.2", "X2.1"), ("R2.2", "X2.2"),
         ("X2.3", "R3.1"), ("X2.4", "R4.1"), ("R3.2", "X3.1"), ("R4.2", "X3.2"), ("X3.3", "G1.-")],
        observe={"upper": "{drop: [X1.1, X2.1]}", "lower": "{drop: [X2.1, X3.1]}"},
    )  # fmt: skip
    told = explain(loom, "book")
    assert told.series_parallel
    pairs = sorted(one.value for one in told.lines if one.how == "parallel")
    assert pairs == pytest.approx([71.429, 127.27], abs=0.01)
    assert told.value * 1000 == pytest.approx(120.78, abs=0.01)
    for symbol, milliamps in (("R1", 86.27), ("R2", 34.51), ("R3", 43.92), ("R4", 76.86)):
        assert drawn(told, symbol).amps * 1000 == pytest.approx(milliamps, abs=0.01)
    assert explain(loom, "book", observe="upper").value == pytest.approx(8.627, abs=0.001)
    assert explain(loom, "book", observe="lower").value == pytest.approx(15.37, abs=0.01)


def test_two_sources_side_by_side(book):
    # LIEC-1 ch. 10 (Millman, Thevenin): 28 V behind 4 ohm, 7 V behind 1 ohm, 2 ohm to ground:
    # 8 V, 4 A; seen from the 2 ohm 11.2 V behind 0.8 ohm; 5 A out of the one, 1 A into the other.
    loom = book.loom(
        {"G1": book.battery(), "G2": book.battery(resting=7), "R1": book.resistor(4),
         "R3": book.resistor(1), "R2": book.resistor(2), "X1": book.splice(3), "X2": book.splice(4)},
        [("G1.+", "R1.1"), ("R1.2", "X1.1"), ("G2.+", "R3.1"), ("R3.2", "X1.2"), ("X1.3", "R2.1"),
         ("R2.2", "X2.1"), ("G1.-", "X2.2"), ("G2.-", "X2.3")],
        resting=28.0, observe={"volts": "{volts: [X1.1, X2.1]}", "amps": "{amps: W5}"},
    )  # fmt: skip
    told = explain(loom, "book", observe="amps")
    assert told.value == pytest.approx(4, abs=0.01)
    (emf,) = [one for one in told.lines if one.how == "parallel sources"]
    (ohm,) = [one for one in told.lines if one.how == "parallel"]
    assert emf.value == pytest.approx(11.2, abs=0.05)
    assert emf.formula == "R_p1*(V_G1/R_s1 + V_G2/R_s2)"  # Millman as the book has it
    assert ohm.value == pytest.approx(0.8, abs=0.01)
    assert abs(drawn(told, "R1").amps) == pytest.approx(5, abs=0.01)
    assert abs(drawn(told, "R3").amps) == pytest.approx(1, abs=0.01)
    assert explain(loom, "book", observe="volts").value == pytest.approx(8, abs=0.01)


BRIDGE = [("G1.+", "X1.1"), ("X1.2", "R1.1"), ("X1.3", "R2.1"), ("R1.2", "X2.1"), ("R2.2", "X3.1"),
          ("X2.2", "R3.1"), ("R3.2", "X3.2"), ("X2.3", "R4.1"), ("X3.3", "R5.1"), ("R4.2", "X4.1"),
          ("R5.2", "X4.2"), ("X4.3", "G1.-")]  # fmt: skip


def bridge(book, last=12):
    return book.loom(
        {"G1": book.battery(resting=10), "R1": book.resistor(1200), "R2": book.resistor(1800),
         "R3": book.resistor(600), "R4": book.resistor(1800), "R5": book.resistor(last * 100),
         "X1": book.splice(3), "X2": book.splice(3), "X3": book.splice(3), "X4": book.splice(3)},
        BRIDGE, volts=12, resting=12.0,
        observe={f"u{n}": f"{{drop: [R{n}.1, R{n}.2]}}" for n in range(1, 6)},
    )  # fmt: skip


def test_an_unbalanced_bridge_gets_node_equations(book):
    # LIEC-1 ch. 10 (delta to wye): 10 V; 12, 18, 6, 18, 12 ohm. Here a hundred times
    # that, so that neither crimps nor the meter show in the fourth digit: its volts follow the ratios.
    loom = bridge(book)
    for number, volts in enumerate((4.706, 5.294, 0.5882, 5.294, 4.706), 1):
        told = explain(loom, "book", observe=f"u{number}")
        assert not told.series_parallel
        assert any(one.how == "node equations" for one in told.lines)
        assert told.value == pytest.approx(volts, abs=1e-3 if volts > 1 else 1e-4)


def test_a_balanced_bridge_carries_nothing_across(book):
    # R1 : R2 = R4 : R5 (CP2e 21.5, the balance of a bridge): 12 : 18 = 18 : 27.
    told = explain(bridge(book, last=27), "book", observe="u3")
    assert told.value == pytest.approx(0, abs=2e-4)


def test_internal_resistance(book):
    # CP2e 21.2: 12.0 V behind 0.500 ohm on 0.500 ohm: 12.0 A, 6.00 V, 72.0 W.
    loom = book.loom(
        {"G1": book.battery("0.500 ohm"), "R1": book.resistor(0.5)},
        [("G1.+", "R1.1"), ("R1.2", "G1.-")], volts=12, resting=12.0,
        observe={"volts": "{volts: [G1.+, G1.-]}"},
    )  # fmt: skip
    told = explain(loom, "book")
    assert told.value == pytest.approx(12.0, abs=0.05)
    assert drawn(told, "R1").heat == pytest.approx(72.0, abs=0.5)
    assert explain(loom, "book", observe="volts").value == pytest.approx(6.00, abs=0.015)


def test_a_voltmeter_that_loads(book):
    # LIEC-1 ch. 8: 24 V over two 250 Mohm; a 10 Mohm meter on the lower shows 0.8889 V.
    loom = book.loom(
        {"G1": book.battery(), "R1": book.resistor(250e6), "R2": book.resistor(250e6)},
        [("G1.+", "R1.1"), ("R1.2", "R2.1"), ("R2.2", "G1.-")],
        observe={"lower": "{volts: [R2.1, R2.2]}"},
    )  # fmt: skip
    told = explain(loom, "book", observe="lower")
    assert told.value == pytest.approx(0.8889, abs=1e-4)
    (unloaded,) = [one.value for one in told.lines if one.how == "parallel sources"]
    assert unloaded == pytest.approx(12, abs=0.01)
    assert any(one.how == "divider" for one in told.lines)


@pytest.mark.parametrize(("emf", "amps", "volts"), [(45, 0.002, 10), (18, 0.0008, 4)])
def test_a_divider_keeps_its_ratio(book, emf, amps, volts):
    # LIEC-1 ch. 6: 5, 10 and 7.5 kohm on 45 V: 2 mA, 10 V across the first and twice that across the
    # second; on 180 V 40 V across the first. Of the latter a tenth: a description ends at 100 V.
    loom = book.loom(
        {"G1": book.battery(resting=emf), "R1": book.resistor(5000), "R2": book.resistor(10000),
         "R3": book.resistor(7500)},
        [("G1.+", "R1.1"), ("R1.2", "R2.1"), ("R2.2", "R3.1"), ("R3.2", "G1.-")],
        observe={"first": "{drop: [R1.1, R1.2]}", "second": "{drop: [R2.1, R2.2]}"},
    )  # fmt: skip
    assert explain(loom, "book").value == pytest.approx(amps, rel=0.001)
    assert explain(loom, "book", observe="first").value == pytest.approx(volts, abs=0.05)
    assert explain(loom, "book", observe="second").value == pytest.approx(2 * volts, abs=0.05)


@pytest.mark.parametrize(("load", "amps"), [(100, 8.333), (0.0001, 50)])
def test_what_a_battery_can_deliver(book, load, amps):
    # LIEC-1 ch. 11: 10 V behind 0.2 ohm: 8.333 A into 1 ohm, 50 A into a short circuit. Here a hundred
    # times the ohms, so that the wires do not show.
    loom = book.loom(
        {"G1": book.battery("20 ohm", resting=10), "R1": book.resistor(load)},
        [("G1.+", "R1.1"), ("R1.2", "G1.-")],
    )  # fmt: skip
    assert explain(loom, "book").value * 100 == pytest.approx(amps, abs=0.01)


def test_greatest_power_into_a_load_like_the_source(book):
    # LIEC-1 ch. 10: the two sources above deliver most, 39.2 W, into 0.8 ohm; less into 0.5 and 1.1 ohm.
    # Here as the one source that they are, 11.2 V, and a hundred times the ohms.
    watts = {}
    for load in (50, 80, 110):
        loom = book.loom(
            {"G1": book.battery("80 ohm", resting=11.2), "R1": book.resistor(load)},
            [("G1.+", "R1.1"), ("R1.2", "G1.-")],
        )  # fmt: skip
        watts[load] = 100 * drawn(explain(loom, "book"), "R1").heat
    assert watts[80] == pytest.approx(39.2, abs=0.1)
    assert max(watts[50], watts[110]) < 39.1


def test_one_more_side_by_side(book):
    # DOE-HDBK-1011/1, ES-02 p. 36: 24 ohm beside 8 ohm makes 6 ohm.
    loom = book.loom(
        {"G1": book.battery(), "R1": book.resistor(8), "R2": book.resistor(24), "X1": book.splice(3),
         "X2": book.splice(3)},
        [("G1.+", "X1.1"), ("X1.2", "R1.1"), ("X1.3", "R2.1"), ("R1.2", "X2.1"), ("R2.2", "X2.2"),
         ("X2.3", "G1.-")],
    )  # fmt: skip
    (side_by_side,) = [one for one in explain(loom, "book").lines if one.how == "parallel"]
    assert side_by_side.value == pytest.approx(6, abs=0.01)


def test_back_emf_as_a_source(book):
    # CP2e 23.6: coil 0.400 ohm on 48.0 V; running, 40.0 V of back EMF, 20 A, 160 W in the coil;
    # at the start 120 A and 5.76 kW.
    loom = book.loom(
        {"G1": book.battery(resting=48),
         "M1": "{kind: motor, rated: {volts: 48, amps: 20, rpm: 2000}, winding: 0.4 ohm, plug: no}"},
        [("G1.+", "M1.+"), ("M1.-", "G1.-")], observe={"fan": "{speed: M1}"},
    )  # fmt: skip
    told = explain(loom, "book", observe="fan")
    found = {one.left: one.value for one in told.lines}
    assert found["E_M1"] == pytest.approx(40.0, abs=0.1)
    assert found["I"] == pytest.approx(20, abs=0.1)
    assert drawn(told, "R_M1").heat == pytest.approx(160, abs=1.5)
    from circuitcheck.loom import Loom

    held = explain(loom, "book", Loom(loom).fault("M1 seized"))
    assert held.value == pytest.approx(120, abs=0.6)
    assert held.drawn[0].power == pytest.approx(-5760, abs=30)
