"""A series resistor sized: standard values, textbook circuits, the simulator, the graph, the page of it."""

import itertools
import json
import math
import re
import sys
from functools import cache
from pathlib import Path

import pytest
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.errors import UnknownName
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.second_opinion import Observed, look_of
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.model import Observation, Setup
from circuitcheck.inspect.design import Design, scenes_of
from circuitcheck.inspect.inspection import inspect_harness
from circuitcheck.learn.resistor import heat
from circuitcheck.learn.resistor.answer import Ask
from circuitcheck.learn.resistor.effects import fuse_of_its_own
from circuitcheck.learn.resistor.sizing import size_resistor
from circuitcheck.learn.resistor.stage import stage_of
from circuitcheck.learn.resistor.standard import SERIES, around, neighbours
from circuitcheck.shipped import harness_files
from circuitcheck.solve.deck import circuit_deck, printed_name

sys.path.insert(0, str(Path(__file__).parent.parent / "solve"))
from simulator import TOLERANCE, simulate

IEC_60063 = {
    "E6": "10 15 22 33 47 68",
    "E12": "10 12 15 18 22 27 33 39 47 56 68 82",
    "E24": "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91",
}
"""The preferred numbers of IEC 60063, as the library eseries 1.2.1 has them."""
WITH, WITHOUT = (
    ("twin-fan-switch", "twin-fan-module", "truck-24v", "cabin-blower"),
    ("first-fan", "twin-fan-three-relays"),
)


@cache
def sized(name, **wanted):
    return size_resistor(circuitcheck.load(name).harness, Ask(**wanted))


def fan(outcome, motor="M1"):
    return next(one for one in outcome.fans if one.motor == motor)


# -- standard values -------------------------------------------------------------------------------------


@pytest.mark.parametrize("series", SERIES)
@pytest.mark.parametrize("decade", [0.01, 0.1, 1.0])
def test_a_series_has_just_the_values_of_iec_60063(series, decade):
    values = [int(one) * decade for one in IEC_60063[series].split()] + [100 * decade]
    for low, high in itertools.pairwise(values):
        assert around(series, math.sqrt(low * high)) == pytest.approx((low, high))
        assert around(series, low) == pytest.approx((low, low))


def test_each_series_gives_one_below_and_one_above():
    found = {one.ohms: one.series for one in neighbours(0.40)}
    assert found == {0.33: ("E6",), 0.39: ("E12", "E24"), 0.43: ("E24",), 0.47: ("E6", "E12")}


# -- textbook circuits -----------------------------------------------------------------------------------


def book_fan(book, volts, resting, internal, rated, winding, ohms, fuse="80 A"):
    return book.loom(
        {
            "G1": book.battery(internal),
            "F1": f"{{kind: fuse, rating: {fuse}, ohms: 0.00001 ohm}}",
            "R1": book.resistor(ohms),
            "M1": f"{{kind: motor, rated: {rated}, winding: {winding} ohm, plug: no}}",
        },
        [("G1.+", "F1.in"), ("F1.out", "R1.1"), ("R1.2", "M1.+"), ("M1.-", "G1.-")],
        volts=volts,
        resting=resting,
        observe={"it": "{volts: [M1.+, M1.-]}"},
    )


def test_a_held_motor_is_one_of_three_resistances_in_series(book):
    # CP2e 21.1, first example: 12.0 V, 1.00, 6.00 and 13.0 ohm in series: 0.600 A, 4.68 W in the last.
    harness = book_fan(book, 12, 12.0, "1 ohm", "{volts: 12, amps: 0.2, rpm: 2000}", 6, 13)
    found = size_resistor(harness, Ask(take=13.0))
    assert found.taken.locked_watts == pytest.approx(4.68, abs=0.01)
    assert found.contacts == ()
    assert found.fuses[0].locked == pytest.approx(0.600, abs=0.001)


