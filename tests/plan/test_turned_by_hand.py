"""A fan turned by hand as a test that is asked for: no tool, with its cautions, where a hand reaches it.

What a hand tells of a fan is common practice, no source.
"""

import pytest

import circuitcheck
from circuitcheck.expect.cautions import FANS, HAND
from circuitcheck.harness.model import Observation
from circuitcheck.plan.candidates import LOOKS, access_of, opening, tool_of
from circuitcheck.plan.planner import Options
from circuitcheck.shipped import harness_files

OFF = "battery-off-fans-turned-by-hand"


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_every_fan_is_turned_with_the_battery_off_and_nothing_in_hand(name):
    loom = circuitcheck.load(name)
    one = next(one for one in loom._planner.candidates if one.name == OFF)
    motors = [key for key, part in loom.harness.parts.items() if part.kind == "motor"]
    assert [each.points[0] for _, each in one.observations] == motors
    assert {each.kind for _, each in one.observations} == {"turn"}
    assert {tool_of(each) for _, each in one.observations} <= set(LOOKS)
    assert not one.needs
    assert one.minutes_for(range(len(motors))) <= 1.5 + 0.5 * len(motors)


@pytest.mark.parametrize(("name", "motor", "plug"), [
    ("first-fan", "M1", "X2"), ("twin-fan-switch", "M2", "X3"), ("cabin-blower", "M1", "X2"),
])  # fmt: skip
def test_what_is_open_for_the_plug_of_a_fan_is_open_for_a_hand(name, motor, plug):
    harness = circuitcheck.load(name).harness
    places = access_of(harness, Observation(turn=motor))
    assert places == (harness.parts[plug].access,)
    assert opening(harness, places) > 0


def test_who_has_no_tool_is_told_of_it_with_its_cautions():
    """Held, loose, or something electrical: of what can be had for nothing it tells the most but one."""
    loom = circuitcheck.load("first-fan")
    asked = loom.next(symptom="fan dead", tools=frozenset(), opened=frozenset(loom.harness.access))
    found = next(one for one in (asked.test, *asked.others) if one and one.name == OFF)
    assert found.cautions[:2] == (FANS, HAND)
    assert "turn: M1" in found.to_write
    assert found.readings[0].sound.word == "free"
    would = {spec: one.reading for one in found.readings[0].would for spec in one.suspects}
    assert would["M1 seized"] == "stuck"
    assert {would[one] for one in would if one != "M1 seized"} == {"free"}


def test_what_it_tells_is_worth_something_before_anything_is_known():
    loom = circuitcheck.load("truck-24v")
    outlook = loom._planner.outlook(loom.begun(), Options(tools=frozenset()))
    (number,) = [n for n, one in enumerate(outlook.planned) if one.candidate.name == OFF]
    gains = outlook.problem.gains(outlook.known.weights)
    # Of all faults by the table of frequencies, those that a hand feels: their information as a coin's.
    assert 0.01 < gains[number] < 1.0
