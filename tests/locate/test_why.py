"""The ledger adds up: odds beforehand, each reading, what they share, odds afterwards."""

import json
import math

import pytest
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.shipped import readings_files

CASES = [
    ("twin-fan-switch", "right-fan-weak"),
    ("first-fan", "fan-never-runs"),
    ("truck-24v", "no-high-speed"),
]


def decades(odds):
    """Odds on the scale of the ledger: 10 for ten to one (definition of the decibel)."""
    return 10 * math.log10(odds)


@pytest.mark.parametrize(("name", "sheet"), CASES)
def test_the_figures_add_up_to_the_odds(name, sheet):
    loom = circuitcheck.load(name)
    why = loom.why(readings_files(name)[sheet])
    assert [one.spec for one in why.accounts] == [
        one.spec for one in why.verdict.suspects if one.spec != "sound"
    ]
    for one in why.accounts:
        parts = one.start + sum(entry.speaks for entry in one.entries) + one.together
        assert parts == pytest.approx(one.total, abs=1e-6)
    first = why.accounts[0]
    for one in why.accounts[1:]:
        odds = decades(first.chance / one.chance)
        assert first.total - one.total == pytest.approx(odds, abs=0.05 + 1e-3 / one.chance)


def test_the_odds_beforehand_are_those_of_the_table():
    """R1 open 6 and S1 low stuck open 2 in shared/frequency.csv; sound one vehicle in ten."""
    loom = circuitcheck.load("twin-fan-switch")
    why = loom.why({"low-at-the-plug": {"left": "off", "right": "off"}})
    weights = {one.spec: one.weight for one in loom.faults()}
    by_spec = {one.spec: one for one in why.accounts}
    one, other = by_spec["W5 open"], by_spec["F3 blown"]
    ratio = weights["W5 open"] / weights["F3 blown"]
    assert one.start - other.start == pytest.approx(decades(ratio), abs=1e-9)


def test_a_misread_reading_is_named_in_the_ledger():
    loom = circuitcheck.load("twin-fan-switch")
    sheet = loom.written("R1 open", spread=3)
    sheet["high-at-the-plug"]["right-ground"] = "7.5 V"
    why = loom.why(sheet)
    key = ("high-at-the-plug", "right-ground")
    (entry,) = [one for one in why.accounts[0].entries if (one.test, one.name) == key]
    assert why.accounts[0].spec == "R1 open"
    assert entry.misread > 0.9
    assert why.verdict.repeat == ("high-at-the-plug: right-ground",)
    assert why.verdict.verdict == "located"


class TestCommand:
    def run(self, *more):
        path = str(readings_files("twin-fan-switch")["right-fan-weak"])
        result = CliRunner().invoke(app, ["locate", "twin-fan-switch", path, "--why", *more])
        assert result.exit_code == 0
        return result.stdout

    def test_for_people(self):
        text = self.run()
        assert "The ledger" in text
        assert "'30:1 for' means" in " ".join(text.split())
        assert "the readings speak as for E2 high resistance" in text

    def test_for_programs(self):
        found = json.loads(self.run("--json"))
        assert found["verdict"] == "narrowed"
        assert found["why"][0]["spec"] == "E2 high resistance"
        assert len(found["why"][0]["readings"]) == len(found["readings"])
