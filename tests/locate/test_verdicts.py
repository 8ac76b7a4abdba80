"""Verdicts that must not be talked into: readings that nothing can give, and ranges."""

import re

import pytest

import circuitcheck
from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import number
from circuitcheck.harness.model import Observation
from circuitcheck.plan.symptom import symptom_sheet


@pytest.mark.parametrize("test", ["high-at-the-module", "low-at-the-switch", "fail-safe"])
def test_no_fault_explains_what_no_meter_would_show(test):
    """500 A through a lead: not even beside a relay that buzzes. Common practice, no source."""
    loom = circuitcheck.load("twin-fan-module")
    observe = loom.harness.tests[test].observe
    name = next(label for label, one in observe.items() if one.kind == "amps")
    verdict = loom.locate({test: {name: "500 A"}})
    assert verdict.verdict == "unexplained"
    assert verdict.repeat == (f"{test}: {name}",)


@pytest.mark.parametrize("spec", ["G1.+ high resistance", "W1 high resistance", "F1.in high resistance"])
def test_a_bad_main_feed_is_found_where_its_relays_buzz(spec):
    """Between 1.3 and 3.8 ohm the relays begin to buzz in some tests: readings turn there."""
    loom = circuitcheck.load("twin-fan-three-relays")
    verdict = loom.locate(loom.written(f"{spec}=2.2 ohm"))
    found = {one.spec: one for one in verdict.suspects if one.group == 1}
    assert spec in found
    assert found[spec].estimate.low <= 2.2 <= found[spec].estimate.high


@pytest.mark.parametrize("name", ["first-fan", "twin-fan-switch"])
def test_an_estimate_lies_in_its_range(name):
    loom = circuitcheck.load(name)
    for spec in [one.spec for one in loom.faults() if one.severity][::9]:
        for one in loom.locate(loom.written(spec, spread=3)).suspects:
            if one.estimate is not None:
                assert one.estimate.low <= one.estimate.value <= one.estimate.high, (spec, one.spec)


class TestBodyMetal:
    """With both eyelets alone no reading says whether the joint or the battery's own strap is bad."""

    SHEET = """
tests:
  high-at-the-plug: {left: slow, right: slow, left-ground: 4.4 V, right-ground: 4.4 V}
also:
  - {test: high-at-the-plug, drop: [E1.31, G1.-], read: 4.3 V}
  - {test: high-at-the-plug, drop: [chassis, G1.-], read: BODY}
"""

    def units(self, tmp_path, body):
        path = tmp_path / "sheet.yaml"
        path.write_text(self.SHEET.replace("BODY", body), encoding="utf-8")
        loom = circuitcheck.load("twin-fan-switch")
        return {one.replace for one in loom.locate(path).suspects if one.group == 1}

    def test_what_is_lost_from_the_body_on_is_lost_in_the_strap(self, tmp_path):
        """Kirchhoff's voltage law: what is lost behind the body is not lost before it."""
        assert self.units(tmp_path, "4.3 V") <= {"E0", "W0"}

    def test_a_reading_of_the_joint_alone(self):
        loom = circuitcheck.load("twin-fan-switch")
        fault = loom.fault("E1 high resistance=0.8 ohm")
        test = loom.harness.tests["high-at-the-plug"]
        given = {"whole": ("E1.31", "G1.-"), "joint": ("E1.31", "chassis"), "strap": ("chassis", "G1.-")}
        observed = tuple((name, Observation(drop=pair)) for name, pair in given.items())
        bench = Bench(loom.harness, test.setup, (*observed, ("amps", Observation(amps="W11"))))
        change = combined(fault, bench.circuit.branches)
        whole, joint, strap, amps = bench.run([change]).values[0]
        assert whole == pytest.approx(joint + strap, abs=1e-6)
        # Ohm's law over the joint: its 3 mohm and 0.8 ohm on top.
        assert joint == pytest.approx(amps * 0.803, rel=1e-6)


def test_hinges_say_what_one_misreading_would_change():
    """A verdict that one number alone decides says so, and what it would be without."""
    loom = circuitcheck.load("first-fan")
    drawn = loom.written("E1 high resistance=0.8 ohm", spread=1)["fan-direct"]
    sheet = {"fan-direct": {name: drawn[name] for name in ("fan", "amps", "ground-loss")}}
    verdict = loom.locate(sheet)
    assert verdict.hinges
    for one in verdict.hinges:
        left = {name: text for name, text in sheet["fan-direct"].items() if name != one.name}
        units = {}
        for suspect in loom.locate({"fan-direct": left}).suspects:
            units[suspect.replace] = units.get(suspect.replace, 0.0) + suspect.probability
        assert one.instead == max(units, key=lambda unit: units[unit])


def test_a_blown_fuse_asks_what_blew_it(tmp_path):
    path = tmp_path / "sheet.yaml"
    path.write_text(
        """
tests: {feed-at-relays: {fuse: 0 V}}
also: [{test: feed-at-relays, volts: [F2.in, G1.-], read: 24.9 V}]
""",
        encoding="utf-8",
    )
    verdict = circuitcheck.load("truck-24v").locate(path)
    assert verdict.repair.units[0] == "F2"
    assert "Before a new F2 goes in" in verdict.summary
    assert any(one.spec == "M1 seized" and one.replace == "fan and F2" for one in verdict.suspects)


