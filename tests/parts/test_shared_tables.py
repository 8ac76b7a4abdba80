"""The tables in ``shared/``: a source in every row, and the same as in the code."""

import csv

import pytest
from test_fault_modes import PARTS

import circuitcheck
from circuitcheck.circuit.build import all_faults
from circuitcheck.expect.cautions import STANDARD_FUSES
from circuitcheck.locate.locate import Locator
from circuitcheck.parts import KINDS
from circuitcheck.parts.fuse import OPENS_AT
from circuitcheck.parts.wire import COLOURS, Wire
from circuitcheck.shipped import folder

TABLES = sorted(path.name for path in folder("shared").glob("*.csv"))
MARKS = {"read", "read (secondary)", "from memory", "common practice", "computed"}
KEYS = {
    "wire.csv": ("mm2", "standard"),
    "awg.csv": ("awg",),
    "capacity.csv": ("mm2",),
    "bundle.csv": ("loaded_wires",),
    "fuse.csv": ("type", "rating_a"),
    "frequency.csv": ("kind", "mode"),
    "colour.csv": ("code",),
    "terminal.csv": ("terminal",),
    "letter.csv": ("letter",),
    "eseries.csv": ("value",),
}


def rows(table):
    with (folder("shared") / table).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_tables_are_there():
    assert set(KEYS) <= set(TABLES)


@pytest.mark.parametrize("table", TABLES)
def test_every_row_has_a_source_and_a_mark(table):
    found = rows(table)
    assert found
    for number, row in enumerate(found, start=2):
        assert None not in row, f"{table} line {number} has too many fields"
        assert None not in row.values(), f"{table} line {number} has too few fields"
        assert len(row["source"]) >= 8, f"{table} line {number}"
        assert set(row["mark"].split("; ")) <= MARKS, f"{table} line {number}: {row['mark']}"
        assert row["mark"], f"{table} line {number}"


@pytest.mark.parametrize("table", sorted(KEYS))
def test_no_row_comes_twice(table):
    keys = [tuple(row[name] for name in KEYS[table]) for row in rows(table)]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("table", TABLES)
def test_text_is_plain(table):
    text = (folder("shared") / table).read_bytes()
    assert b"\r" not in text
    assert text.endswith(b"\n")
    text.decode("ascii")


def test_the_colours_of_the_code_are_those_of_the_table():
    assert {row["code"]: row["colour"] for row in rows("colour.csv")} == COLOURS


def test_every_kind_of_part_may_bear_a_letter_of_the_table():
    known = {row["letter"] for row in rows("letter.csv")}
    for kind in KINDS.values():
        assert known & set(kind.letters), kind.kind_name


def test_terminal_numbers_of_the_code_are_in_the_table():
    known = {row["terminal"] for row in rows("terminal.csv")}
    relay = KINDS["relay"].model_validate({"kind": "relay", "contacts": "change-over"})
    for part in (relay, KINDS["ignition"](kind="ignition"), KINDS["ground"](kind="ground")):
        assert set(part.pins()) <= known


class TestFrequencies:
    WIRE = Wire.model_validate({"from": "F1.out", "to": "S1.2", "size": "4 mm2", "length": "1.8 m"})

    def modes(self):
        parts = [part for _, _, part in PARTS]
        found = [one for part in parts for one in (*part.all_faults("P1"), *part.misfits("P1"))]
        return [*found, *self.WIRE.faults("W1", "G1.+")]

    def test_every_row_is_a_fault_mode_and_no_number_is_in_the_code(self):
        listed = {(row["kind"], row["mode"]): row for row in rows("frequency.csv")}
        used = {(one.often.kind, one.often.mode) for one in self.modes()}
        assert used == set(listed) - {("wire", "swapped")}  # of two wires, see circuit/fresh.py
        for one in self.modes():
            row = listed[one.often.kind, one.often.mode]
            assert (one.weight, one.source) == (float(row["weight"]), row["source"]), one.spec

    def test_the_mode_of_a_row_is_that_of_the_fault(self):
        for one in self.modes():
            assert one.mode.endswith(one.often.mode.removeprefix("contact ")), one.spec

    def test_a_harness_may_say_otherwise_for_a_kind_and_for_one_part(self):
        loom = circuitcheck.load("twin-fan-switch")
        given = {"resistor open": 12.0, "R2 open": 3.0}
        changed = loom.harness.model_copy(update={"frequencies": given})
        found = {one.spec: one for one in all_faults(changed)}
        before = {one.spec: one for one in loom.faults()}
        assert (found["R1 open"].weight, found["R2 open"].weight) == (12.0, 3.0)
        assert found["R1 open"].source == "the harness file"
        others = [spec for spec in before if spec not in ("R1 open", "R2 open")]
        assert all(found[spec].weight == before[spec].weight for spec in others)

    def test_resistors_that_fail_most_are_the_likelier_suspects(self):
        """Low speed dead, nothing else read: the chances follow what the harness says of them."""
        loom = circuitcheck.load("twin-fan-switch")
        sheet = {"low-at-the-plug": {"right": "off"}}

        def chance(harness):
            verdict = Locator(harness).locate(loom.sheet(sheet))
            return {one.spec: one.probability for one in verdict.suspects}

        usual = chance(loom.harness)
        often = chance(loom.harness.model_copy(update={"frequencies": {"resistor open": 60.0}}))
        # Ten times as often against the rest: odds go up tenfold.
        odds = [one["R2 open"] / one["M2 open"] for one in (usual, often)]
        assert odds[1] / odds[0] == pytest.approx(10, rel=1e-6)


# Limit times nominal area lies between 0.0176 and 0.0198 ohm mm2/m: computed from the whole table.
def test_wire_limits_are_plausible():
    for row in rows("wire.csv"):
        product = float(row["maximum_mohm_per_m_20_degc"]) * float(row["mm2"]) / 1000
        assert 0.0176 < product < 0.0200, row


def test_larger_wires_have_lower_limits():
    for standard in ("IEC 60228 class 5", "ISO 6722-1"):
        found = [
            (float(row["mm2"]), float(row["maximum_mohm_per_m_20_degc"]))
            for row in rows("wire.csv")
            if row["standard"] == standard
        ]
        assert found == sorted(found)
        assert [ohm for _, ohm in found] == sorted((ohm for _, ohm in found), reverse=True)


class TestFuses:
    PERCENT = (110, 135, 160, 200, 350, 600)

    def limits(self, row, end):
        given = [row[f"{end}_s_at_{percent}_percent"] for percent in self.PERCENT]
        return [float(one) for one in given if one]

    def test_more_current_never_takes_longer(self):
        for row in rows("fuse.csv"):
            for end in ("min", "max"):
                times = self.limits(row, end)
                assert times == sorted(times, reverse=True), row

    def test_the_shortest_time_is_below_the_longest(self):
        for row in rows("fuse.csv"):
            for percent in self.PERCENT:
                low, high = (row[f"{end}_s_at_{percent}_percent"] for end in ("min", "max"))
                if low and high:
                    assert float(low) < float(high), row

    def test_the_fuses_that_a_lead_may_have_are_in_the_table(self):
        assert set(STANDARD_FUSES) <= {float(row["rating_a"]) for row in rows("fuse.csv")}

    def test_the_limit_of_the_code_is_one_of_the_table(self):
        """At this share of its rating a blade fuse is sure to open within a minute."""
        percent = round(100 * OPENS_AT)
        assert percent in self.PERCENT
        blades = [row for row in rows("fuse.csv") if row["type"] != "E"]
        longest = {row[f"max_s_at_{percent}_percent"] for row in blades}
        assert longest == {"50"}
