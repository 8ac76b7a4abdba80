"""Sheets of readings, good and broken, as YAML and as CSV."""

from __future__ import annotations

import io
import math
from pathlib import Path

import pytest

import circuitcheck
from circuitcheck.errors import ReadingsError
from circuitcheck.harness.load import read_harness
from circuitcheck.harness.readings import load_readings, parse_readings, sheet_text

BENCH = read_harness(Path(__file__).parents[1] / "data" / "bench.yaml")
SHEET = """\
readings: Fan dead on low
harness: bench
tests:
  low-at-the-plug: {left: slow, amps: 8.1 A, feed: 12400 mV}
  ohms: {low: OL, high: 0.3}
also:
  - {test: feed, volts: [S1.2, G1.-], read: 12.4 V}
  - {setup: {pull: [F3]}, volts: [F3.in, G1.-], read: 12.6 V}
"""
TABLE = "test,name,reading\n"


def problem_of(text):
    with pytest.raises(ReadingsError) as caught:
        parse_readings(BENCH, text, "sheet")
    (problem,) = caught.value.problems
    return problem


def shown(text):
    return [(one.test, one.name, one.shown) for one in parse_readings(BENCH, text).readings]


def test_good_sheet():
    sheet = parse_readings(BENCH, SHEET)
    assert sheet.title == "Fan dead on low"
    assert [(one.name, one.shown) for one in sheet.readings] == [
        ("left", "slow"), ("amps", "8.1 A"), ("feed", "12.4 V"), ("low", "OL"), ("high", "0.3 ohm"),
        ("volts S1.2 G1.-", "12.4 V"), ("volts F3.in G1.-", "12.6 V"),
    ]  # fmt: skip
    assert math.isinf(sheet.readings[3].value)


def test_reading_with_a_set_up_of_its_own():
    sheet = parse_readings(BENCH, SHEET)
    own = sheet.readings[-1].test
    assert own not in BENCH.tests
    assert sheet.setups[own].setup.pull == ["F3"]
    assert sheet.setups["feed"] is BENCH.tests["feed"]


@pytest.mark.parametrize(("old", "new", "line", "found", "must", "near"), [
    ("{low: OL, high: 0.3}", "{lo: OL}", 5, "no reading 'lo' in test 'ohms'", "low, high", "low"),
    ("  ohms: {low: OL, high: 0.3}", "  ohm: {low: OL}", 5, "no test 'ohm'", "a test", "ohms"),
    ("8.1 A", "8.1 V", 4, "'8.1 V'", "a current in A, mA", ""),
    ("8.1 A", "1e999 A", 4, "'1e999 A'", "a current", ""),
    ("8.1 A", "'8,1 A'", 4, "'8,1 A'", "a decimal point", ""),
    ("left: slow", "left: slw", 4, "'slw'", "off, slow, fast", ""),
    ("left: slow", "left: [slow]", 4, "a list or mapping", "one value", ""),
    ("harness: bench", "harness: other", 2, "readings of 'other'", "readings of 'bench'", ""),
    ("harness: bench", "harnes: bench", 2, "unknown key 'harnes'", "known here", "harness"),
    ("test: feed", "test: fed", 7, "no test 'fed'", "a test", "feed"),
    ("read: 12.4 V", "reed: 12.4 V", 7, "no reading", "read: 12 V", ""),
    ("volts: [S1.2, G1.-], ", "", 7, "0 things", "one of volts", ""),
    ("volts: [S1.2, G1.-]", "volts: [S1.2]", 7, "a list of 1", "a list of two", ""),
    ("volts: [S1.2, G1.-]", "volts: [S1.9, G1.-]", 7, "no terminal 'S1.9'", "terminal of S1", "S1.3"),
    ("pull: [F3]", "pul: [F3]", 8, "unknown key 'pul'", "known here", "pull"),
    ("pull: [F3]", "pull: [F33]", 8, "no part 'F33'", "a part", "F3"),
    ("pull: [F3]", "pull: [R1]", 8, "'R1'", "a plug or socket", ""),
    ("volts: [F3.in, G1.-]", "ohms: [F3.in, G1.-]", 8, "battery connected", "disconnected", ""),
    ("volts: [F3.in, G1.-], read: 12.6 V", "turn: M1, read: stuk", 8, "'stuk'", "nearest: stuck", ""),
    ("volts: [F3.in, G1.-], read: 12.6 V", "turn: F3, read: free", 8, "'F3', a fuse", "kind motor", ""),
    ("{pull: [F3]}, volts: [F3.in, G1.-], read: 12.6 V", "{}, turn: M1, read: free", 8,
     "a fan that could start", "'battery: disconnected'", ""),
    ("[F3]}, volts: [F3.in, G1.-], read: 12.6 V", "[F3], bridge: [[G1.+, F3.out]]}, turn: M1, read: free",
     8, "a fan that could start", "no lead to plus", ""),
    ("[F3]}, volts: [F3.in, G1.-], read: 12.6 V", "[F3], running: yes}, turn: M1, read: free", 8,
     "a running engine", "'running: no'", ""),
    ("volts: [F3.in, G1.-], read: 12.6 V", "fuse: M1, read: blown", 8, "'M1', a motor", "a fuse", ""),
    ("volts: [F3.in, G1.-], read: 12.6 V", "fuse: bridge, read: blown", 8, "'bridge' with no such lead",
     "must have 'bridge'", ""),
    ("{low: OL, high: 0.3}", "OL", 5, "no mapping", "{name: reading}", ""),
    ("also:", "also: [", 6, "'[' without its ']'", "left out, or closed", ""),
])  # fmt: skip
def test_one_mistake_gets_one_answer(old, new, line, found, must, near):
    assert old in SHEET
    problem = problem_of(SHEET.replace(old, new, 1))
    assert (problem.file, problem.line, problem.nearest) == ("sheet", line, near)
    assert found in problem.found
    assert must in problem.must