def test_open_and_nearly_open_at_one_place_are_one_group():
    """A joint of 15 ohm and none at all differ by less than readings can show, with so many ohms."""
    loom = circuitcheck.load("twin-fan-switch")
    first = [
        one.spec for one in loom.locate(loom.whatif("W12 open", spread=4)).suspects if one.group == 1
    ]
    assert "W12 open" in first


def test_the_repair_covers_neighbours_that_no_probe_parts():
    """W8 and W9 meet in a splice inside the loom, so that both are named to be put right."""
    loom = circuitcheck.load("first-fan")
    verdict = loom.locate(loom.whatif("W9 high resistance=13 ohm", spread=3, test="switch-bridged"))
    assert {"W8", "W9"} <= set(verdict.repair.units) | {"S2", "S2.15", "S2.30"}
    assert verdict.repair.chance > 0.8


def test_a_word_that_a_sound_circuit_gives_too_is_no_reason():
    """0.45 V on the ground slows the fan by so little that 'slow' is likelier, yet it is 'fast'."""
    loom = circuitcheck.load("twin-fan-switch")
    verdict = loom.locate({"hot": {"right": "slow"}, "high-at-the-plug": {"right-ground": "0.45 V"}})
    reasons = [text for one in verdict.suspects for text in one.reasons]
    assert any("0.45 V" in text for text in reasons)
    for text in reasons:
        said = re.match(r".* read .*: .* gives (\w+), .* gives? (\w+)\.$", text)
        assert not said or said[1] != said[2], text


@pytest.mark.parametrize(("name", "heat"), [("cabin-blower", False), ("twin-fan-switch", True)])
def test_coolant_is_spoken_of_where_it_switches_the_fans(name, heat):
    loom = circuitcheck.load(name)
    verdict = loom.locate(loom.written())
    assert verdict.verdict == "sound"
    assert ("coolant" in verdict.summary) is heat
    assert ("coolant" in verdict.suspects[0].reasons[0]) is heat


def test_a_unit_is_located_by_its_own_chance_and_that_is_what_is_said():
    """The pack holds most of the suspects, none of which is likely by itself."""
    loom = circuitcheck.load("cabin-blower")
    sheet = symptom_sheet(loom.harness, "blower runs only on 4")
    verdict = loom.locate(sheet)
    pack = sum(one.probability for one in verdict.suspects if one.replace == "resistor pack")
    assert verdict.suspects[0].probability < 0.8
    assert (verdict.verdict == "located") is (pack >= 0.8)
    assert f"resistor pack ({pack:.0%})".replace("%", " %") in verdict.summary


@pytest.mark.parametrize("name", ["twin-fan-switch", "truck-24v"])
def test_what_lies_in_the_printed_band_is_not_off(name):
    loom = circuitcheck.load(name)
    test = next(one for one in loom.expect() if any(reading.kind == "volts" for reading in one.readings))
    reading = next(one for one in test.readings if one.kind == "volts")
    for end in (reading.low, reading.high):
        printed = number(end)
        (judged,) = loom.locate({test.test: {reading.name: f"{printed} V"}}).readings
        assert judged.fits, (printed, end)


@pytest.mark.parametrize(
    ("name", "read", "why"),
    [
        ("battery", "390 V", "12 V vehicle"),
        ("battery", "-12.3 V", "probes exchanged?"),
        ("left-amps", "700 A", "largest fuse"),
    ],
)
def test_a_reading_that_cannot_be_is_left_out_and_said(name, read, why):
    """Common practice, no source: no 12 V vehicle has 390 V, nor 700 A through a fused fan."""
    loom = circuitcheck.load("twin-fan-switch")
    others = {"high-at-the-plug": {"left": "fast", "right": "slow", "right-ground": "3.9 V"}}
    plain = loom.locate(others)
    verdict = loom.locate({"high-at-the-plug": {**others["high-at-the-plug"], name: read}})
    assert why in verdict.summary
    assert f"high-at-the-plug: {name}" in verdict.repeat
    assert verdict.suspects == plain.suspects
    assert [one.name for one in verdict.readings if one.misread == 1] == [name]


@pytest.mark.parametrize("read", ["15.9 V", "0 V", "-0.05 V"])
def test_what_a_bad_vehicle_can_give_is_weighed(read):
    loom = circuitcheck.load("twin-fan-switch")
    verdict = loom.locate({"high-at-the-plug": {"battery": read, "left": "fast"}})
    assert "misread" not in verdict.summary


def test_a_look_that_is_off_is_not_called_sound_wiring():
    """Left fast, right slow at full speed: an eye may err, but the sheet does not say that all is well."""
    loom = circuitcheck.load("twin-fan-switch")
    verdict = loom.locate({"high-at-the-plug": {"left": "fast", "right": "slow"}})
    assert verdict.verdict == "narrowed"
    assert "'right' in high-at-the-plug read slow, where it gives fast" in verdict.summary
    assert "Most likely to put right: right fan" in verdict.summary