@pytest.mark.parametrize("wanted", [{"rpm": 1200.0}, {"amps": 6.0}, {"share": 0.7}])
def test_the_volts_add_up_at_the_ohms_found(book, wanted):
    # A motor's volts are I R and the back emf (CP2e 23.6); the name plate gives the back emf for each rpm:
    # 26 V - 14 A * 0.28 ohm = 22.08 V at 2400 rpm. What is left of 28.0 V must stand across the resistor.
    plate = "{volts: 26, amps: 14, rpm: 2400}"
    found = size_resistor(book_fan(book, 24, 28.0, "0.05 ohm", plate, 0.28, 1), Ask(**wanted))
    one = fan(found.exact)
    back_emf = 22.08 * one.rpm / 2400
    by_hand = (28.0 - back_emf - one.amps * (0.28 + 0.05)) / one.amps
    # Pins and crimps of the loom, which the hand leaves out, are some 6 mohm.
    assert found.exact.ohms == pytest.approx(by_hand, abs=0.008)
    shaft = back_emf * one.amps
    lost = one.amps**2 * (0.28 + 0.05)
    assert 28.0 * one.amps == pytest.approx(found.exact.watts + lost + shaft, rel=2e-3)
    assert {"rpm": one.rpm, "amps": one.amps, "share": one.share}[next(iter(wanted))] == pytest.approx(
        next(iter(wanted.values())), rel=1e-4
    )


def test_a_fuse_that_opens_ends_a_held_fan(book):
    # 28 V over 0.05 + 0.28 + 0.4 ohm is 38.4 A (Ohm's law), 384 % of 10 A: within 0.5 s at 350 %
    # (ISO 8820-3, type C; from memory).
    plate = "{volts: 26, amps: 8, rpm: 2400}"
    found = size_resistor(book_fan(book, 24, 28.0, "0.05 ohm", plate, 0.28, 0.4, "10 A"), Ask(take=0.4))
    assert found.fuses[0].locked == pytest.approx(38.4, abs=0.5)  # pins and crimps
    assert found.fuses[0].opens <= 0.5
    assert found.burns == ()
    assert found.rating.take == found.rating.running


# -- against the simulator -------------------------------------------------------------------------------

CASES = [
    ("twin-fan-switch", {"outside": True, "one": True}),
    ("truck-24v", {"amps": 7.0}),
    ("cabin-blower", {"resistors": ("R2",), "outside": True}),
    ("twin-fan-three-relays", {"rpm": 900.0, "into": "W20"}),
]


@pytest.mark.parametrize(("name", "wanted"), CASES)
def test_the_simulator_finds_the_same_speeds_in_the_changed_harness(name, wanted):
    found = sized(name, **wanted)
    setup = next(one.setup for one in scenes_of(found.harness) if one.words == found.scene)
    given = simulated(found.changed, setup, [one.motor for one in found.taken.fans])
    share, least = TOLERANCE["speed"]
    for one in found.taken.fans:
        assert given[one.motor] == pytest.approx(one.rpm, rel=share, abs=least)


def simulated(harness, setup, motors):
    """Speeds by ngspice [rpm]."""
    observations = tuple((one, Observation.model_validate({"speed": one})) for one in motors)
    seen = []
    for station in Bench(harness, Setup.model_validate(setup), observations).stations:
        seen += [
            Observed(observations[place][0], "speed", station.circuit, reader)
            for place, reader in station.readers
        ]
    printed = simulate(circuit_deck("resistor", [], [look_of(one) for one in seen]))
    return {one.name: printed[printed_name(one.name)] for one in seen}


# -- which resistor, which fan ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "resistors", "motors"),
    [
        ("twin-fan-switch", ("R1", "R2"), ("M1", "M2")),
        ("twin-fan-module", ("R1", "R2"), ("M1", "M2")),
        ("truck-24v", ("R1",), ("M1",)),
        ("cabin-blower", ("R3",), ("M1",)),
    ],
)
def test_the_resistors_of_the_slowest_speed_are_found(name, resistors, motors):
    stage = stage_of(Design(circuitcheck.load(name).harness))
    assert (stage.resistors, stage.motors) == (resistors, motors)


