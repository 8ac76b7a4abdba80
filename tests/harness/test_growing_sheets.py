"""Sheets that grow at their end: blocks that go on, blanks filled in later, a symptom, a meter."""

import pytest

import circuitcheck
from circuitcheck.errors import ReadingsError

LOOM = circuitcheck.load("twin-fan-switch")
FIRST = """
harness: twin-fan-switch   # greasy
symptom: right fan dead on low
tests:
  low-at-the-plug: {left: slow, right: "-"}
also:
  - {test: low-at-the-plug, drop: [X3.3b, G1.-], read: 0.01 V}
"""


def sheet(text, tmp_path):
    path = tmp_path / "sheet.yaml"
    path.write_text(text, encoding="utf-8")
    return LOOM.sheet(path)


def noted(found):
    return {(one.test, one.name): one.shown for one in found.readings}


class TestBlocksGoOn:
    def test_what_is_pasted_at_the_end_counts_as_if_it_stood_in_the_first_block(self, tmp_path):
        more = (
            "tests:\n  low-at-the-plug: {right: off}\n  cold: {left: off}\n"
            "also:\n  - {test: cold, volts: [S1.2, G1.-], read: 14 V}\n"
        )
        together = FIRST.replace('"-"', "off").replace("also:", "  cold: {left: off}\nalso:")
        together += "  - {test: cold, volts: [S1.2, G1.-], read: 14 V}\n"
        assert noted(sheet(FIRST + more, tmp_path)) == noted(sheet(together, tmp_path))

    def test_a_blank_below_leaves_the_reading_above(self, tmp_path):
        found = sheet(FIRST + 'tests: {low-at-the-plug: {left: "-"}}\n', tmp_path)
        assert noted(found)["low-at-the-plug", "left"] == "slow"

    def test_two_readings_of_one_name_are_told_with_both_lines(self, tmp_path):
        with pytest.raises(ReadingsError) as error:
            sheet(FIRST + "tests: {low-at-the-plug: {left: fast}}\n", tmp_path)
        assert str(error.value).endswith(
            "sheet.yaml:8: tests.low-at-the-plug.left: found 'left' a second time; "
            "must stand once (first on line 5)"
        )

    def test_in_a_harness_nothing_may_stand_twice(self, tmp_path):
        path = tmp_path / "loom.yaml"
        path.write_text("harness: A\ntests: {}\ntests: {}\n", encoding="utf-8")
        with pytest.raises(
            circuitcheck.DescriptionError, match=r"loom.yaml:3: tests: found 'tests' a sec"
        ):
            circuitcheck.load(path)


class TestSymptom:
    def test_it_is_a_reading_like_those_of_the_option(self, tmp_path):
        found = sheet("symptom: right fan dead on low\n", tmp_path)
        told = LOOM.next(symptom="right fan dead on low").to_dict()
        kept = LOOM.next(found).to_dict()
        assert (
            told["test"].pop("to_write")
            == f"symptom: right fan dead on low\n{kept['test'].pop('to_write')}"
        )
        for one in (*told["others"], *kept["others"]):
            one.pop("to_write")
        assert told == kept

    def test_it_counts_with_the_readings_of_the_sheet(self, tmp_path):
        said = LOOM.locate(sheet(FIRST, tmp_path))
        assert [one.test for one in said.readings] == ["symptom", "symptom", *["low-at-the-plug"] * 2]

    def test_as_a_row_of_a_table(self, tmp_path):
        found = sheet("test,name,reading\nsymptom,,right fan dead on low\n", tmp_path)
        assert noted(found) == {("symptom", "M2"): "off", ("symptom", "M1"): "runs"}

    def test_what_is_not_understood_has_its_line(self, tmp_path):
        with pytest.raises(
            ReadingsError,
            match=r"sheet.yaml:3: symptom: found 'right fan purple'; .* not "
            "understood: at 'purple'",
        ):
            sheet(FIRST.replace("dead on low", "purple"), tmp_path)

    def test_said_twice_it_is_refused(self, tmp_path):
        with pytest.raises(ValueError, match="has a symptom, 'right fan dead on low': change it there"):
            LOOM.next(sheet(FIRST, tmp_path), symptom="left fan dead")


