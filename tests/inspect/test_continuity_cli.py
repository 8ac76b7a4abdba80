"""The verb buzz on the command line: sheet out, sheet in, JSON alone, 80 columns, status 2 for mistakes."""

import csv
import io
import json
import math
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from circuitcheck.cli.main import app
from circuitcheck.harness.load import load_harness, parse_harness
from circuitcheck.inspect.continuity.buzz import continuity_sheet
from circuitcheck.inspect.continuity.ohms import Predictor
from circuitcheck.inspect.continuity.wiring import as_drawn
from circuitcheck.shipped import harness_files


def run(*arguments, given=None):
    return CliRunner().invoke(app, ["buzz", *arguments], input=given, catch_exceptions=False)


def csv_with(reading_of):
    """The CSV sheet of first-fan, each line filled in by a function of it."""
    rows = list(csv.DictReader(io.StringIO(run("first-fan", "--as", "csv").stdout)))
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    for row in rows:
        if row["check"] not in ("loom", "leads"):
            row["reading"] = reading_of(row)
        writer.writerow(row)
    return out.getvalue()


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_the_sheet_fits_eighty_columns_and_takes_its_cautions_with_it(name):
    done = run(name)
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "! Battery disconnected" in done.stdout
    assert "airbag" in done.stdout
    assert done.stderr == ""


def test_the_sheet_goes_out_as_csv_and_comes_back():
    done = run("first-fan", "-", given=csv_with(lambda row: "ok"))
    assert done.exit_code == 0
    assert "Result: sound\n" in done.stdout
    done = run("first-fan", "-", given=csv_with(lambda row: "OL" if row["from"] == "H1.2" else "ok"))
    assert "W13 open" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_the_example_in_yaml_on_the_page_is_read():
    page = (Path(__file__).parents[2] / "docs" / "continuity.md").read_text(encoding="utf-8")
    (text,) = re.findall(r"```yaml\n(.*?)```", page, re.S)
    done = run("twin-fan-switch", "-", given=text)
    assert done.exit_code == 0
    assert "Nothing is off in the 2 checks" in done.stdout


def test_json_is_one_document_and_nothing_else():
    done = run("first-fan", "--json")
    assert done.stderr == ""
    sheet = json.loads(done.stdout)
    assert sheet["count"] == len(sheet["checks"]) >= sheet["least"]
    text = csv_with(lambda row: "OL" if row["from"] == "H1.2" else "ok")
    done = run("first-fan", "-", "--json", given=text)
    assert done.stderr == ""
    result = json.loads(done.stdout)
    assert result["status"] in ("found", "narrowed")
    assert "W13 open" in [one["spec"] for one in result["explanations"][0]["mistakes"]]
    assert set(result) >= {"summary", "off", "unexplained", "not_proven", "next"}


def test_the_next_checks_come_as_csv_to_fill_in():
    text = csv_with(lambda row: "OL" if row["from"] == "H1.2" else "ok")
    more = run("first-fan", "-", "--as", "csv", given=text)
    rows = list(csv.DictReader(io.StringIO(more.stdout)))
    assert any(row["reading"] == "" and row["check"].isdigit() for row in rows)
    assert run("first-fan", "-", given=more.stdout).exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("first-fam",), "nearest: first-fan"),
        (("first-fan", "nowhere.csv"), "nowhere.csv: found no such file"),
        (("first-fan", "nowhere.csv", "--fitted"), "for an empty sheet"),
    ],
)
def test_mistakes_are_one_line_and_status_two(arguments, told):
    done = run(*arguments)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert told in done.stderr


def test_help_has_an_example():
    done = run("--help")
    assert "Examples:  circuitcheck buzz first-fan" in done.stdout


def swapped(one, other):
    """The sheet of truck-24v filled in from a loom whose description has two wire ends exchanged."""
    text = harness_files()["truck-24v"].read_text(encoding="utf-8")
    text = text.replace(f"{one},", "@,").replace(f"{other},", f"{one},").replace("@,", f"{other},")
    sheet = continuity_sheet(load_harness("truck-24v"))
    bands = Predictor(as_drawn(parse_harness(text)), [line.check for line in sheet.lines]).sound
    lines = ["meter,from,to,reading"]
    for row, band in zip(sheet.rows(), bands, strict=True):
        reading = "OL" if math.isinf(band[1]) else f"{(band[0] + band[1]) / 2:.2f}"
        lines.append(f"{row['meter']},{' + '.join(row['from'])},{' + '.join(row['to'])},{reading}")
    return "\n".join(lines) + "\n"


def test_a_next_check_is_expected_alike_in_the_text_and_in_the_csv():
    """With K1.87 and K2.87 exchanged, K2.87 is joined to what hangs on K1.87: R1.1, by the drawing."""
    text = swapped("K1.87", "K2.87")
    shown = run("truck-24v", "-", given=text)
    rows = csv.DictReader(io.StringIO(run("truck-24v", "-", "--as", "csv", given=text).stdout))
    asked = [row for row in rows if row["check"].isdigit() and not row["reading"]]
    assert asked
    for row in asked:
        points = f"{row['from']} to {row['to']}"
        if " + " in points:
            points = f"clip together {row['from']}, against {row['to']}".replace(" + ", " ")
        assert f"{points}: {row['expected']}" in " ".join(shown.stdout.split())
    assert [row for row in asked if row["expected"].endswith("ohm as found")]
    assert "before anything is put right" in " ".join(shown.stdout.split())


def test_ok_will_not_do_where_the_expected_reading_is_not_as_drawn():
    given = "from,to,expected,reading\nG1.+,F1.in,0.0 to 0.4 ohm as found,ok\n"
    done = run("first-fan", "-", given=given)
    assert done.exit_code == 2
    assert "line 2" in done.stderr or ":2:" in done.stderr
    assert "must be what the meter shows" in done.stderr


def test_a_sound_loom_has_nothing_to_be_put_right_and_gets_its_power_through_a_lamp():
    sound = run("first-fan", "-", given=csv_with(lambda row: "ok"))
    wrong = run("first-fan", "-", given=csv_with(lambda row: "OL" if row["from"] == "H1.2" else "ok"))
    assert "Put right" not in sound.stderr
    assert "Put right" in wrong.stderr
    for text in (sound.stderr, wrong.stderr, run("first-fan").stdout):
        assert "lamp" in " ".join(text.split())
        assert "fused lead" not in " ".join(text.split())


@pytest.mark.parametrize(("said", "meant"), [("Beep", "beeps"), ("o.k.", "ok"), ("O.L.", "OL")])
def test_words_as_people_write_them(said, meant):
    found = [
        run("first-fan", "-", "--json", given=csv_with(lambda row, one=one: one)).stdout
        for one in (said, meant)
    ]
    assert json.loads(found[0])["status"] == json.loads(found[1])["status"]
