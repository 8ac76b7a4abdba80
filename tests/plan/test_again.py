"""A reading on which all rests is taken once more; taken twice it counts for what it is."""

from dataclasses import replace

import numpy as np
import pytest
from followed import follow, read, wanted_of

import circuitcheck
from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.bench import Bench
from circuitcheck.harness.readings import parse_readings
from circuitcheck.locate.evidence import lay_out
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.verdict import Hinge
from circuitcheck.plan.again import _doubtful
from circuitcheck.plan.candidates import candidates
from circuitcheck.shipped import harness_files

AT_THE_SWITCH = "drop S1.1 G1.-"
TAKEN = (
    ("switch-bridged", "drop G1.+ X2.1b"),
    ("switch-bridged", "coil-return"),
    ("switch-bridged", "drop G1.+ K1.86"),
    ("fan-direct", AT_THE_SWITCH),
)


@pytest.fixture(scope="module")
def loom():
    return circuitcheck.load("first-fan")


def sheet_of(loom, fault, taken=TAKEN, slip=None):
    """What was read on the vehicle with a fault."""
    return read(loom.harness, loom.fault(fault), wanted_of(loom, taken), {}, slip)


def test_one_slip_of_the_eye_does_not_decide_the_repair(loom):
    """The truth is the wire that was cut; with what was first read its relay would be put right."""
    slip = {"coil-return": "0.01 V"}
    before = sheet_of(loom, "W10 open", slip=slip)
    assert "W10" not in loom.locate(before).repair.units
    done, asked = follow(loom, "W10 open", TAKEN, slip)
    assert done.verdict.repair.units == ("W10",)
    assert "switch-bridged: coil-return, 0.01 V" in done.verdict.summary
    assert "Repeat first" not in done.verdict.summary
    again = [one for one in asked if one.title.startswith("Once more")]
    assert "coil-return" in [reading.sound.name for one in again for reading in one.readings]


def test_no_reading_is_asked_for_a_third_time(loom):
    advice = loom.next(sheet_of(loom, "W11 open", [*TAKEN, TAKEN[-1]]))
    assert advice.verdict.verdict == "located"
    assert advice.done


def test_it_says_what_rests_on_it_and_costs_half_a_minute_while_the_set_up_stands(loom):
    advice = loom.next(sheet_of(loom, "W11 open"))
    assert advice.why.startswith(
        "Measure volts lost from S1.1 to G1.- once more: the verdict rests on it"
    )
    assert advice.verdict.hinges[0].instead in advice.why
    assert advice.test.minutes == 0.5
    assert not advice.test.access


def test_a_set_up_that_has_to_be_made_again_costs_its_minutes(loom):
    """Half a minute for the reading itself; common practice, no source."""
    advice = loom.next(sheet_of(loom, "W11 open", [TAKEN[-1], *TAKEN[:-1]]))
    assert advice.test.title.startswith("Once more")
    assert advice.test.minutes > 0.5


def test_what_it_asks_to_write_down_stands_beside_the_first_reading(loom):
    sheet = sheet_of(loom, "W11 open")
    text = "harness: first-fan\n" + loom.next(sheet).test.to_write.replace('read: "-"', "read: 0 V")
    (reading,) = parse_readings(loom.harness, text).readings
    assert reading.observation == sheet.readings[-1].observation


def test_without_a_meter_no_reading_of_it_is_asked_for_again(loom):
    advice = loom.next(sheet_of(loom, "W11 open"), tools=frozenset({"lamp"}))
    kinds = [one.sound.kind for one in advice.test.readings] if advice.test else []
    assert set(kinds) <= {"lamp", "speed"}


class TestTakenTwice:
    """What a meter is off, it is off again (JCGM 100:2008, 4.3.7: a systematic effect)."""

    @pytest.fixture(autouse=True)
    def _harness(self, loom):
        self.harness = loom.harness

    def odds(self, predicted, *values):
        """Log of the odds between two suspects, after some readings of the same volts."""
        harness = self.harness
        also = "".join(
            f"  - {{setup: {{ignition: on}}, volts: [G1.+, G1.-], read: {one} V}}\n" for one in values
        )
        evidence = lay_out(harness, parse_readings(harness, f"also:\n{also}"), {})
        rows = np.tile(np.array(predicted)[:, None], len(values))
        total = weigh(evidence, rows, np.zeros((*rows.shape, 1))).total
        return float(total[0] - total[1])

    def test_the_same_again_makes_it_no_sharper(self):
        once, twice = self.odds((12.40, 12.34), 12.42), self.odds((12.40, 12.34), 12.42, 12.42)
        assert once > 1
        assert twice == pytest.approx(once, abs=0.1)

    def test_the_same_again_is_hardly_a_slip(self):
        """That two of a hundred readings are wrong by chance, and alike, is a hundred times rarer."""
        once, twice = self.odds((12.4, 0.0), 12.4), self.odds((12.4, 0.0), 12.4, 12.4)
        assert twice > once + np.log(100)

    def test_one_against_the_other_leaves_it_open(self):
        assert abs(self.odds((12.4, 0.0), 12.4, 0.0)) < np.log(5) < self.odds((12.4, 0.0), 12.4) - 3


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_every_ground_point_can_be_measured_against_bare_metal(name):
    """Ohm's law: what is lost in a bad joint shows on it, and a bad strap of the battery does not."""
    harness = circuitcheck.load(name).harness
    for ground in (one for one, part in harness.parts.items() if part.kind == "ground"):
        points = (f"{ground}.31", "chassis")
        assert any(
            observation.points == points
            for one in candidates(harness)
            for _, observation in one.observations
        ), ground


def test_bare_metal_parts_a_bad_joint_from_the_strap_of_the_battery(loom):
    one = next(one for one in loom._planner.candidates if one.name == "fan-direct")
    observed = tuple(
        (name, each)
        for name, each in one.observations
        if name in ("volts E1.31 chassis", "volts E1.31 G1.-")
    )
    bench = Bench(loom.harness, one.setup, observed)
    changes = [
        combined(loom.fault(spec), bench.circuit.branches)
        for spec in ("E1 high resistance=0.8 ohm", "W0 high resistance=0.8 ohm")
    ]
    found = {name: bench.run(changes).values[:, n] for n, (name, _) in enumerate(observed)}
    joint, strap = found["volts E1.31 G1.-"]
    assert joint == pytest.approx(strap, abs=0.1)  # with battery minus alone nobody tells them apart
    joint, strap = found["volts E1.31 chassis"]
    assert joint > 3.0
    assert abs(strap) < 0.05


def test_a_reading_that_only_changes_the_order_of_a_group_is_not_taken_again():
    """Wires that meet in a splice are one node of the circuit (Kirchhoff): which of them is at fault
    no second reading tells, and all of them are named to be put right."""
    relays = circuitcheck.load("twin-fan-three-relays")
    done, asked = follow(relays, "W20 short to ground")
    assert {"F4", "W20", "W22"} <= set(done.verdict.repair.units)
    assert not [one for one in asked if one.title.startswith("Once more")]
    sheet = read(relays.harness, relays.fault("W20 short to ground"), wanted_of(relays, [
        (one.name, each.sound.name) for one in asked for each in one.readings]), {})  # fmt: skip
    first = sheet.readings[0]
    within = Hinge(first.test, first.name, "W22 and F4", 0.53)
    verdict = replace(done.verdict, hinges=(within,))
    assert not list(_doubtful(sheet, verdict))
    outside = replace(within, instead="K2")
    assert list(_doubtful(sheet, replace(verdict, hinges=(outside,))))
