"""Following ``next`` on a practice case, and what each measurement was worth."""

import json
from collections import Counter
from dataclasses import replace

import pytest
from scipy.stats import entropy
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.harness.model import Observation, Setup
from circuitcheck.learn.beside import Ahead, set_beside_next
from circuitcheck.learn.case import draw_case, heard
from circuitcheck.learn.debriefed import debrief_lines
from circuitcheck.learn.follow import AT_HAND, complaint_sheet, follow, look_for, with_reading, words_for
from circuitcheck.learn.session import Session
from circuitcheck.learn.workshop import MINUTES, Workshop
from circuitcheck.learn.worth import worth_of
from circuitcheck.locate.locate import Locator
from circuitcheck.plan.planner import PRICE, Options, Planner
from circuitcheck.shipped import harness_files

LOOM = circuitcheck.load("first-fan")
HARNESS = LOOM.harness
GROUND = draw_case(HARNESS, 2, 0)


@pytest.fixture(scope="module")
def planner():
    return Planner(HARNESS, Locator(HARNESS))


@pytest.fixture(scope="module")
def followed():
    """From a process of its own, as at a terminal."""
    return Ahead("first-fan", 2, 0).followed()


def play(case, *lines):
    session = Session(case)
    for line in lines:
        session.feed(line)
    assert not session.mistakes, session.mistakes
    return session


# -- the follower ----------------------------------------------------------------------------------------


def test_who_follows_next_finds_what_is_hidden(followed):
    assert set(followed.units) == {one.mode.replace for one in GROUND.faults}
    assert (followed.cured, followed.first_time, followed.needless) == (True, True, ())
    assert followed.verdict_minutes < followed.minutes


def test_what_he_did_can_be_played_again_as_a_script(followed):
    session = play(GROUND, *followed.lines)
    assert session.over
    found = session.debrief()
    assert (found.right_fault, found.right_unit) == (True, True)
    assert found.minutes == followed.minutes
    assert [one.shown for one in found.told] == [one.shown for one in followed.steps]
    assert found.unsafe == ()


def test_what_readings_cannot_part_is_put_right_one_after_the_other(planner):
    """Two pins of one relay lie in one row with its contact: no probe of this loom gets between them."""
    done = follow(draw_case(HARNESS, 1, 0), planner)
    assert (done.units, done.needless, done.unparted) == (("K1.30", "K1.87"), ("K1.30",), ("K1.30",))
    assert (done.cured, done.first_time, done.first_right) == (True, False, False)
    found = replace(play(GROUND, "look M1").debrief(), followed=done)
    assert "K1.30 in vain (its readings could not tell that from" in " ".join(debrief_lines(found))
    # Read a second time is only what tells the relay from its socket: the lamp, with a good relay put in.
    swapped = done.lines[done.lines.index("swap K1") : done.lines.index("renew K1.30")]
    twice = [one for one, count in Counter(swapped).items() if count > 1]
    assert set(twice) <= {"look H1"}


def test_who_is_thorough_reads_more_before_the_first_repair(planner):
    """Law: what is asked for before a repair comes on top of what led to it, and changes no repair here."""
    plain, careful = (follow(GROUND, planner, thorough=one) for one in (False, True))
    before = [one.lines[: one.lines.index(f"renew {one.units[0]}")] for one in (plain, careful)]
    assert before[1][: len(before[0])] == before[0]
    assert len(before[1]) > len(before[0])
    assert careful.units == plain.units
    assert careful.minutes > plain.minutes
    told = " ".join(debrief_lines(replace(play(GROUND, "look M1").debrief(), followed=careful)))
    assert "Following 'circuitcheck next --thorough'" in told


def test_the_second_of_two_faults_is_sought_on_a_sheet_of_its_own(monkeypatch):
    harness = circuitcheck.load("twin-fan-switch").harness
    planner, sheets = Planner(harness, Locator(harness)), []

    def look(evidence, standings, sheet, options):
        sheets.append(sheet)
        return Planner.look(planner, evidence, standings, sheet, options)

    monkeypatch.setattr(planner, "look", look)
    done = follow(draw_case(harness, 4, 1), planner)
    assert (done.cured, done.needless, len(done.units)) == (True, (), 2)
    assert (sheets[0].put_right, sheets[-1].put_right) == ((), done.units[:1])
    before = {(one.test, one.name) for sheet in sheets if not sheet.put_right for one in sheet.readings}
    after = {(one.test, one.name) for one in sheets[-1].readings}
    assert after
    assert not {one for one in before & after if not one[0].startswith("customer")}


