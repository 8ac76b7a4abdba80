"""The command line: JSON alone on standard output, one line a mistake, exit status 0 or 2."""

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.shipped import harness_files, readings_files

NAMES = sorted(harness_files())


def run(*arguments, given=None):
    return CliRunner().invoke(app, list(arguments), input=given, catch_exceptions=False)


def test_version_and_help():
    assert run("--version").stdout.startswith("circuitcheck ")
    for verb in ("list", "demo", "faults", "expect", "whatif", "locate", "export", "schema"):
        done = run(verb, "--help")
        assert done.exit_code == 0
        assert verb == "demo" or "Example" in done.stdout, f"{verb} has no example"


def test_list_json():
    rows = json.loads(run("list", "--json").stdout)
    assert [row["name"] for row in rows] == NAMES
    assert set(rows[0]) >= {"name", "title", "volts", "parts", "wires", "tests"}


@pytest.mark.parametrize("name", NAMES)
def test_shipped_harnesses_have_the_agreed_size(name):
    row = next(one for one in json.loads(run("list", "--json").stdout) if one["name"] == name)
    assert 20 <= row["parts"] + row["wires"] <= 120
    assert len(row["tests"]) >= 5
    assert len(row["readings"]) >= 3


def test_demo_says_what_it_is_and_what_is_wrong():
    done = run("demo")
    assert done.exit_code == 0
    assert "invented" in done.stdout
    assert "Verdict: located" in done.stdout
    assert "without warning" in done.stderr


def test_expect_json_and_cautions_apart():
    done = run("expect", "first-fan", "--json")
    assert done.stderr == ""
    assert json.loads(done.stdout)["harness"] == "first-fan"
    done = run("expect", "first-fan")
    assert "without warning" in done.stderr
    assert "without warning" not in done.stdout


def test_output_fits_eighty_columns():
    for arguments in (("expect", "twin-fan-switch"), ("demo",), ("list",), ("faults", "first-fan")):
        for line in run(*arguments).stdout.splitlines():
            assert len(line.rstrip()) <= 80 or "circuitcheck locate" in line, line


def test_whatif_as_readings_goes_back_into_locate():
    sheet = run("whatif", "first-fan", "--fault", "M1 open", "--spread", "5", "--as", "readings").stdout
    again = run("whatif", "first-fan", "--fault", "M1 open", "--spread", "5", "--as", "readings").stdout
    assert sheet == again
    found = json.loads(run("locate", "first-fan", "-", "--json", given=sheet).stdout)
    assert "M1 open" in [one["spec"] for one in found["suspects"] if one["group"] == 1]
    assert found["verdict"] in ("located", "narrowed")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("expect", "firts-fan"), "circuitcheck: no harness 'firts-fan'; nearest: first-fan"),
        (("expect", "/nowhere/loom.yaml"), "circuitcheck: /nowhere/loom.yaml: found no such file"),
        (("expect", "first-fan", "-t", "nope"), "circuitcheck: no test 'nope'; there are:"),
        (("whatif", "first-fan", "-f", "M1 opem"), "no fault 'M1 opem'; nearest: M1 open"),
        (("locate", "first-fan", "missing.yaml"), "circuitcheck: missing.yaml: found no such file"),
        (("export", "first-fan", "-t", "nope"), "circuitcheck: no test 'nope'"),
        (("exepct", "first-fan"), "expect"),
    ],
)
def test_mistakes_get_one_line_and_status_two(arguments, message):
    done = run(*arguments)
    assert done.exit_code == 2
    assert message in " ".join(done.stderr.split())
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_wrong_readings_are_told_with_file_and_line():
    sheet = "readings: x\ntests:\n  nope: {a: 1 V}\n"
    done = run("locate", "first-fan", "-", given=sheet)
    assert done.exit_code == 2
    assert "standard input:3" in done.stderr
    assert "no test 'nope'" in done.stderr


def test_a_closed_pipe_is_no_error():
    command = f"set -o pipefail; {sys.executable} -m circuitcheck faults first-fan | head -n 1"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)
    assert "Traceback" not in done.stderr