def test_all_problems_at_once_in_the_order_of_lines():
    text = SHEET.replace("8.1 A", "8.1 V").replace("pull: [F3]", "pull: [F33]")
    text = text.replace("low: OL", "lo: OL")
    with pytest.raises(ReadingsError) as caught:
        parse_readings(BENCH, text)
    assert [one.line for one in caught.value.problems] == [4, 5, 8]


def test_a_value_is_looked_at_also_where_its_setup_is_wrong():
    text = SHEET.replace(
        "{pull: [F3]}, volts: [F3.in, G1.-], read: 12.6 V", "{pul: [F3]}, turn: M1, read: fre"
    )
    with pytest.raises(ReadingsError) as caught:
        parse_readings(BENCH, text)
    assert [(one.line, one.found) for one in caught.value.problems] == [
        (8, "unknown key 'pul'"), (8, "'fre'"),
    ]  # fmt: skip


def test_a_slip_of_form_does_not_hide_the_rest():
    text = SHEET.replace("amps: 8.1 A", "amps: 8.1 V").replace("read: 12.4 V}", "read: 12.4 V")
    with pytest.raises(ReadingsError) as caught:
        parse_readings(BENCH, text)
    assert [(one.line, one.found) for one in caught.value.problems] == [
        (4, "'8.1 V'"), (7, "'{' without its '}'"),
    ]  # fmt: skip


def test_a_harness_for_a_sheet_is_told_as_that():
    text = (Path(__file__).parents[1] / "data" / "bench.yaml").read_text(encoding="utf-8")
    assert problem_of(text).found == "a harness"


def test_the_words_of_a_symptom_are_told_with_the_other_mistakes():
    text = "symptom: right fan kaput\ntests:\n  hot: {left: fsat}\n"
    with pytest.raises(ReadingsError) as caught:
        circuitcheck.load("twin-fan-switch").sheet(io.StringIO(text))
    assert [one.line for one in caught.value.problems] == [1, 3]


@pytest.mark.parametrize("text", ["-", "'-'", "''", "not taken", "Not done"])
def test_not_taken(text):
    sheet = SHEET.replace("left: slow", f"left: {text}")
    assert [name for _, name, _ in shown(sheet)][:2] == ["amps", "feed"]


