"""From a filled sheet to the mistakes in words. The readings are worked out by hand from the drawing."""

import random
import sys
from pathlib import Path

import pytest

from circuitcheck.harness.load import load_harness, parse_harness
from circuitcheck.inspect.continuity.buzz import JOIN, continuity_sheet, read_file

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

SMALL = """harness: Invented, a diode and an empty cavity
volts: 12
supply: {battery: G1, resting: 12.6 V, running: 14.2 V}
parts:
  G1: {kind: battery}
  E0: {kind: ground}
  X1: {kind: plug, cavities: 3}
  V1: {kind: diode}
  S1: {kind: switch, positions: {off: [], on: [[A, B]]}, at_rest: off}
wires:
  W0: {from: G1.-, to: E0.31, size: 25 mm2, length: 0.4 m}
  W1: {from: G1.+, to: X1.1a, size: 4 mm2, length: 0.4 m}
  W2: {from: X1.1b, to: V1.a, size: 4 mm2, length: 0.4 m}
  W3: {from: V1.k, to: S1.A, size: 4 mm2, length: 0.4 m}
  W4: {from: S1.B, to: E0.31, size: 4 mm2, length: 0.4 m}
"""


def filled(harness, off, more=(), one_by_one=False):
    """A sheet on which all reads as expected but what ``off`` says, by the points; and lines added."""
    lines, left = ["meter,from,to,reading"], dict(off)
    for row in continuity_sheet(harness, one_by_one=one_by_one).rows():
        one, two = JOIN.join(row["from"]), JOIN.join(row["to"])
        reading = left.pop((one, two), None) or left.pop((two, one), None) or "ok"
        if len(row["to"]) > 1:
            reading = left.pop(one, reading)
        lines.append(f"{row['meter']},{one},{two},{reading}")
    assert not left, f"no such lines: {left}"
    lines += [f"ohms,{one},{two},{reading}" for one, two, reading in more]
    return read_file(harness, "sheet.csv", "\n".join(lines) + "\n")


def all_specs(result):
    """Every explanation shown, as sets of names."""
    return [{one.spec for one in found.mistakes} for group in result.groups for found in group.members]


@pytest.fixture(scope="module")
def switch():
    return load_harness("twin-fan-switch")


@pytest.fixture(scope="module")
def fan():
    return load_harness("first-fan")


@pytest.fixture(scope="module")
def small():
    return parse_harness(SMALL, name="small")


def test_a_missing_wire(switch):
    result = filled(switch, {("X2.3a", "E1.31"): "OL"})
    assert {"W11 open"} in all_specs(result)
    words = result.to_dict()["explanations"][0]["mistakes"][0]["words"]
    assert "X2.3a" in words
    assert "W11 (BN)" in words


def test_two_wires_swapped_in_the_switch_plug(switch):
    # S1.1 feeds both low pins, S1.3 both high ones: with the two swapped, none of the four reads.
    off = {
        ("S1.1", "X2.1a"): "OL",
        ("S1.1", "X3.1a"): "OL",
        ("S1.3", "X2.2a"): "OL",
        ("S1.3", "X3.2a"): "OL",
    }
    more = [("S1.1", "X2.2a", "0.3 ohm"), ("S1.3", "X2.1a", "0.3 ohm"), ("S1.3", "X3.1a", "0.3 ohm")]
    result = filled(switch, off, more)
    assert result.status == "found"
    assert result.best.specs == {"S1.1 and S1.3 swapped"}


def test_a_wire_in_the_wrong_splice_is_parted_from_a_missing_one(switch):
    first = filled(switch, {("S1.1", "X3.1a"): "OL"})
    assert first.status == "narrowed"
    assert {"W7 open"} in all_specs(first)
    assert {"W7 in X11 for X10"} in all_specs(first)
    assert first.next_checks
    second = filled(switch, {("S1.1", "X3.1a"): "OL"}, [("X3.1a", "S1.3", "0.2 ohm")])
    assert second.status == "found"
    assert second.best.specs == {"W7 in X11 for X10"}


def test_a_strand_across_two_cavities(fan):
    # One by one: of all nets only those at K1.85 and K1.86 conduct to the rest.
    result = filled(fan, {"K1.85": "0.2 ohm", "F2.out": "0.2 ohm"}, one_by_one=True)
    assert result.best.specs == {"K1.85 joined to K1.86"}
    assert "strand across the two cavities" in result.best.mistakes[0].words
    assert len(result.groups) == 1


def test_a_short_to_ground_and_one_to_supply(switch):
    result = filled(switch, {"G1.-": "0.3 ohm", "S1.1": "0.3 ohm"}, one_by_one=True)
    assert any("short to ground" in one.words for one in result.best.mistakes)
    result = filled(switch, {"G1.+": "0.3 ohm", "S1.3": "0.3 ohm"}, one_by_one=True)
    assert any("short to supply" in one.words for one in result.best.mistakes)