class TestMeter:
    def test_an_old_meter_halves_the_volts_behind_its_own_resistance(self, tmp_path):
        """A meter behind a resistance as large as its input shows half (the divider, any textbook)."""
        whole, half = (
            LOOM._metered(
                sheet(f"meter: {{input: {ohm}}}\ntests: {{cold: {{left: off}}}}\n", tmp_path)
            ).whatif("W4 high resistance=10000 ohm", test="feed-at-the-switch")["feed-at-the-switch"]
            for ohm in ("10 Mohm", "10 kohm")
        )
        volts = [{one.name: one.expected for one in each.readings} for each in (whole, half)]
        assert volts[0]["feed"] == pytest.approx(volts[0]["battery"], rel=2e-3)
        assert volts[1]["feed"] == pytest.approx(volts[1]["battery"] / 2, rel=1e-3)

    @pytest.mark.parametrize(
        ("given", "said"),
        [
            ("{input: 5 V}", "meter.input: found '5 V'; must be the input of a voltmeter"),
            ("old", "meter: found no input; must be {input: 1 Mohm}"),
            ("{within: 50 %}", "meter.within: found '50 %'; must be a share of the reading"),
            ("{within: 5 V}", "meter.within: found '5 V'; must be a share of the reading"),
        ],
    )
    def test_what_is_no_input_is_told(self, given, said, tmp_path):
        with pytest.raises(ReadingsError) as error:
            sheet(f"meter: {given}\ntests: {{cold: {{left: off}}}}\n", tmp_path)
        assert f"sheet.yaml:1: {said}" in str(error.value)

    def test_readings_of_a_poor_meter_are_judged_by_its_own_error(self, tmp_path):
        """A sound battery's 12.6 V read 5 % low: 12.0 V. Of a meter that is within 0.5 % it is out of the
        band; of one that may be 5 % off (u = a / sqrt 3, JCGM 100:2008, 4.3.7) it is not."""
        read = "tests: {feed-at-the-switch: {battery: 12.0 V}}\n"
        usual, poor = (
            {one.name: one.fits for one in LOOM.locate(sheet(meter + read, tmp_path)).readings}
            for meter in ("", "meter: {within: 5 %}\n")
        )
        assert not usual["battery"]
        assert poor["battery"]

    def test_it_stands_in_a_table_as_well(self, tmp_path):
        found = sheet(
            "test,name,reading\nmeter,within,5 %\nmeter,input,1 Mohm\ncold,left,off\n", tmp_path
        )
        assert (found.meter_within, found.meter_ohm) == (0.05, 1e6)


class TestBlanksAreAdded:
    def test_a_sheet_grows_and_keeps_what_is_in_it(self, tmp_path):
        from circuitcheck.plan.adding import with_blanks

        path = tmp_path / "sheet.yaml"
        path.write_text(FIRST, encoding="utf-8")
        test = LOOM.next(path).test
        text = with_blanks(LOOM.harness, FIRST, test)
        assert text.startswith(FIRST.rstrip())
        assert with_blanks(LOOM.harness, text, test) == text
        path.write_text(text, encoding="utf-8")
        assert noted(LOOM.sheet(path)) == noted(sheet(FIRST, tmp_path))

    def test_a_table_gets_rows(self):
        from circuitcheck.plan.adding import with_blanks

        text = "test;name;reading\nlow-at-the-plug;left;slow\n"
        test = LOOM.next({"low-at-the-plug": {"left": "slow"}}).test
        if test.name in LOOM.harness.tests:
            added = with_blanks(LOOM.harness, text, test).splitlines()[2:]
            assert added == [f"{test.name};{one.sound.name};-" for one in test.readings]
        else:
            with pytest.raises(ValueError, match="a table has no place for a set-up"):
                with_blanks(LOOM.harness, text, test)

    def test_a_sheet_in_braces_is_refused(self):
        from circuitcheck.plan.adding import with_blanks

        with pytest.raises(ValueError, match="written in braces"):
            with_blanks(LOOM.harness, "{tests: {}}", LOOM.next().test)
