"""Acceptances, limits, and the open formats that an inspection is written in."""

import json
from xml.etree import ElementTree

import pytest
from sound_design import inspected

import circuitcheck
from circuitcheck.errors import UnknownName
from circuitcheck.harness.load import load_harness
from circuitcheck.inspect.design import Design
from circuitcheck.inspect.exchange import junit, lines_of, sarif
from circuitcheck.inspect.guards import guards
from circuitcheck.inspect.inspection import all_rules, inspect_harness, read_acceptances
from circuitcheck.inspect.limits import LIMITS, Limits
from circuitcheck.inspect.rule import Severity
from circuitcheck.shipped import folder, harness_files

ACCEPTED = "no-fuse W6: old wiring, kept as it was built"


@pytest.fixture(scope="module")
def first_fan():
    """The small shipped harness, with one finding accepted and one acceptance out of date."""
    reasons = read_acceptances([ACCEPTED, "", "# a remark", "cut-out R9: no such resistor any more"])
    return inspect_harness(load_harness("first-fan"), accepted=reasons)


class TestAcceptances:
    def test_an_accepted_finding_stays_in_sight_and_no_longer_counts(self, first_fan):
        (one,) = first_fan.accepted
        assert (one.rule, one.place, one.accepted) == (
            "no-fuse",
            "W6",
            "old wiring, kept as it was built",
        )
        assert one in first_fan.findings
        assert one not in first_fan.standing
        plain = inspect_harness(load_harness("first-fan")).counts()
        assert first_fan.counts()["doubtful"] == plain["doubtful"] - 1

    def test_one_that_nothing_answers_to_is_told(self, first_fan):
        assert first_fan.stale == ("cut-out R9",)

    @pytest.mark.parametrize(
        ("line", "message"),
        [
            ("no-fuse: all of them are fine", "must be RULE PLACE: REASON"),
            ("no-fuse W6", "found the reason ''; must say why"),
            ("no-fuse W6: ok", "found the reason 'ok'; must say why"),
        ],
    )
    def test_a_whole_rule_or_no_reason_is_refused(self, line, message):
        with pytest.raises(ValueError, match=message):
            read_acceptances([line])

    def test_an_unknown_rule_is_named_with_the_nearest(self):
        with pytest.raises(ValueError, match=r"^kept\.txt:2: no rule 'no-fuze'; nearest: no-fuse"):
            read_acceptances(["", "no-fuze W6: long enough a reason"], "kept.txt")

    def test_from_python_it_takes_a_reason_too(self):
        loom = circuitcheck.load("first-fan")
        result = loom.inspect(
            "unfused-length=1.5 m", accepted={"no-fuse W7": "kept as it was"}, rules=["no-fuse"]
        )
        assert [(one.place, bool(one.accepted)) for one in result.findings] == [("W7", True)]
        assert "kept as it was" in result._repr_html_()
        with pytest.raises(ValueError, match="must say why"):
            loom.inspect(accepted={"no-fuse W7": ""})
        with pytest.raises(UnknownName, match="no rule 'fuses'"):
            loom.inspect(rules=["fuses"])


class TestLimits:
    def test_a_limit_of_ones_own_changes_the_verdict(self):
        assert "wire-running" not in {one.rule for one in inspected().findings}
        hot = inspected(limits=("ambient=98",))
        assert "wire-running" in {one.rule for one in hot.findings}
        assert hot.to_dict()["changed_limits"] == ["ambient"]

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("ambient", "must be NAME=VALUE"),
            ("ambient=warm", "ambient: found 'warm'; must be a number in degC"),
            ("ambient=80 V", "must be a number in degC"),
            ("bundle=0", "bundle: found '0'; must be from 1 to 100"),
        ],
    )
    def test_mistakes_are_told(self, text, message):
        with pytest.raises(ValueError, match=message):
            Limits.of([text])

    def test_an_unknown_limit_is_named_with_the_nearest(self):
        with pytest.raises(UnknownName, match="nearest: ambient"):
            Limits.of(["ambiant=80"])

    def test_every_limit_is_used_by_a_rule_and_every_rule_names_limits_that_exist(self):
        named = {name for rule in all_rules() for name in rule.limits}
        assert named == set(LIMITS)

    def test_every_rule_and_limit_has_a_source_or_says_that_it_has_none(self):
        for text in (*(rule.source for rule in all_rules()), *(one.source for one in LIMITS.values())):
            assert any(
                word in text
                for word in (
                    "common practice",
                    "read",
                    "from memory",
                    "stated for the",
                    "worked out",
                    "IEC",
                )
            ), text