@pytest.mark.parametrize(
    ("text", "word"), [("off", "off"), ("FAST", "fast"), ("2600 rpm", "2600 rpm"), ("2600", "2600 rpm")]
)
def test_words_and_numbers_for_a_fan(text, word):
    assert shown(SHEET.replace("left: slow", f"left: {text}"))[0][2] == word


@pytest.mark.parametrize("text", ["OL", "ol", "open", "infinite"])
def test_an_open_line(text):
    assert shown(SHEET.replace("low: OL", f"low: {text}"))[3][2] == "OL"


def test_open_line_is_no_voltage():
    assert "a voltage" in problem_of(SHEET.replace("12400 mV", "OL")).must


def test_nothing_taken_at_all():
    assert problem_of("tests:\n  ohms: {low: '-'}\n").found == "no readings"
    assert problem_of("").found == "an empty file"


@pytest.mark.parametrize("separator", [",", ";"])
def test_csv(separator):
    text = ("test,name,reading\nlow-at-the-plug,amps,8.1 A\n\nlow-at-the-plug,left,-\n"
            "feed,volts M1.+ G1.-,12.4 V\n").replace(",", separator)  # fmt: skip
    assert shown(text) == [("low-at-the-plug", "amps", "8.1 A"), ("feed", "volts M1.+ G1.-", "12.4 V")]


def test_csv_columns_in_another_order():
    assert shown("Test;Reading;Name\nohms;OL;low\n") == [("ohms", "low", "OL")]


@pytest.mark.parametrize(("text", "line", "found", "must"), [
    ("test,name,value\nohms,low,OL\n", 1, "columns test, name, value", "test, name, reading"),
    (TABLE + "\nohms,lo,OL\n", 3, "no reading 'lo'", "low, high"),
    (TABLE + "ohm,low,OL\n", 2, "no test 'ohm'", "a test of the harness"),
    (TABLE + "ohms,low,3 V\n", 2, "'3 V'", "a resistance in ohm"),
    (TABLE + "low-at-the-plug,left,whirring\n", 2, "'whirring'", "off, slow, fast"),
    (TABLE, 0, "no readings", "at least one"),
])  # fmt: skip
def test_broken_csv(text, line, found, must):
    problem = problem_of(text)
    assert problem.line == line
    assert found in problem.found
    assert must in problem.must


def test_from_a_file_and_from_a_stream(tmp_path):
    path = tmp_path / "sheet.yaml"
    path.write_text(SHEET, encoding="utf-8")
    assert load_readings(BENCH, path).readings == load_readings(BENCH, io.StringIO(SHEET)).readings
    with pytest.raises(ReadingsError, match="no such file"):
        load_readings(BENCH, tmp_path / "none.yaml")


def test_sheet_from_plain_values():
    text = sheet_text("bench", {"ohms": {"low": "OL"}}, "By hand")
    assert shown(text) == [("ohms", "low", "OL")]


# -- what was put right before the readings ----------------------------------------------------


@pytest.mark.parametrize(("given", "units"), [
    ("[S1, left fan]", ("S1", "left fan")), ("S1", ("S1",)), ("[]", ()), ("[W2, W2]", ("W2",)),
])  # fmt: skip
def test_what_was_put_right(given, units):
    assert (
        parse_readings(BENCH, SHEET.replace("tests:", f"put_right: {given}\ntests:")).put_right == units
    )


def test_what_was_put_right_in_csv():
    text = TABLE + "put_right,,left fan\nohms,low,OL\nput_right,,S1\n"
    assert parse_readings(BENCH, text).put_right == ("left fan", "S1")
    assert shown(text) == [("ohms", "low", "OL")]


def test_a_new_sheet_may_begin_with_what_was_put_right_alone():
    sheet = parse_readings(BENCH, "put_right: [S1]\n")
    assert (sheet.put_right, sheet.readings) == (("S1",), ())


def test_what_was_put_right_is_written_back():
    text = sheet_text("bench", {"ohms": {"low": "OL"}}, "By hand", ("S1", "left fan"))
    assert parse_readings(BENCH, text).put_right == ("S1", "left fan")