def test_a_joint_with_too_much_resistance_and_its_ohms(fan):
    # W11 is on both ways, W5 only on the one to X2.2a.
    result = filled(fan, {("S1.1", "X2.2a"): "12.2 ohm"})
    assert result.best.specs == {"W5 high resistance"}
    assert "about 12 ohm" in result.best.mistakes[0].words


def test_the_leads_are_taken_off(fan):
    text = "check,from,to,reading\nleads,,,0.4 ohm\n1,S1.1,X2.2a,0.6 ohm\n"
    assert read_file(fan, "s.csv", text).off == []
    assert read_file(fan, "s.csv", text.replace("0.4 ohm", "0.0 ohm")).off == [0]


def test_relays_of_the_wrong_kind(fan):
    # Closed at rest between 30 and 87: both lines with 30 and 87 on opposite sides conduct.
    result = filled(fan, {"K1.30/part": "0.1 ohm", "K1.87/part": "0.1 ohm"})
    assert {"K1 with a break contact"} in all_specs(result)
    # 30 and 86 in each other's place: no coil between 85 and 86, but between 85 and 30.
    result = filled(
        fan,
        {("K1.85/part", "K1.86/part"): "OL", "K1.30/part": "80 ohm"},
        [("K1.85/part", "K1.30/part", "80 ohm")],
    )
    assert result.best.specs == {"K1 with 30 and 86 exchanged"}
    result = filled(fan, {("K1.85/part", "K1.86/part"): "300 ohm"})
    assert result.best.specs == {"K1 with another coil"}


def test_a_plain_relay_where_a_change_over_belongs():
    result = filled(load_harness("twin-fan-three-relays"), {("K2.30/part", "K2.87a/part"): "OL"})
    assert {"K2 with a make contact"} in all_specs(result)


def test_a_diode_the_wrong_way_round(small):
    result = filled(small, {("V1.a/part", "V1.k/part"): "OL"})
    assert {"V1 open"} in all_specs(result)
    off = {("V1.a/part", "V1.k/part"): "OL", ("V1.k/part", "V1.a/part"): "0.55 V"}
    result = filled(small, off)
    assert result.status == "found"
    assert result.best.specs == {"V1 reversed"}


def test_a_wire_in_an_empty_cavity(small):
    result = filled(small, {("X1.1b", "V1.a"): "OL"}, [("X1.2b", "V1.a", "0.1 ohm")])
    assert result.best.specs == {"X1.1b in X1.2b"}
    assert "cavity X1.2b and not in X1.1b" in result.best.mistakes[0].words


def test_a_terminal_pushed_out_takes_both_its_wires_along(switch, fan):
    # Both wires at the plus clamp of first-fan: open to the clamp, and through to each other.
    result = filled(
        fan, {("G1.+", "F1.in"): "OL", ("G1.+", "S2.30"): "OL"}, [("F1.in", "S2.30", "0.2 ohm")]
    )
    assert result.best.specs == {"G1.+ pushed out"}


def test_two_and_three_at_once(switch):
    off = {("X2.3a", "E1.31"): "OL", ("S1.1", "X2.1a"): "7.5 ohm"}
    result = filled(switch, off)
    assert {"W11 open", "W6 high resistance"} in all_specs(result)
    off |= {("F1.in/part", "F1.out/part"): "OL"}
    result = filled(switch, off)
    assert {"W11 open", "W6 high resistance", "F1 blown"} in all_specs(result)
    assert result.best.specs == {"W11 open", "W6 high resistance", "F1 blown"}


def test_six_bad_joints_at_once(switch):
    at = {"W0 BK": 3, "W1 RD": 4, "W2 RD": 5, "W3 RD/BK": 6, "W4 RD/BK": 7, "W11 BN": 8}
    rows = [row for row in continuity_sheet(switch).rows() if row["wires"] in at]
    result = filled(switch, {(row["from"][0], row["to"][0]): f"{at[row['wires']]} ohm" for row in rows})
    assert result.best.specs == {f"W{n} high resistance" for n in (0, 1, 2, 3, 4, 11)}


def test_what_nothing_explains_is_said_so(switch):
    # A fuse is whole or blown; 40 ohm across one is neither.
    result = filled(switch, {("F1.in/part", "F1.out/part"): "40 ohm"})
    assert result.status == "not explained"
    assert len(result.unexplained) == 1


def test_a_whole_sheet_is_sound_and_half_a_sheet_says_what_is_open(switch):
    assert filled(switch, {}).status == "sound"
    result = read_file(
        switch, "s.csv", "from,to,reading\nG1.+,F1.in,ok\nF1.out,F3.in,0.1 ohm\nS1.2,X1.1b,-\n"
    )
    assert result.status == "sound so far"
    assert "W1" not in result.missing.wires
    assert "W2" not in result.missing.wires
    assert "W4" in result.missing.wires
    assert result.missing.apart
    # The checks it asks for prove the rest: fill them in, and the loom is passed.
    header, *lines = result.to_csv().splitlines()
    whole = [
        line + "ok" if line.endswith(",") and not line.startswith("leads") else line for line in lines
    ]
    assert read_file(switch, "s.csv", "\n".join([header, *whole]) + "\n").status == "sound"