class TestGuards:
    """By hand from the wiring: series fuses count as the smaller, fuses side by side as both."""

    def test_series(self):
        found = guards(Design(load_harness("twin-fan-switch")))
        assert found["W1"].amps == float("inf")
        assert (found["W2"].amps, found["W2"].fuses) == (80, ("F1",))
        assert (found["W9"].amps, found["W9"].fuses) == (50, ("F3",))
        assert (found["W22"].amps, found["W22"].fuses) == (50, ("F3",))  # behind the resistor too
        assert not {"W0", "W11", "W12", "W25"} & set(found)  # behind the motors

    def test_side_by_side(self):
        changes = (
            ("X3: {kind: splice, wires: 3}", "X3: {kind: splice, wires: 4}"),
            (
                "wires:\n  W0",
                "wires:\n  W40: {from: F1.out, to: X3.4, size: 6 mm2, length: 0.3 m}\n  W0",
            ),
        )
        text_found = [one for one in inspected(*changes).findings if one.rule == "fuse-over-wire"]
        assert {one.value for one in text_found} == {60.0}


class TestSarif:
    def test_it_has_what_the_standard_asks_for(self, first_fan):
        """SARIF 2.1.0 (OASIS), 3.13, 3.14, 3.18, 3.19, 3.27, 3.35."""
        path = harness_files()["first-fan"]
        log = json.loads(
            json.dumps(sarif(first_fan, "harnesses/first-fan.yaml", path.read_text(), "1.0"))
        )
        assert log["version"] == "2.1.0"
        (run,) = log["runs"]
        driver = run["tool"]["driver"]
        assert driver["name"] == "circuitcheck"
        ids = [rule["id"] for rule in driver["rules"]]
        assert len(ids) == len(set(ids))
        for one in run["results"]:
            assert one["level"] in ("error", "warning", "note")
            assert one["message"]["text"]
            assert ids[one["ruleIndex"]] == one["ruleId"]
        held = [one for one in run["results"] if "suppressions" in one]
        assert [one["suppressions"][0]["status"] for one in held] == ["accepted"]

    def test_it_points_at_the_line_of_the_part(self, first_fan):
        text = harness_files()["first-fan"].read_text(encoding="utf-8")
        lines = lines_of(text)
        assert text.splitlines()[lines["W6"] - 1].strip().startswith("W6:")
        assert text.splitlines()[lines["K1"] - 1].strip().startswith("K1:")
        log = sarif(first_fan, "first-fan.yaml", text)
        places = {
            one["message"]["text"].split(":")[0]: one["locations"][0]
            for one in log["runs"][0]["results"]
        }
        assert places["X9.3"]["physicalLocation"]["region"]["startLine"] == lines["X9"]


class TestJunit:
    def test_failures_skips_and_passes_are_counted(self, first_fan):
        suite = ElementTree.fromstring(junit(first_fan)).find("testsuite")
        cases = suite.findall("testcase")
        failures = [one for one in cases if one.find("failure") is not None]
        assert suite.get("tests") == str(len(cases))
        assert suite.get("failures") == str(len(failures))
        counts = first_fan.counts()
        assert len(failures) == counts["serious"] + counts["doubtful"]
        (skipped,) = [one for one in cases if one.find("skipped") is not None]
        assert (skipped.get("classname"), skipped.get("name")) == ("no-fuse", "W6")

    def test_every_rule_is_there_also_those_that_found_nothing(self, first_fan):
        names = {
            one.get("classname") for one in ElementTree.fromstring(junit(first_fan)).iter("testcase")
        }
        assert names == {rule.id for rule in all_rules()}


def test_the_worst_comes_first():
    found = [one.severity for one in inspect_harness(load_harness("twin-fan-switch")).findings]
    assert found == sorted(found, reverse=True)
    assert found[0] is Severity.serious


def test_the_tables_are_where_the_code_reads_them():
    assert (folder("shared") / "capacity.csv").is_file()
    assert (folder("shared") / "bundle.csv").is_file()