def test_in_a_pack_each_resistor_has_the_speed_that_it_adds():
    design = Design(circuitcheck.load("cabin-blower").harness)
    ends = {name: stage_of(design, [name]).scene.words[-1] for name in ("R1", "R2", "R3")}
    assert ends == {"R1": "3", "R2": "2", "R3": "1"}


@pytest.mark.parametrize("name", WITHOUT)
def test_a_loom_without_one_says_so_in_one_sentence_and_where_one_could_go(name):
    with pytest.raises(
        ValueError, match=f"^{name} has no resistor that slows a fan.*such as --in W"
    ) as told:
        sized(name)
    wire = str(told.value).rpartition(" ")[2]
    assert sized(name, into=wire, share=0.3).layout.resistors == ("R1",)


def test_every_shipped_harness_is_in_one_of_the_two_lists():
    assert {*WITH, *WITHOUT} == set(harness_files())


@pytest.mark.parametrize(
    ("name", "wanted", "says"),
    [
        ("twin-fan-switch", {"rpm": 3000.0}, "found M1 at 3000 rpm; must be above .* below .*no ohms"),
        ("twin-fan-switch", {"rpm": 900.0, "amps": 3.0}, "one of a speed"),
        ("truck-24v", {"outside": True}, "R1 stands by itself"),
        ("truck-24v", {"one": True}, "R1 slows M1 alone"),
        ("cabin-blower", {"resistors": ("R1", "R3")}, "work in the same state of use"),
        ("first-fan", {"into": "W4"}, "needs a wanted rpm"),
        ("first-fan", {"into": "W4", "rpm": 900.0, "one": True}, "stands for itself"),
        ("first-fan", {"into": "W9", "rpm": 900.0}, "no fan is slowed there"),
    ],
)
def test_what_cannot_be_had_is_told_in_a_line(name, wanted, says):
    with pytest.raises(ValueError, match=says):
        sized(name, **wanted)


def test_names_that_are_not_there():
    with pytest.raises(UnknownName, match="no resistor 'R9'"):
        sized("truck-24v", resistors=("R9",))
    with pytest.raises(UnknownName, match="no fan that is slowed there 'M7'"):
        sized("truck-24v", motor="M7")
    with pytest.raises(UnknownName, match="no wire 'W99'"):
        sized("truck-24v", into="W99")


# -- heat and what ends it -------------------------------------------------------------------------------


def test_a_rating_holds_in_cool_air_and_falls_to_nothing():
    # MIL-PRF-26, characteristic V: full at 25 degC, none at 350 degC; from memory.
    assert heat.share_kept(25.0) == 1.0
    assert heat.share_kept(350.0) == 0.0
    cool = heat.surface(100.0, 100.0, 100.0, 25.0, None)
    assert cool.running == pytest.approx(350.0)
    assert heat.surface(10.0, 20.0, 50.0, 40.0, 3.0).running == pytest.approx(70.0)


def test_wire_classes():
    # ISO 6722-1: A 85, B 100, C 125, D 150, E 175, F 200, G 225, H 250 degC; from memory.
    limits = {85: "A", 100: "B", 125: "C", 150: "D", 175: "E", 200: "F", 225: "G", 250: "H", 251: ""}
    assert {limit: heat.wire_class(limit) for limit in limits} == limits


def test_where_nothing_blows_the_rating_bears_a_held_fan():
    found = sized("twin-fan-switch")
    assert [one.rule for one in found.burns] == ["resistor-locked", "resistor-locked"]
    assert all(math.isinf(one.opens) for one in found.fuses)
    assert found.rating.take * heat.share_kept(found.ambient) >= found.taken.locked_watts
    again = sized("twin-fan-switch", cut_out=160.0)
    assert again.burns == ()
    assert again.rating.take == again.rating.running < found.rating.take
    assert again.changed.parts["R1"].cut_out.opens == 160.0


