"""A vehicle after a first repair: what was put right is named again only where nothing else fits."""

import re

import pytest

import circuitcheck
from circuitcheck.errors import ReadingsError, UnknownName
from circuitcheck.harness.readings import parse_readings, sheet_text

LOOM = circuitcheck.load("twin-fan-switch")
DEAD = {"low-at-the-plug": {"left": "off", "right": "slow"}}
DEAD_ON_BOTH = DEAD | {"high-at-the-plug": {"left": "off", "right": "fast"}}


def sheet(*put_right, tests=DEAD):
    text = f"put_right: [{', '.join(put_right)}]\n" + ("tests:\n" if tests else "")
    text += "\n".join(
        f"  {name}: {{{', '.join(f'{k}: {v}' for k, v in read.items())}}}"
        for name, read in tests.items()
    )
    return parse_readings(LOOM.harness, text)


def units(verdict):
    found = {}
    for one in verdict.suspects:
        found[one.replace] = found.get(one.replace, 0.0) + one.probability
    return found


def test_the_unit_put_right_makes_room_for_the_next():
    """A fan dead as before its fan was renewed: ground and its wire are left (from the wiring diagram)."""
    before, after = LOOM.locate(DEAD), LOOM.locate(sheet("left fan"))
    assert max(units(before), key=units(before).get) == "left fan"
    assert set(after.repair.units) <= {"E1", "W11", "X2.3"}
    # The odds of all others stand as they stood: Bayes' rule, with nothing new said of them.
    assert units(after)["E1"] / units(after)["W11"] == pytest.approx(
        units(before)["E1"] / units(before)["W11"], rel=0.02
    )
    assert "Put right before these readings: left fan." in after.summary
    assert LOOM.why(sheet("left fan")).verdict.put_right == ("left fan",)


def test_with_nothing_else_left_it_is_named_again_and_said_so():
    done = ("left fan", "E1", "W11", "X2.3")
    again = LOOM.locate(sheet(*done, tests=DEAD_ON_BOTH))
    assert set(units(LOOM.locate(DEAD))) >= set(done)
    assert (again.put_right, again.suspects[0].replace) == (done, "left fan")
    assert re.search("Nothing fits better than .* once more: see that the plugs are home", again.summary)


def test_a_new_fuse_that_the_same_fault_blows_is_not_called_a_bad_part():
    """A short behind F3 blows the next one too (from the wiring diagram)."""
    loom = circuitcheck.load("twin-fan-three-relays")
    text = sheet_text(loom.harness.name, loom.written("W20 short to ground", spread=1))
    after = loom.locate(parse_readings(loom.harness, f"put_right: [F4]\n{text}"))
    assert "F4 has blown again: what blew it is still there." in after.summary
    assert "Nothing fits better" not in after.summary


def test_next_goes_by_it_from_the_first_test_on():
    usual, after = LOOM.next(), LOOM.next(sheet("S1.2", tests={}))
    assert usual.verdict is after.verdict is None
    assert after.test is not None
    weighed = LOOM._planner.locator.beforehand(("S1.2",))
    chance = {one.suspect.spec: one.log_weight for one in weighed}
    usually = {one.suspect.spec: one.log_weight for one in LOOM._planner.locator.beforehand()}
    assert chance["S1.2 open"] < usually["S1.2 open"] - 4
    assert chance["sound"] > usually["sound"]
    assert chance["E1 open"] == usually["E1 open"]


def test_a_stop_says_how_the_next_sheet_begins():
    loom = circuitcheck.load("first-fan")
    advice = loom.next(loom.whatif("K1 coil open", spread=1))
    assert advice.done, advice.why
    begun = re.search(r"add '(put_right: .*?)' to this sheet", advice.why)[1]
    assert parse_readings(loom.harness, begun).put_right == ("K1",)


def test_a_sheet_taken_after_the_repair_is_of_the_vehicle_put_right():
    before = LOOM.whatif("E2 high resistance=1 ohm", spread=2)
    judged = LOOM.prove(before, LOOM.whatif(spread=2)).judgement
    assert LOOM.locate(before).repair.units == ("E2", "W12")
    assert (judged.verdict, judged.put_right) == ("sound", ("E2",))  # what ``next`` says to do first
    told = LOOM.prove(before, sheet("W12", tests={"low-at-the-plug": {"left": "slow", "right": "slow"}}))
    assert told.judgement.put_right == ("W12",)


def test_a_sheet_without_a_reading_has_no_verdict():
    with pytest.raises(ReadingsError, match="at least one reading"):
        LOOM.locate(sheet("E1", tests={}))


def test_a_plan_goes_by_it_too():
    """The first unit of every leaf stands for its suspects; a fan renewed a moment ago leads none."""

    def leaves(node):
        return (
            [node]
            if not hasattr(node, "branches")
            else [leaf for branch in node.branches for leaf in leaves(branch.then)]
        )

    symptom, done = "left fan dead on low", ("left fan",)
    before = {one.units[0][0] for one in leaves(LOOM.plan(symptom, depth=1).root)}
    after = {one.units[0][0] for one in leaves(LOOM.plan(symptom, put_right=done, depth=1).root)}
    assert "left fan" in before
    assert "left fan" not in after
    with pytest.raises(UnknownName, match="no unit 'left fn'; nearest: left fan"):
        LOOM.plan(symptom, put_right=("left fn",))
