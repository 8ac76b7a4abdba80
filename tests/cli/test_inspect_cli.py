"""The verbs inspect and wire on the command line."""

import json
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from circuitcheck.cli.main import app


def run(*arguments):
    return CliRunner().invoke(app, list(arguments), catch_exceptions=False)


def test_inspect_tells_the_worst_first_in_eighty_columns():
    done = run("inspect", "first-fan", "--limit", "ambient=90")
    assert done.exit_code == 0
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    order = [
        word
        for line in done.stdout.splitlines()
        for word in [line.split(" ")[0]]
        if word in ("serious", "doubtful", "note")
    ]
    assert order == sorted(order, key=["serious", "doubtful", "note"].index)
    assert "with limits of your own: ambient 90" in done.stdout
    assert "battery disconnected" in done.stderr
    assert "airbag" in done.stderr


def test_many_findings_of_a_rule_are_folded_and_all_unfolds_them():
    short, full = run("inspect", "first-fan").stdout, run("inspect", "first-fan", "--all").stdout
    assert "more (--all)" in short
    assert "more (--all)" not in full
    assert len(full.splitlines()) > len(short.splitlines())


def test_inspect_json_alone_on_standard_output():
    done = run("inspect", "first-fan", "--json")
    data = json.loads(done.stdout)
    assert done.stderr == ""
    assert data["counts"]["doubtful"] == sum(one["severity"] == "doubtful" for one in data["findings"])
    assert {"rule", "place", "severity", "words", "value", "limit", "unit"} <= set(data["findings"][0])


def test_inspect_in_the_open_formats():
    assert json.loads(run("inspect", "first-fan", "--as", "sarif").stdout)["version"] == "2.1.0"
    assert (
        ElementTree.fromstring(run("inspect", "first-fan", "--as", "junit").stdout).tag == "testsuites"
    )


def test_acceptances_from_a_file_and_from_the_line(tmp_path):
    file = tmp_path / "accepted.txt"
    file.write_text("# looked at in spring\nno-fuse W6: kept as it was built\n", encoding="utf-8")
    done = run(
        "inspect",
        "first-fan",
        "--accepted",
        str(file),
        "--accept",
        "coil-undamped K1: switched by bare contacts",
        "--accept",
        "cut-out R9: is long gone",
    )
    assert "no-fuse W6 (doubtful): kept as it was built" in done.stdout
    assert "2 accepted" in done.stdout
    assert "accepted, but found no more: cut-out R9" in done.stderr


def test_limits_with_their_sources():
    done = run("inspect", "first-fan", "--limits", "--limit", "bundle=4")
    assert "bundle = 4 (usual: 2)" in done.stdout
    rows = json.loads(run("inspect", "first-fan", "--limits", "--json").stdout)
    assert all(one["source"] for one in rows)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("inspect", "first-fun"), "no harness 'first-fun'; nearest: first-fan"),
        (("inspect", "first-fan", "--limit", "ambiant=3"), "no limit 'ambiant'; nearest: ambient"),
        (("inspect", "first-fan", "--limit", "ambient=900"), "must be from -40 to 150 degC"),
        (("inspect", "first-fan", "--accept", "no-fuse W6: ok"), "must say why"),
        (("inspect", "first-fan", "--accepted", "nowhere.txt"), "nowhere.txt: cannot be read"),
        (("inspect", "first-fan", "--json", "--as", "sarif"), "must be one of them"),
        (("wire",), "must be given --amps"),
        (("wire", "--amps", "15 V"), "--amps: found '15 V'; must be a current in A, mA"),
        (("wire", "--amps", "15", "--ambient", "130"), "must be below the 100 degC"),
        (("wire", "--amps", "15", "--harness", "first-fan"), "must be one of them"),
        (("wire", "--harness", "first-fan", "--test", "warmth"), "no test 'warmth'"),
    ],
)
def test_mistakes_are_one_line_and_status_two(arguments, message):
    done = run(*arguments)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert message in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_wire_for_a_current():
    """15 A over 6 m of 4 mm2, at most 4.71 mohm/m cold (ISO 6722-1, from memory), lose 0.42 V at the
    least and over 0.5 V warm; 6 mm2 (3.14 mohm/m) 0.28 to 0.38 V. 15 A at 80 % is a 20 A fuse."""
    done = run("wire", "--amps", "15 A", "--length", "6 m", "--drop", "0.5 V")
    assert done.exit_code == 0
    assert done.stdout.startswith("6 mm2 (")
    assert "20 A fuse" in done.stdout.splitlines()[0]
    data = json.loads(run("wire", "--amps", "15", "--length", "6", "--drop", "0.5", "--json").stdout)
    assert data["fuse_a"] == 20
    assert 0.28 < data["metric"]["drop"] < 0.38


def test_the_lead_of_a_test_is_the_one_that_expect_names():
    expected = json.loads(run("expect", "twin-fan-switch", "--test", "low-at-the-plug", "--json").stdout)
    done = run("wire", "--harness", "twin-fan-switch", "--test", "low-at-the-plug", "--json")
    assert json.loads(done.stdout) == {"low-at-the-plug": expected["tests"][0]["lead"]}
    table = run("wire", "--harness", "twin-fan-switch")
    assert "needs no lead" in table.stdout
    assert "Fused leads only" in table.stderr


@pytest.mark.parametrize("verb", ["inspect", "wire"])
def test_help_has_an_example(verb):
    assert "Example" in run(verb, "--help").stdout
