"""Copper against published tables.

Sources are named in the rows of ``shared/wire.csv`` and ``shared/awg.csv``, with how well each was
known: 'read', 'read (secondary)', 'from memory'.
"""

import csv
import math

import pytest

from circuitcheck.parts.quantity import parse_section
from circuitcheck.physics.copper import (
    COPPER_COEFFICIENT,
    COPPER_RESISTIVITY,
    LAY_FACTOR,
    at_temperature,
    awg_area,
    wire_resistance,
)
from circuitcheck.shipped import folder

FOOT_M = 0.3048
MIL_MM = 0.0254


def rows(table):
    with (folder("shared") / table).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def last_digit(printed):
    """One unit of the last printed digit."""
    return 10.0 ** -len(printed.partition(".")[2])


def solid(length_m, area_mm2, resistivity=COPPER_RESISTIVITY):
    """A solid conductor: our wire without its lay, of the resistivity that a book takes."""
    ours = wire_resistance(length_m, area_mm2) / LAY_FACTOR
    return ours * resistivity / COPPER_RESISTIVITY


# IEC 60228 class 5: read (secondary). ISO 6722-1: from memory. IEC 60028 for solid copper at
# 0.017241 ohm mm2/m: read (secondary).
@pytest.mark.parametrize(
    "row", rows("wire.csv"), ids=lambda row: f"{row['standard']}-{row['mm2']}-{row['mark']}"
)
def test_a_stranded_wire_lies_between_solid_copper_and_the_published_maximum(row):
    area = float(row["mm2"])
    ours = wire_resistance(1.0, area) * 1000
    assert 17.241 / area < ours < float(row["maximum_mohm_per_m_20_degc"])


# IEC 60228:2004 class 1 and 2, plain copper, mohm/m: read (secondary).
@pytest.mark.parametrize(
    ("area", "maximum"),
    [
        (0.5, 36.0),
        (1, 18.1),
        (1.5, 12.1),
        (2.5, 7.41),
        (6, 3.08),
        (10, 1.83),
        (25, 0.727),
        (35, 0.524),
        (70, 0.268),
        (120, 0.153),
    ],
)
def test_it_lies_below_the_maximum_of_building_wire_too(area, maximum):
    assert wire_resistance(1.0, area) * 1000 < maximum


# IEC 60028, 0.017241 ohm mm2/m and 0.00393 per K: read (secondary).
def test_the_constants_are_those_of_annealed_copper():
    assert pytest.approx(0.017241, abs=1e-6) == COPPER_RESISTIVITY
    assert COPPER_COEFFICIENT == 0.00393


# Ohms per 1000 ft of solid copper; rows marked 'read' from an open table, the others from memory of
# NBS Circular 31. The published table has 1/58 rounded on the way: one unit of its last digit.
@pytest.mark.parametrize("row", rows("awg.csv"), ids=lambda row: f"{row['awg']}-{row['mark']}")
def test_american_gauges_have_the_published_resistance(row):
    printed = row["solid_ohm_per_1000_ft_20_degc"]
    ours = solid(1000 * FOOT_M, parse_section(f"{row['awg']} AWG"))
    four_digits = float(f"{ours:.4g}")
    assert four_digits == pytest.approx(float(printed), abs=1.001 * last_digit(printed))


# CP2e 20.3 exercise (no. 12), UP2 9.3 (no. 10), CP2e 20.4 (2/0): read.
@pytest.mark.parametrize(("gauge", "diameter"), [(12, "2.053"), (10, "2.588"), (-1, "9.266")])
def test_american_gauges_have_the_published_diameter(gauge, diameter):
    ours = 2 * math.sqrt(awg_area(gauge) / math.pi)
    assert ours == pytest.approx(float(diameter), abs=last_digit(diameter))


# Areas in circular mil: LIEC-1 ch. 12, read.
@pytest.mark.parametrize(
    ("gauge", "circular_mil", "unit"), [(14, 4107, 1), (0, 105_500, 100), (-1, 133_100, 100)]
)
def test_american_gauges_have_the_published_area(gauge, circular_mil, unit):
    assert awg_area(gauge) / (math.pi / 4 * MIL_MM**2) == pytest.approx(circular_mil, abs=unit)