@pytest.mark.parametrize("name", ["first-fan", "twin-fan-switch", "truck-24v"])
def test_drawn_mistakes_are_named_after_what_the_tool_asks_for(name):
    """A share of the benchmark: readings of a resistor network solved by scipy, with meter error."""
    import buzz

    harness = load_harness(name)
    bench, draw = buzz.Bench(harness), random.Random(11)
    names, lines = buzz.Names(bench), continuity_sheet(harness).rows()
    sound = buzz.all_pairs(bench, bench.resistors)
    assert buzz.one_loom(bench, names, lines, [], bench.resistors, sound, draw)["status"] == "sound"
    for size in (1, 1, 1, 2):
        drawn = buzz.draw_set(bench, names, size, draw, {"drawn": 0, "hidden": 0})
        found = buzz.one_loom(bench, names, lines, *drawn, draw)
        assert found["asked"]["shown"], (found["specs"], found["said"])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "from,to,reading\nG1.+,F1.inn,0.1\n",
            r"s.csv:2: to: found 'F1.inn'; must be a terminal .*\(nearest: F1.in\)",
        ),
        ("from,to,reading\nG1.+,F1.in,much\n", r"s.csv:2: reading: found 'much'; must be a resistance"),
        ("from,to,reading\nG1.+,F1.in,12 V\n", r"s.csv:2: reading: found '12 V'; .*not in 'V'"),
        (
            "from,to,reading\nG1.+,F1.in,ok\nF1.in,G1.+,OL\n",
            r"s.csv:3: found F1.in to G1.\+ a second time; .*line 2",
        ),
        ("from,to\nG1.+,F1.in\n", r"s.csv:1: found columns from, to; must be from, to, reading"),
        ("from,to,reading\nG1.+,G1.+,ok\n", r"s.csv:2: to: found 'G1.\+'; must be other points"),
        (
            "from,to,reading\nX10.1,S1.1,ok\n",
            r"s.csv:2: from: found 'X10.1'; must be a terminal that a probe gets at",
        ),
        ('from,to,reading\nG1.+,F1.in,"0,3 ohm"\n', r"s.csv:2: reading: .*decimal point"),
        (
            "check,from,to,reading\nleads,,,40 ohm\n",
            r"s.csv:2: leads: found '40 ohm'; must be from 0 to 5 ohm",
        ),
        ("check,from,to,reading\nloom,,,bensh\n", r"s.csv:2: loom: found 'bensh'; .*nearest: bench"),
        ("from,to,reading\n", r"s.csv: found no checks"),
        ("hello\n", r"s.csv:1: found no 'checks:'"),
        ("checks:\n- {from: G1.+}\n", r"s.csv:2: checks.0: found no check; must be \{from: A"),
        (
            "checks: [{from: G1.+, to: F1.in, reads: ok}]\nleds: 1\n",
            r"s.csv:2: leds: found unknown key.*nearest: leads",
        ),
    ],
)
def test_a_bad_sheet_gives_one_error_with_file_and_line(switch, text, told):
    with pytest.raises(ValueError, match=told) as error:
        read_file(switch, "s.csv", text)
    assert len(str(error.value).splitlines()) == 1


def test_decimal_commas_where_semicolons_part_the_columns(switch):
    """Common practice, no source: a spreadsheet that writes one writes the other."""
    comma = read_file(switch, "s.csv", "from;to;reading\nG1.+;F1.in;0,3\nX2.3a;E1.31;12,5 ohm\n")
    point = read_file(switch, "s.csv", "from,to,reading\nG1.+,F1.in,0.3\nX2.3a,E1.31,12.5 ohm\n")
    assert all_specs(comma) == all_specs(point)


def test_a_sheet_in_yaml(switch):
    text = "loom: bench\nleads: 0.2 ohm\nchecks:\n- {from: X2.3a, to: E1.31, reads: OL}\n"
    assert {"W11 open"} in all_specs(read_file(switch, "s.yaml", text))


def test_fitted_in_the_vehicle_the_body_joins_the_ground_points(switch):
    # On the bench E1.31 and E2.31 are two eyelets in the air, bolted on they are one net.
    bench = read_file(switch, "s.csv", "from,to,reading\nE1.31,E2.31,0.1 ohm\n")
    assert bench.off == [0]
    fitted = read_file(switch, "s.csv", "check,from,to,reading\nloom,,,fitted\n1,E1.31,E2.31,0.1 ohm\n")
    assert fitted.off == []
    bad = read_file(switch, "s.csv", "check,from,to,reading\nloom,,,fitted\n1,E1.31,E2.31,3 ohm\n")
    assert {"E1 high resistance"} in all_specs(bad)