@pytest.mark.parametrize(("given", "found", "must", "near"), [
    ("[S1, lft fan]", "'lft fan'", "a unit to put right", "left fan"),
    ("[R1]", "'R1'", "R1 is put right with the left fan", "left fan"),
    ("[S1 and W2]", "'S1 and W2'", "each by itself: S1, W2", ""),
    ("[[S1]]", "a list or mapping", "the name of a unit", ""),
    ("['']", "nothing", "a unit to put right", ""),
    ("{S1: yes}", "a list or mapping", "the name of a unit", ""),
])  # fmt: skip
def test_what_was_put_right_is_a_unit(given, found, must, near):
    problem = problem_of(SHEET.replace("tests:", f"put_right: {given}\ntests:"))
    assert (problem.line, problem.found, problem.nearest) == (3, found, near)
    assert must in problem.must


def test_what_was_put_right_is_a_unit_in_csv_too():
    problem = problem_of(TABLE + "ohms,low,OL\nput_right,,W22\n")
    assert (problem.line, problem.found, problem.nearest) == (3, "'W22'", "W2")


# -- known to be wrong in the reader of sheets ------------------------------------------------

KNOWN = {
    "decimal comma in CSV with commas": TABLE + "low-at-the-plug,amps,8,1 A\n",
    "CSV row without a name": TABLE + "low-at-the-plug,,8.1 A\n",
    "list in a pair": SHEET.replace("volts: [S1.2, G1.-]", "volts: [[S1.2], G1.-]"),
    "unknown key in also": SHEET.replace("test: feed,", "test: feed, notes: 1,"),
    "missing test with several readings": SHEET.replace("low-at-the-plug", "lw-at-the-plug"),
}


@pytest.mark.parametrize("case", KNOWN)
def test_slips_are_told(case):
    assert problem_of(KNOWN[case]).must


def test_byte_order_mark_before_csv():
    assert shown("\ufefftest;name;reading\nohms;low;OL\n") == [("ohms", "low", "OL")]


def test_decimal_commas_where_semicolons_part_the_columns():
    """Common practice, no source: a spreadsheet that writes one writes the other."""
    text = "test;name;reading\nlow-at-the-plug;amps;8,1 A\nfeed;volts S1.2 G1.-;12,4 V\n"
    assert shown(text) == [("low-at-the-plug", "amps", "8.1 A"), ("feed", "volts S1.2 G1.-", "12.4 V")]


def test_a_list_on_the_line_of_its_key_is_told_as_that():
    assert problem_of("tests:\n  low-at-the-plug: - amps\n").found == "a '-' where no list can begin"


@pytest.mark.parametrize("dash", ["-", "--", "-  # later", "\u2013"])
def test_a_lone_dash_at_the_end_of_a_line(dash):
    text = f"tests:\n  low-at-the-plug:\n    left: {dash}\n    amps: 8.1 A\n    feed: {dash}\n"
    assert [name for _, name, _ in shown(text)] == ["amps"]


def test_readings_of_a_set_up_of_their_own_say_which_part_and_when():
    """Two fans looked at with a bridge in are two rows, under what was done."""
    harness = circuitcheck.load("twin-fan-three-relays").harness
    bridge = "setup: {ignition: on, pull: [K1], bridge: [[K1.30, K1.87]]}"
    hot = "setup: {ignition: on, running: yes, engine: 92 degC warming}"
    sheet = parse_readings(
        harness,
        f"""also:
  - {{{bridge}, speed: M1, read: fast}}
  - {{{bridge}, speed: M2, read: off}}
  - {{{hot}, amps: W20, read: 0.0 A}}
  - {{setup: {{ignition: on}}, volts: [F4.out, G1.-], read: 0 V}}
  - {{setup: {{ignition: on, engine: 25 degC warming}}, volts: [F4.out, G1.-], read: 0 V}}
""",
    )
    assert [(one.test, one.name) for one in sheet.readings] == [
        ("K1.30 to K1.87 bridged", "speed M1"), ("K1.30 to K1.87 bridged", "speed M2"),
        ("engine running, 92 degC", "amps W20"), ("ignition on", "volts F4.out G1.-"),
        ("ignition on (2)", "volts F4.out G1.-"),
    ]  # fmt: skip
    assert list(sheet.setups["K1.30 to K1.87 bridged"].observe) == ["speed M1", "speed M2"]