def test_the_shared_gauge_table_is_that_of_the_code():
    for row in rows("awg.csv"):
        area = parse_section(f"{row['awg']} AWG")
        assert area == pytest.approx(float(row["area_mm2"]), abs=1e-4)
        assert 2 * math.sqrt(area / math.pi) == pytest.approx(float(row["diameter_mm"]), abs=1e-4)


# C27. CP2e 20.3 exercise, read: 20.0 m, 2.053 mm, 1.72e-8 ohm m -> 0.104 ohm.
def test_twenty_metres_of_number_twelve():
    area = math.pi / 4 * 2.053**2
    assert solid(20.0, area, 0.0172) == pytest.approx(0.104, abs=0.001)
    assert solid(20.0, awg_area(12)) == pytest.approx(0.104, abs=0.001)


# UP2 9.3, read: no. 12 and 5 m -> 0.025 ohm, with that book's 1.68e-8 ohm m.
def test_five_metres_of_number_twelve():
    assert solid(5.0, awg_area(12), 0.0168) == pytest.approx(0.025, abs=0.001)


# C28. LIEC-1 ch. 12, read: 230 V, 25 A, 2300 ft each way, 220 V at the load; 10.09 ohm cmil/ft.
class TestALongRun:
    CIRCULAR_MIL = math.pi / 4 * MIL_MM**2
    RESISTIVITY = 10.09 * math.pi / 4 * MIL_MM**2 / FOOT_M
    """10.09 ohm cmil/ft in ohm mm2/m."""

    def ohm(self, gauge):
        return solid(2300 * FOOT_M, awg_area(gauge), self.RESISTIVITY)

    def test_section_that_leaves_five_volts_on_each_wire(self):
        area = 116_035 * self.CIRCULAR_MIL
        assert solid(2300 * FOOT_M, area, self.RESISTIVITY) == pytest.approx(0.2, abs=1e-5)

    def test_two_nought_is_the_smallest_gauge_that_will_do(self):
        assert self.ohm(-1) <= 0.2 < self.ohm(0)

    def test_number_fourteen_would_not_pass_the_current(self):
        # The book has no. 14 rounded to 4107 cmil; the current follows from the 230 V.
        assert self.ohm(14) == pytest.approx(5.651, abs=0.001)
        assert 230 / (2 * self.ohm(14)) == pytest.approx(20.352, abs=0.002)


# Data sheet of a 12 V fan relay, read: coil 75 %, 100 %, 125 % at -40, 20, +85 degC.
@pytest.mark.parametrize(("celsius", "share"), [(-40, 75), (20, 100), (85, 125)])
def test_a_coil_in_cold_and_heat(celsius, share):
    assert at_temperature(100.0, celsius) == pytest.approx(share, abs=2.0)


# IEC 60228 annex, factors that bring a reading to 20 degC: read (secondary). The standard takes a
# rounded 0.004 per K for copper and aluminium alike: within 0.5 %.
@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(0, 1.087), (10, 1.042), (25, 0.980), (50, 0.893), (80, 0.806), (100, 0.758)],
)
def test_factors_to_twenty_degrees(celsius, factor):
    assert 1 / at_temperature(1.0, celsius) == pytest.approx(factor, rel=0.005)


# UP2 9.3, second example, read: tungsten 0.350 ohm at 20 degC, 4.5e-3 per K -> 4.8 ohm at 2850.
def test_the_law_on_a_tungsten_filament():
    assert at_temperature(0.350, 2850.0, 4.5e-3) == pytest.approx(4.8, abs=0.1)


@pytest.mark.parametrize("area", [0.0, -1.0, math.nan])
def test_a_wire_without_section_is_refused(area):
    with pytest.raises(ValueError, match="a wire section must be above 0 mm2, not"):
        wire_resistance(1.0, area)