def test_one_that_comes_to_grief_is_left_out():
    assert Ahead("no-such-harness", 2, 0).followed() is None


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_every_set_up_of_a_harness_can_be_said_and_undone(name):
    harness = circuitcheck.load(name).harness
    session = Session(draw_case(harness, 5, 0))
    for test in harness.tests.values():
        for wanted in (test.setup, Setup()):
            for line in words_for(session.workshop.setup, wanted, harness):
                session.feed(line)
            assert not session.mistakes, session.mistakes
            now = session.workshop.setup
            assert (now.ignition, now.running, now.battery) == (
                wanted.ignition,
                wanted.running,
                wanted.battery,
            )
            assert (now.engine, {*now.unplug}, {*now.pull}) == (
                wanted.engine,
                {*wanted.unplug},
                {*wanted.pull},
            )
            assert len(now.bridge) == len(wanted.bridge) + len(wanted.feed) + len(wanted.ground)
    assert session.workshop.unsafe == []


def test_a_lead_is_clamped_by_its_number():
    setup = Setup.model_validate({"bridge": [["S1.2", "S1.1"]], "feed": ["X2.1a"]})
    assert look_for(Observation.model_validate({"amps": "bridge"}), setup) == "amps lead"
    assert look_for(Observation.model_validate({"amps": "feed"}), setup) == "amps lead 2"
    assert look_for(Observation.model_validate({"drop": ["G1.+", "F1.in"]}), setup) == "drop G1.+ F1.in"


def test_the_customers_words_are_readings_where_they_say_something():
    sheet = complaint_sheet(HARNESS, GROUND.faults)
    assert [(one.name, one.word) for one in sheet.readings] == [("M1", "slow")]
    assert heard(HARNESS, ()) == {}


def test_planning_for_fewer_suspects_leaves_the_verdict_as_it_is(planner):
    log = play(GROUND, "ignition on", "coolant 95", "volts X2.2a G1.-").workshop.log
    sheet = with_reading(
        complaint_sheet(HARNESS, GROUND.faults), "m", log[0].setup, "it", log[0].observation, log[0]
    )
    whole, part = (planner.outlook(sheet, Options(AT_HAND, kept=kept)) for kept in (0.999, 0.5))
    assert len(part.known.suspects) < len(whole.known.suspects)
    assert part.known.suspects == whole.known.suspects[: len(part.known.suspects)]
    assert sum(whole.known.chances[: len(part.known.suspects)]) >= 0.5 - 1e-3
    assert part.verdict.to_dict() == whole.verdict.to_dict()


# -- putting right and trying ----------------------------------------------------------------------------


def test_renewing_the_right_unit_cures_it_and_a_drive_shows_it():
    session = Session(GROUND)
    assert "should be fast and is slow" in session.feed("drive")[-1]
    session.feed("renew F1")
    assert "should be fast and is slow" in session.feed("drive")[-1]
    session.feed("renew E1")
    assert session.feed("drive")[-1].endswith("all as it should be.")
    assert session.workshop.minutes == 3 * MINUTES["drive"]
    found = session.debrief()
    assert (found.needless, found.lost, found.right_unit) == (("F1",), PRICE, False)
    assert "in vain: F1" in " ".join(debrief_lines(found))


def test_a_drive_puts_everything_back_together():
    session = play(GROUND, "ignition on", "undo S1", "lead S1.2 S1.1", "drive")
    setup = session.workshop.setup
    assert (setup.unplug, setup.bridge, setup.ignition) == ([], [], "off")


def test_a_fuse_that_had_blown_is_renewed_with_its_cause_and_is_not_needless():
    case = draw_case(HARNESS, 5, 0)
    (short,) = case.faults
    assert short.mode.overloads
    shop = Workshop(case)
    (fuse,) = shop.blown_before
    assert any(fuse in line for line in shop.renew(short.mode.replace))
    assert not shop.blown
    assert shop.needless([fuse, short.mode.replace, "E2"]) == ("E2",)


def test_what_is_measured_after_a_repair_is_not_held_against_the_case():
    session = play(GROUND, "ignition on", "coolant 95", "look M1", "renew E1", "look M1")
    before, after = session.debrief().told
    assert before.shows is not None
    assert after.shows is None


def test_a_second_lead_stands_beside_the_first():
    session = play(GROUND, "undo S1", "lead S1.2 S1.1", "lead also G1.+ X2.1a")
    assert len(session.workshop.setup.bridge) == 2
    assert session.feed("amps lead 2")[-1].startswith("amps lead 2")
    session.feed("lead off")
    assert session.workshop.setup.bridge == []


