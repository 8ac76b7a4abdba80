"""What stands already is not paid for again; minutes counted by hand from the table in docs/planning.md."""

import pytest

import circuitcheck
from circuitcheck.harness.model import Setup
from circuitcheck.harness.readings import parse_readings
from circuitcheck.plan.made import minutes_of, steps_of
from circuitcheck.plan.stands import Stand, Wanted, minutes_now, spared, stand_of

LOOM = circuitcheck.load("first-fan")
PLANNER = LOOM._planner
HOT = {"ignition": "on", "running": "yes", "engine": "92 degC warming"}


def candidate(name):
    return next(one for one in PLANNER.candidates if one.name == name)


def stand(**fields):
    return Stand(Setup.model_validate(fields), metered=True)


def place(one, kind):
    return next(n for n, (_, each) in enumerate(one.observations) if each.kind == kind)


@pytest.mark.parametrize(
    ("fields", "minutes"),
    [
        ({}, 0.5),  # a look
        (HOT, 10.5),  # and the engine brought to a temperature
        ({"battery": "disconnected", "pull": ["K1"]}, 2.5),  # and two steps
        ({"swap": ["K1"]}, 3.5),  # and a spare
        ({"unplug": ["S1"], "bridge": [["S1.2", "S1.1"]]}, 2.5),
    ],
)
def test_minutes_of_a_set_up(fields, minutes):
    assert minutes_of(steps_of(LOOM.harness, Setup.model_validate(fields))) == minutes


def test_an_engine_that_is_hot_is_not_brought_to_its_temperature_again():
    """10.5 minutes to look at the fan on a hot engine with F1 out, 1 of them for F1 and 0.5 to begin."""
    one = candidate("f1-pulled-engine-at-92-degc")
    looks = [place(one, "fuse")]
    assert one.minutes_for(looks) == 12.0
    assert minutes_now(LOOM.harness, stand(**HOT), one, looks) == 2.0
    assert minutes_now(LOOM.harness, stand(**HOT, swap=["F1"]), one, looks) == 2.0
    assert minutes_now(LOOM.harness, stand(), one, looks) == 12.0
    assert minutes_now(LOOM.harness, None, one, looks) == 12.0


def test_in_the_same_set_up_only_the_place_and_the_reading_are_left():
    """Half a minute each; and 1.5 to get at it with a meter, if none was used there before."""
    one = candidate("k1-undone-ohms")
    ohms = [place(one, "ohms")]
    assert minutes_now(LOOM.harness, stand(battery="disconnected", pull=["K1"]), one, ohms) == 1.0
    looked_at = Stand(one.setup, metered=False)
    assert minutes_now(LOOM.harness, looked_at, one, ohms) == 2.5


def test_never_more_is_spared_than_a_test_takes():
    wanted = [Wanted(one, range(len(one.observations))) for one in PLANNER.candidates]
    found = spared(LOOM.harness, [each.stand for each in wanted], wanted)
    taken = [one.candidate.minutes_for(one.places) for one in wanted]
    assert (found >= 0).all()
    assert (found < taken).all()


def test_the_customer_has_made_no_set_up():
    said = LOOM.sheet(parse_readings(LOOM.harness, "harness: first-fan\nsymptom: fan dead\n"))
    assert stand_of(said) is None
    read = parse_readings(LOOM.harness, "tests: {cold: {fan: off}}\n")
    assert stand_of(read) == Stand(LOOM.harness.tests["cold"].setup, metered=False)


def test_a_fuse_is_pulled_and_looked_at_and_a_new_one_waits_for_a_blown_one():
    """No one fits a new fuse before looking at the old one; common practice, no source."""
    look = candidate("f1-pulled-out-and-looked-at")
    assert look.minutes_for([place(look, "fuse")]) == 2.0
    dead = "harness: first-fan\nsymptom: fan dead\n"
    blown = f"{dead}also: [{{setup: {{pull: [F1]}}, fuse: F1, read: blown}}]\n"
    swaps = [
        [one.candidate.setup.swap for one in PLANNER.outlook(sheet).planned]
        for sheet in (LOOM.sheet(parse_readings(LOOM.harness, text)) for text in (dead, blown))
    ]
    assert ["F1"] not in swaps[0]
    assert ["F1"] in swaps[1]
    assert ["F2"] not in swaps[1]


def test_a_dead_fan_begins_with_minutes_and_opens_nothing():
    """An electrician reads what is to be had in a few minutes before the splash guard (10 minutes) comes
    off or anything is bought; common practice, no source."""
    first = LOOM.next(symptom="fan dead").test
    assert first.minutes <= 5
    assert not first.access
