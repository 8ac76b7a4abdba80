"""The tables in ``shared/``: a source in every row, and the same as in the code."""

import csv

import pytest

from circuitcheck.expect.cautions import STANDARD_FUSES
from circuitcheck.parts import KINDS
from circuitcheck.parts.fuse import OPENS_AT
from circuitcheck.parts.wire import COLOURS
from circuitcheck.shipped import folder

TABLES = sorted(path.name for path in folder("shared").glob("*.csv"))
MARKS = {"read", "read (secondary)", "from memory", "common practice", "computed"}
KEYS = {
    "wire.csv": ("mm2", "standard"),
    "awg.csv": ("awg",),
    "capacity.csv": ("mm2",),
    "bundle.csv": ("loaded_wires",),
    "fuse.csv": ("type", "rating_a"),
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


# Limit times nominal area lies between 0.0176 and 0.0198 ohm mm2/m: computed from the whole table.
def test_wire_limits_are_plausible():
    for row in rows("wire.csv"):
        product = float(row["maximum_mohm_per_m_20_degc"]) * float(row["mm2"]) / 1000
        assert 0.0176 < product < 0.0200, row


def test_larger_wires_have_lower_limits():
    for standard in ("IEC 60228 class 5", "ISO 6722-1"):
        found = [(float(row["mm2"]), float(row["maximum_mohm_per_m_20_degc"]))
                 for row in rows("wire.csv") if row["standard"] == standard]  # fmt: skip
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