# -- what a measurement is worth -------------------------------------------------------------------------


def test_what_all_told_is_the_doubt_at_first_less_the_doubt_at_last(planner):
    lines = ("ignition on", "coolant 95", "volts X2.2a G1.-", "volts G1.+ X2.1a", "volts X2.2a G1.-")
    log = play(GROUND, *lines).workshop.log
    worths = worth_of(GROUND, log, planner)
    assert all(one.could >= 0 for one in worths)
    assert worths[0].could > 0.1
    assert worths[-1].told == pytest.approx(0.0, abs=0.5)  # the same reading once more
    # The doubt is Shannon's entropy over the units; scipy works it out from the verdict's own chances.
    assert sum(one.told for one in worths) == pytest.approx(
        doubt(planner, []) - doubt(planner, log), abs=0.1
    )


def doubt(planner, log):
    """Entropy over the units of the verdict on some measurements and the customer's words [bit]."""
    sheet = complaint_sheet(HARNESS, GROUND.faults)
    for place, one in enumerate(log):
        sheet = with_reading(sheet, f"m{place}", one.setup, "it", one.observation, one)
    chances = {}
    for one in planner.locator.locate(sheet).suspects:
        chances[one.replace] = chances.get(one.replace, 0.0) + one.probability
    return float(entropy(list(chances.values()), base=2))


def test_a_reading_that_means_nothing_is_worth_nothing(planner):
    log = play(GROUND, "ohms G1.+ G1.-").workshop.log
    assert worth_of(GROUND, log, planner) == [None]


def test_a_repair_begins_a_new_sheet(planner):
    """With the ground put right the coolant switch is all that is asked of; it is not held against E1."""
    session = play(
        GROUND, "volts X2.2a G1.-", "renew E1", "ignition on", "coolant 95", "volts X2.2a G1.-", "notes"
    )
    before, after = session.workshop.log
    assert (before.renewed, after.renewed) == (frozenset(), {"E1"})
    assert worth_of(GROUND, [after], planner) == worth_of(GROUND, session.workshop.log, planner)[1:]
    assert [one.strip().partition(":")[0] for one in session.feed("notes")][1] == "put right"
    assert "             put right: E1" in debrief_lines(session.debrief())


def test_the_debrief_tells_both(followed):
    session = play(
        GROUND, "ignition on", "coolant 95", "volts X2.2a G1.-", "fault E1 high resistance", "done"
    )
    found = set_beside_next(session.debrief(), session.workshop, followed)
    text = "\n".join(debrief_lines(found))
    assert f"a first part named after {followed.verdict_minutes:.0f} minutes, driven after it" in text
    assert "bit of what to put right" in text
    assert json.loads(json.dumps(found.to_dict()))["followed"]["units"] == ["E1"]


def test_what_told_less_than_nothing_is_told_in_words():
    found = play(GROUND, "look M1", "volts X2.2a G1.-", "fault none").debrief()
    worse, nothing = (
        replace(one, could=0.7, told=told) for one, told in zip(found.told, (-2.6, -0.01), strict=True)
    )
    text = "\n".join(debrief_lines(replace(found, told=(worse, nothing))))
    assert "could tell 0.7 bit of what to put right, and was a surprise: more was in question" in text
    assert "told nothing" in text
    assert "-2.6" not in text


def test_a_part_named_before_anything_was_measured_is_told_as_that(followed):
    found = play(GROUND, "look M1").debrief()
    early = replace(followed, verdict_minutes=0.0, units=("F1", "E1"))
    text = "\n".join(debrief_lines(replace(found, followed=early)))
    assert "a first part named on the customer's words alone, driven after each" in text
    assert f"{followed.minutes:.0f} minutes in all" in text


def test_quick_leaves_it_out(tmp_path):
    script = tmp_path / "homework.txt"
    script.write_text("look\nleave\n", encoding="utf-8")
    done = CliRunner().invoke(
        app, ["practise", "first-fan", "--seed", "0", "--play", str(script), "--quick", "--json"]
    )
    found = json.loads(done.stdout)
    assert found["followed"] is None
    assert found["told"][0]["could"] is None


def test_a_known_good_part_comes_out_again():
    session = play(draw_case(HARNESS, 1, 0), "swap K1", "swap K1 back")
    assert session.workshop.setup.swap == []
    session.feed("swap K1 back")
    assert session.mistakes == ["swap K1 back: K1 is not swapped"]