def test_a_margin_of_ones_own():
    assert sized("truck-24v", margin=1.0).rating.running < sized("truck-24v").rating.running
    assert sized("truck-24v", margin=1.0).to_dict()["rating"]["margin_source"] == "as given"


def test_a_fuse_of_its_own_needs_room_between_the_two_currents():
    # 80 % of 10 A is 8 A (common practice); 200 % opens within 5 s (ISO 8820-3, from memory).
    assert fuse_of_its_own(8.0, 20.0, 60.0) == 10
    assert fuse_of_its_own(8.1, 16.5, 60.0) is None


# -- one for two fans, and outside the fan ---------------------------------------------------------------


def test_one_for_two_is_about_half_the_ohms_and_twice_the_watts():
    # Two equal resistances in parallel are half of one, at twice the current (CP2e 21.1).
    each, one = sized("twin-fan-switch").arrangements
    assert (each.count, one.count) == (2, 1)
    assert one.ohms == pytest.approx(each.ohms / 2, rel=0.02)
    assert one.watts == pytest.approx(2 * each.watts, rel=0.02)


def test_the_retrofit_is_a_harness_without_the_failed_resistors(tmp_path):
    file = tmp_path / "retrofit.yaml"
    done = run("resistor", "twin-fan-switch", "--outside", "--write", str(file))
    assert done.exit_code == 0
    written = load_harness(file)
    assert {"R1", "R2", "W21", "W22"}.isdisjoint({**written.parts, **written.wires})
    assert written.wires["W6"].end == "R3.1"
    assert "gone  serious  resistor-locked: R1, R2" in done.stdout
    assert "take W6 (RD/WH) off X2.1a and put it on R3.1" in done.stdout
    # The high speed does not pass the resistors and stays, but for a joint and a splice more.
    before, after = (Design(one).full for one in (load_harness("twin-fan-switch"), written))
    assert after.amps("M1:motor") == pytest.approx(before.amps("M1:motor"), rel=0.01)


def test_what_names_the_failed_resistor_is_left_out_and_told():
    found = sized("cabin-blower", resistors=("R2",), outside=True)
    kept = {
        points
        for test in found.changed.tests.values()
        for one in test.observe.values()
        for points in one.points
    }
    assert not any(one.startswith("R2.") for one in kept)
    assert any("splice W12" in one for one in found.layout.steps)
    assert "see that R2 is burnt through: it stays joined at both ends" in found.layout.steps


# -- what to know before -----------------------------------------------------------------------------------


def test_every_load_above_a_rating_is_told():
    found = sized("twin-fan-switch", share=0.98)
    told = " ".join(found.warnings)
    over = [one.fuse for one in found.fuses if one.locked > one.rating]
    over += [
        one.contact for one in found.contacts if one.locked > one.rating or one.starting > one.rating
    ]
    assert over == ["F3", "S1 low"]
    assert all(f"{name}: " in told for name in over)
    assert "F1: " not in told
    # 127 % of a fuse's rating is between 110 % (holds) and 135 % (must open): ISO 8820-3, from memory.
    assert "over its 50 A. It may blow" in told
    assert "more than the usual most of 3 times it" in told
    assert "need not blow" in run("resistor", "twin-fan-switch", "--share", "98 %").stdout


def test_a_step_that_comes_near_the_next_is_told_and_one_that_does_not_is_not():
    near = [one for one in sized("cabin-blower", share=0.6).warnings if "hardly two steps" in one]
    assert len(near) == 1
    assert "S1 at 1" in near[0]
    assert "S1 at 2" in near[0]
    assert not any("hardly" in one for one in sized("cabin-blower", share=0.5).warnings)


