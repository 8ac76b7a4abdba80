"""What is found in the shipped harnesses, checked by reading their files and by hand."""

import pytest

from circuitcheck.harness.load import load_harness
from circuitcheck.inspect.inspection import inspect_harness


@pytest.fixture(scope="module")
def findings():
    """Findings of a harness by rule, each inspected once."""
    done = {}

    def of(name, rule):
        if name not in done:
            done[name] = inspect_harness(load_harness(name)).findings
        return {one.place: one for one in done[name] if one.rule == rule}

    return of


def test_the_resistor_burns_before_any_fuse_opens(findings):
    """Orchard sprayer: 14.2 V over 0.40 and 0.18 ohm and 0.02 to 0.06 ohm of feed is 22 to 24 A, of which
    a good share goes into the other fan over the joined high-speed line; a 50 A fuse never opens. More
    than 60 W from 12.3 A on; not more than 24**2 * 0.4 = 230 W."""
    found = findings("twin-fan-switch", "resistor-locked")
    assert set(found) == {"R1", "R2"}
    for one in found.values():
        assert 60 < one.value < 230
        assert one.severity.name == "serious"
        assert "no fuse is sure to open" in one.words


def test_a_cut_out_beside_it_must_spare_a_resistor_that_has_none(findings):
    """In the cabin's pack R1 has a thermal cut-out, R2 and R3 in series with it have none; R2 carries the
    locked current at position 2, 14.2 V over 0.35 + 0.50 + 0.16 ohm and some feed, 12.5 to 14.1 A: 78 to 99 W."""
    found = findings("cabin-blower", "resistor-locked")
    assert set(found) == {"R2", "R3"}
    assert 78 < found["R2"].value < 99
    assert all(one.severity.name == "note" and "cut-out of R1" in one.words for one in found.values())


def test_lamp_and_coil_of_the_cab_feed_each_other_through_the_blower(findings):
    """Lamp and coil share splice X15 and ground E2; the lamp hangs on the feed of the blower."""
    found = findings("cabin-blower", "sneak-path")
    assert set(found) == {"H1"}
    parts = [one.split(".")[0] for one in found["H1"].path]
    assert [name for name in parts if name in ("K1", "H1", "M1")] == ["K1"] * 2 + ["H1"] * 2 + ["M1"] * 2


def test_fans_in_series_by_design_are_no_sneak_path(findings):
    assert findings("twin-fan-three-relays", "sneak-path") == {}


def test_thin_ignition_feeds_behind_the_main_fuse(findings):
    """80 A ahead of 2.5 and 1.5 mm2: (115 * 2.5)**2 is 82 600 A2 s, 1.3 s at 250 A, where a fuse of type E
    may take 7 s and more (350 %: 7 s; 200 %: 60 s; ISO 8820-3, from memory)."""
    for name, wires in (
        ("twin-fan-module", {"W6", "W7", "W8", "W10"}),
        ("twin-fan-three-relays", {"W5", "W6"}),
    ):
        found = findings(name, "fuse-over-wire")
        assert {place for place, one in found.items() if one.severity.name == "serious"} >= wires


def test_the_old_roadster_has_an_unfused_ignition_feed(findings):
    """1.2 m from the battery to the switch, and 0.5 m on to the first fuse, by the file."""
    found = findings("first-fan", "no-fuse")
    assert {place: round(one.value, 6) for place, one in found.items()} == {"W6": 1.2, "W7": 1.7}


@pytest.mark.parametrize(
    "rule",
    [
        "wrong-volts",
        "coil-polarity",
        "never-rests",
        "wire-running",
        "fuse-running",
        "resistor-running",
        "wire-unused",
        "two-feeds",
    ],
)
def test_what_no_shipped_harness_has(findings, rule):
    """Each of them works, by its tests, and each runs within the ratings its file states."""
    for name in ("first-fan", "twin-fan-switch", "truck-24v", "twin-fan-three-relays"):
        assert findings(name, rule) == {}, name
