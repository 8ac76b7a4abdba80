"""A hand in the fan and an eye on a fuse, in practice and explained; the trade: common practice, no source."""

import math
from pathlib import Path

import pytest

import circuitcheck
from circuitcheck.harness.load import parse_harness
from circuitcheck.learn.as_text import text_of
from circuitcheck.learn.case import Case
from circuitcheck.learn.document import document
from circuitcheck.learn.session import Session
from circuitcheck.loom import Loom

LOOM = circuitcheck.load("twin-fan-switch")
BENCH = (Path(__file__).parents[1] / "data" / "bench.yaml").read_text(encoding="utf-8")
HAND = """\
tests:
  by-hand:
    title: Fuse out, fan turned
    setup: {pull: [F3]}
    observe: {fan: {turn: M1}}
  in-place:
    title: Fuse looked at where it is
    setup: {unplug: [S1], bridge: [[S1.2, S1.3]]}
    observe: {fuse: {fuse: F3}, left: {speed: M1}, motor: {hear: M1}}
"""
TOLD = Loom(parse_harness(BENCH.replace("tests:\n", HAND, 1), name="bench"))


def practised(*faults):
    found = Case(LOOM.harness, 1, 1, tuple(LOOM.fault(*faults)), 10e6, "It will not run.", "")
    return Session(found)


@pytest.mark.parametrize(("fault", "word"), [
    ("M1 seized", "stuck"),
    ("M1 stiff=6", "stiff"),
    ("M1 fan loose=0.1", "loose"),
    ("M1 open", "free"),
    ("R1 open", "free"),
])  # fmt: skip
def test_a_fan_turned_by_hand(fault, word):
    session = practised(fault)
    session.feed("battery off")
    assert session.feed("turn M1")[-1] == f"turn M1: {word}"
    assert session.feed("turn M2")[-1] == "turn M2: free"
    assert not session.workshop.unsafe


@pytest.mark.parametrize("first", ["ignition off", "engine run", "lead S1.2 S1.1"])
def test_a_hand_in_a_fan_that_may_start_is_unsafe(first):
    session = practised("M1 seized")
    session.feed(first)
    before = len(session.workshop.unsafe)
    assert any(line.startswith("! A hand in") for line in session.feed("turn M1"))
    assert len(session.workshop.unsafe) == before + 1


def test_the_fuse_of_the_lead_is_looked_at():
    """A lead on to a chafed wire: dead short, which a fuse of any size opens (ISO 8820-3; from memory)."""
    session = practised("W5 short to ground")
    session.feed("undo S1")
    session.feed("lead G1.+ S1.1")
    assert session.feed("fuse lead")[-1] == "fuse lead: blown"
    session.feed("lead G1.+ S1.3")
    assert session.feed("fuse lead")[-1] == "fuse lead: whole"


@pytest.mark.parametrize(("fault", "value", "said"), [
    ((), 0.034, "friction of brushes and bearings alone"),
    (("M1 stiff=5",), 0.170, "5 times that"),
    (("M1 seized",), math.inf, "gives way to no hand"),
    (("M1 fan loose",), 0.0, "slips on the shaft"),
])  # fmt: skip
def test_what_a_hand_works_against_is_explained(fault, value, said):
    """6 % of the torque at the rated point: 0.06 x 15 A x (13 V - 2.7 V) / 272.3 rad/s, by hand."""
    found = TOLD.explain("by-hand", *fault, observe="fan")
    assert found.value == pytest.approx(value, rel=0.01)
    assert said in " ".join(text_of(document(found)).split())


def test_a_fan_that_is_left_behind_is_derived_to_the_solvers_digits():
    found = TOLD.explain("in-place", "M1 fan loose=0.1", observe="left")
    assert found.value == pytest.approx(found.solver, rel=1e-6)
    assert "slips on the shaft" in text_of(document(found))
    shaft = TOLD.explain("in-place", "M1 fan loose=0.1", observe="motor")
    assert shaft.value == pytest.approx(shaft.solver, rel=1e-6)
    assert found.value == pytest.approx(0.1 * shaft.value, rel=1e-6)


def test_an_ear_at_the_motor_of_a_fan_that_stands():
    session = practised("M1 fan loose=0.03")
    session.feed("undo S1")
    session.feed("lead S1.2 S1.3")
    assert "M1: off" in session.feed("look M1")[-1]
    assert session.feed("hear M1")[-1] == "hear M1: runs"


def test_why_a_fuse_is_whole_and_why_it_has_blown():
    whole = TOLD.explain("in-place", observe="fuse")
    assert (whole.word, whole.unit) == ("whole", "A")
    assert whole.value == pytest.approx(whole.solver, rel=1e-6)
    assert TOLD.explain("in-place", "F3 blown", observe="fuse").word == "blown"
    short = TOLD.explain("in-place", "W2 short to ground", observe="fuse")
    assert short.word == "blown"
    assert "F3 blew before this test" in " ".join(text_of(document(short)).split())
