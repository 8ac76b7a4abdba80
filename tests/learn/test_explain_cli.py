"""The verb explain."""

import json

import pytest
from typer.testing import CliRunner

from circuitcheck.cli.main import app


def run(*arguments, given=None):
    return CliRunner().invoke(app, list(arguments), input=given, catch_exceptions=False)


def test_help_has_an_example():
    done = run("explain", "--help")
    assert done.exit_code == 0
    assert "circuitcheck explain first-fan" in done.stdout


def test_json_is_one_document():
    done = run("explain", "first-fan", "--test", "fan-direct", "--observe", "amps", "--json")
    found = json.loads(done.stdout)
    assert done.stderr == ""
    assert found["value"] == pytest.approx(found["solver"], rel=1e-6)
    assert all("latex" in line and "mathml" not in line for line in found["lines"])


def test_one_section_alone():
    done = run("explain", "first-fan", "--test", "fan-direct", "--only", "power", "--only", "way")
    heads = [line for line in done.stdout.splitlines() if line and not line.startswith(" ")]
    assert heads == ["What does G1 deliver, and where does it go?", "The way of the current", "Power"]
    wrong = run("explain", "first-fan", "--test", "fan-direct", "--only", "pover")
    assert wrong.exit_code == 2
    assert "no section 'pover'; nearest: power" in wrong.stderr


def test_a_fuse_that_blew_before_the_test_is_told():
    # A seized fan draws its starting current for good, over three times its fuse: it opens (ISO 8820-3).
    done = run("explain", "first-fan", "--test", "by-itself", "--fault", "M1 seized")
    assert "F1 blew before this test" in done.stdout
    sound = run("explain", "first-fan", "--test", "by-itself")
    assert "blew" not in sound.stdout


def test_an_open_line_is_a_word_in_json():
    done = run("explain", "first-fan", "--test", "unpowered", "--observe", "contact", "--json")
    found = json.loads(done.stdout)
    assert (found["value"], found["word"]) == (None, "OL")


def test_cautions_go_to_standard_error():
    done = run("explain", "first-fan", "--test", "fan-direct")
    assert "without warning" in done.stderr
    assert "without warning" not in done.stdout


def test_markdown_has_latex():
    done = run("explain", "first-fan", "--test", "fan-direct", "--as", "markdown")
    assert r"\frac" in done.stdout
    assert done.stdout.startswith("# ")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("first-fan", "--test", "fan-dirct"), "no test 'fan-dirct'; nearest: fan-direct"),
        (("first-fan", "--test", "fan-direct", "--observe", "ampps"), "no observation 'ampps'"),
        (("first-fan", "--test", "fan-direct", "--fault", "W1 opn"), "no fault 'W1 opn'"),
        (("fist-fan", "--test", "fan-direct"), "fist-fan"),
    ],
)
def test_mistakes_are_one_line_and_status_two(arguments, says):
    done = run("explain", *arguments)
    assert done.exit_code == 2
    assert says in done.stderr
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