def test_no_colour_codes_in_a_pipe():
    assert "\x1b" not in run("demo").stdout


@pytest.mark.parametrize("name", NAMES)
def test_sample_readings_come_out_as_they_say(name):
    """Each sample sheet names its fault in its note; the first group must hold it."""
    for path in readings_files(name).values():
        truth = next(
            line.split("fault:", 1)[1].strip(" '")
            for line in path.read_text(encoding="utf-8").splitlines()
            if line.startswith("note:")
        )
        found = json.loads(run("locate", name, str(path), "--json").stdout)
        first = [one["spec"] for one in found["suspects"] if one["group"] == 1]
        assert truth in first, f"{path.name}: {truth} not in {first}"
        assert (found["verdict"] == "sound") == (truth == "sound"), path.name


def test_no_blanks_at_the_ends_of_lines():
    for words in (
        ("list",),
        ("expect", "first-fan"),
        ("faults", "first-fan"),
        ("wire", "--amps", "15 A", "--length", "6 m"),
    ):
        lines = run(*words).stdout.splitlines()
        assert [line for line in lines if line != line.rstrip()] == []


def test_each_caution_takes_a_line_and_what_holds_for_all_work_comes_last():
    lines = run("expect", "first-fan").stderr.splitlines()
    assert len(lines) > 3
    assert all(line.startswith("! ") and len(line) <= 80 for line in lines)
    assert "airbag" in lines[-1]


def test_a_verdict_prints_as_text():
    loom = circuitcheck.load("twin-fan-switch")
    said = str(loom.locate(readings_files("twin-fan-switch")["slow-on-low"]))
    assert said.startswith("located: Put right: right fan")
    assert "group  chance  suspect" in said


def test_a_fuse_that_blew_in_use_is_told():
    """A feed that touches the body draws far more than its fuse stands for (Ohm's law)."""
    done = run("whatif", "twin-fan-switch", "--fault", "W9 short to ground", "--test", "hot")
    assert "F3 has blown in use, before any of these tests" in done.stdout
    assert "blown" not in run("expect", "twin-fan-switch", "--test", "hot").stdout


def test_a_sheet_grows_by_what_next_asks_for(tmp_path):
    path = str(tmp_path / "job.yaml")
    first = run("next", "twin-fan-switch", path, "--add", "--symptom", "right fan dead on low")
    assert first.exit_code == 0
    assert f"Added to {path}" in " ".join(first.stdout.split())
    text = Path(path).read_text(encoding="utf-8")
    assert text.splitlines()[:2] == ["harness: twin-fan-switch", "symptom: right fan dead on low"]
    again = run("next", "twin-fan-switch", path, "--json")
    asked = [
        json.loads(run("next", "twin-fan-switch", *more, "--json").stdout)["test"]["name"]
        for more in ([path], ["--symptom", "right fan dead on low"])
    ]
    assert again.exit_code == 0
    assert asked[0] == asked[1]


def test_the_name_of_the_sheet_to_add_to_is_asked_for():
    assert "--add needs the name of a sheet" in run("next", "first-fan", "--add").stderr