def test_in_place_inside_a_unit_is_told():
    assert any(
        "inside the left fan and right fan" in one
        for one in sized("twin-fan-switch", share=0.6).warnings
    )
    assert not any("inside" in one for one in sized("twin-fan-switch", outside=True).warnings)


def test_a_cut_out_that_trips_while_running_is_not_to_be_taken():
    text = run("resistor", "truck-24v", "--amps", "6 A", "--cut-out", "150 degC").stdout
    assert "Not this: it would trip in normal running" in text
    assert "\nTake" not in text
    margin = float(text.partition("--margin ")[2].split()[0])
    again = sized("truck-24v", amps=6.0, cut_out=150.0, margin=margin)
    assert again.surface.running < 150.0
    assert not again.trips
    text = run(
        "resistor", "truck-24v", "--amps", "6 A", "--cut-out", "150 degC", "--margin", f"{margin:g}"
    )
    assert "\nTake" in text.stdout


def test_what_the_retrofit_needs_ends_what_inspect_finds_serious():
    found = sized("twin-fan-switch", outside=True)
    (cure,) = found.cures
    assert cure.startswith("W36 and W38: take 10 mm2 for the fuse of 50 A, or")
    changed = found.changed
    thicker = {
        name: wire.model_copy(update={"size": 10.0}) if name in ("W36", "W38") else wire
        for name, wire in changed.wires.items()
    }
    after = inspect_harness(
        changed.model_copy(update={"wires": thicker}), rules=["fuse-over-wire"]
    ).findings
    assert not [one for one in after if one.place in ("W36", "W38")]
    assert sized("twin-fan-switch").cures == ()


# -- the command -----------------------------------------------------------------------------------------


def run(*arguments):
    return CliRunner().invoke(app, list(arguments), catch_exceptions=False)


@pytest.mark.parametrize("name", ["twin-fan-switch", "cabin-blower"])
def test_the_text_fits_eighty_columns(name):
    done = run("resistor", name)
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "Needed:" in done.stdout
    assert "set fire" in done.stderr


def test_json_stands_alone():
    done = run("resistor", "truck-24v", "--share", "60 %", "--take", "2 ohm", "--json")
    found = json.loads(done.stdout)
    assert found["taken"]["ohms"] == 2.0
    assert found["exact"]["fans"][0]["share"] == pytest.approx(0.6)
    assert found["fuses"][0]["opens"] is None


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("first-fan",), "first-fan has no resistor"),
        (("truck-24v", "--share", "0.6"), "--share: found '0.6'; must be a share"),
        (("truck-24v", "--rpm", "fast"), "--rpm: found 'fast'"),
        (("truck-24v", "--write", "/nowhere/x.yaml"), "cannot write /nowhere/x.yaml"),
    ],
)
def test_mistakes_are_one_line_and_status_two(arguments, says):
    done = run("resistor", *arguments)
    assert done.exit_code == 2
    assert says in done.stderr
    assert done.stdout == ""


def test_from_python():
    found = circuitcheck.load("truck-24v").resistor(share=0.6)
    assert fan(found.exact).share == pytest.approx(0.6)


def test_a_fan_that_may_not_start_on_its_resistor_is_told():
    """Law: a rotor turns only where Ke I exceeds its friction T0. For M1, 15 A at its rated point of which
    6 % overcome friction, that is 0.9 A; 12.6 V over 15 ohm are 0.84 A and less, over 0.5 ohm some 18 A."""
    slow = sized("twin-fan-switch", rpm=100)
    told = next(one for one in slow.warnings if "may not start" in one)
    held, friction = (float(one) for one in re.findall(r"([\d.]+) A", told))
    assert held < 14.2 / slow.taken.ohms
    assert friction == pytest.approx(0.06 * 15, rel=0.1)
    assert not any("may not start" in one for one in sized("twin-fan-switch", share=0.6).warnings)