@pytest.mark.parametrize("verb", [["expect", "first-fan"], ["--help"], ["faults", "first-fan"]])
def test_a_pipe_that_nobody_reads_is_no_mistake(verb):
    """Both streams go to a reader that has left, as in ``2>&1 | head -1``."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "circuitcheck", *verb], stdout=write, stderr=write, check=False
    )
    os.close(write)
    assert done.returncode == 0


def test_a_second_sheet_is_judged_first_and_the_list_stands_short(tmp_path):
    before = readings_files("twin-fan-switch")["slow-on-low"]
    after = tmp_path / "after.csv"
    after.write_text(
        "test,name,reading\nlow-at-the-plug,left,slow\nlow-at-the-plug,right,slow\n", encoding="utf-8"
    )
    whole = run("prove", "twin-fan-switch", str(before)).stdout
    text = run("prove", "twin-fan-switch", str(before), str(after)).stdout
    assert 0 < text.index("Verdict:") < text.index("The proof after the repair of")
    assert "Not yet proven" in text
    list_of_it = text[text.index("The proof after the repair of") :]
    assert len(list_of_it.splitlines()) * 3 < len(whole.splitlines())


def test_faults_can_be_asked_for_by_part_unit_and_kind():
    runner = CliRunner()
    rows = json.loads(runner.invoke(app, ["faults", "twin-fan-switch", "--json"]).stdout)
    asked = ["faults", "twin-fan-switch", "--part", "W10", "--kind", "short", "--json"]
    some = json.loads(runner.invoke(app, asked).stdout)
    assert some == [one for one in rows if one["where"] == "W10" and "short" in one["fault"]] != []
    unit = json.loads(
        runner.invoke(app, ["faults", "twin-fan-switch", "--unit", "left fan", "--json"]).stdout
    )
    assert unit == [one for one in rows if one["replace"] == "left fan"] != []
    wrong = runner.invoke(app, ["faults", "twin-fan-switch", "--unit", "lft fan"])
    assert wrong.exit_code == 2
    assert "nearest: left fan" in wrong.stderr


def test_of_two_faults_that_begin_alike_the_commoner_is_offered():
    """Most chafed wires touch the body, few another live wire: common practice, no source."""
    done = CliRunner().invoke(app, ["whatif", "twin-fan-switch", "--fault", "W9 short"])
    assert done.exit_code == 2
    assert "nearest: W9 short to ground" in done.stderr


def test_expected_readings_as_a_sheet_that_locate_takes_filled_in():
    """Filled in with what a sound circuit gives, nothing is wrong; blank, there is nothing to go by."""
    blank = run("expect", "first-fan", "--as", "csv").stdout
    rows = list(csv.DictReader(io.StringIO(blank)))
    harness = circuitcheck.load("first-fan").harness
    assert [(one["test"], one["name"]) for one in rows] == [
        (test, name) for test, one in harness.tests.items() for name in one.observe
    ]
    assert "no readings" in run("locate", "first-fan", "-", given=blank).stderr
    for one in rows:
        low, _, high = one["expected"].rpartition(" to ")
        unit = high.partition(" ")[2]
        one["reading"] = (
            f"{(float(low) + float(high.split()[0])) / 2} {unit}" if low else one["expected"]
        )
    filled = io.StringIO()
    writer = csv.DictWriter(filled, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    found = json.loads(run("locate", "first-fan", "-", "--json", given=filled.getvalue()).stdout)
    assert found["verdict"] == "sound"


def test_a_test_that_is_needed_is_asked_for_by_name():
    for verb in ("explain", "export"):
        done = run(verb, "first-fan")
        assert done.exit_code == 2
        assert "by-itself, switch-bridged" in done.stderr


def test_the_next_test_says_what_it_names_and_sets_in_what_goes_on():
    done = run("next", "twin-fan-switch", "--symptom", "right fan dead")
    assert "understood: right fan off, left fan runs" in done.stderr
    names = " ".join(done.stdout.split())
    assert "E2 ground, right chassis leg" in names
    assert "M2 motor, in the right fan" in names
    table = done.stdout.split("95 % between")[1].split("Why this one")[0].splitlines()[1:]
    assert {len(line) - len(line.lstrip()) for line in table if line.strip()} <= {2, 4, 6}


def test_a_proof_that_failed_is_not_said_to_rule_anything_out(tmp_path):
    before, after = tmp_path / "before.yaml", tmp_path / "after.yaml"
    before.write_text("tests: {high-at-the-plug: {right: off, right-ground: 0 V}}\n")
    after.write_text("tests: {high-at-the-plug: {right: slow, right-ground: 3.9 V}}\n")
    done = run("prove", "twin-fan-switch", str(before), str(after))
    assert "Not proven: put that right" in done.stdout
    assert "is ruled out" not in done.stdout
