"""What hands and eyes tell without a meter: a fan turned by hand, a fuse looked at.

What each fault feels and looks like is common practice, no source; that a fuse opens on a dead short
and not on its rated current is ISO 8820-3, from memory.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

from circuitcheck.circuit.chosen import find_fault
from circuitcheck.expect.cautions import FANS, HAND, OHMS, cautions_for
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.second_opinion import deck_of, observed
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.load import parse_harness
from circuitcheck.harness.model import Observation, Setup
from circuitcheck.loom import Loom

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))
from simulator import simulate

BENCH = (Path(__file__).parents[1] / "data" / "bench.yaml").read_text(encoding="utf-8")
TESTS = """\
tests:
  by-hand:
    title: Fuse out, fan turned
    setup: {pull: [F3]}
    observe: {fan: {turn: M1}, fuse: {fuse: F3}}
  in-place:
    title: Fuse looked at where it is, fan running
    setup: {unplug: [S1], bridge: [[S1.2, S1.3]]}
    observe: {fuse: {fuse: F3}, left: {speed: M1}, motor: {hear: M1}, amps: {amps: bridge}}
"""
LOOM = Loom(parse_harness(BENCH.replace("tests:\n", TESTS, 1), name="bench"))
FELT = {
    "M1 seized": "stuck",
    "M1 stiff=3": "stiff",
    "M1 stiff=14": "stiff",
    "M1 fan loose=0.02": "loose",
    "M1 fan loose=0.25": "loose",
    "M1 open": "free",
    "M1 worn brushes": "free",
    "F3 blown": "free",
    "E1 open": "free",
}


def words(test, *specs):
    return {one.name: one.word for one in LOOM.whatif(*specs)[test].readings}


def test_a_sound_fan_turns_freely():
    assert words("by-hand") == {"fan": "free", "fuse": "whole"}


@pytest.mark.parametrize(("spec", "word"), FELT.items())
def test_what_a_hand_feels(spec, word):
    assert words("by-hand", spec)["fan"] == word
    assert LOOM.written(spec, test="by-hand")["by-hand"]["fan"] == word


@pytest.mark.parametrize(("spec", "word"), [
    ("F3 blown", "blown"),
    ("W2 short to ground", "blown"),  # a chafed feed behind the fuse blows it in use
    ("W1 short to ground", "whole"),  # before the fuse
    ("W2 open", "whole"),  # in one run with the fuse, and not the fuse
    ("F3.in open", "whole"),
    ("M1 open", "whole"),
])  # fmt: skip
@pytest.mark.parametrize("test", ["by-hand", "in-place"])
def test_what_a_look_at_the_fuse_tells(test, spec, word):
    assert words(test, spec)["fuse"] == word
    assert LOOM.written(spec, test=test)[test]["fuse"] == word


def test_many_at_once_are_as_each_alone():
    """An open along the run of the fuse is not taken for the fuse itself."""
    specs = ["F3 blown", "W2 open", "F3.in open", "M1 seized", "M1 stiff=5"]
    faults = [find_fault(LOOM.harness, one) for one in specs]
    for name in ("by-hand", "in-place"):
        test = LOOM.harness.tests[name]
        bench = bench_for(LOOM.harness, test)
        changes = [one.change(bench.circuit.branches) for one in faults]
        blown = blown_in_service(LOOM.harness, [one.change for one in faults])
        many = bench.run(changes, blown=blown).values
        for row, change in enumerate(changes):
            (alone,) = bench.run([change], blown=[blown[row]]).values
            np.testing.assert_allclose(many[row], alone, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("share", [0.02, 0.1, 0.25])
def test_a_loose_fan_hardly_turns_and_its_motor_draws_little(share):
    """The motor races without its load, near the current of its friction alone; the fan is left behind."""
    sound = {one.name: one for one in LOOM.whatif()["in-place"].readings}
    loose = {one.name: one for one in LOOM.whatif(f"M1 fan loose={share}")["in-place"].readings}
    assert loose["left"].expected < 0.4 * sound["left"].expected
    assert loose["left"].word in ("off", "slow")
    assert 0.03 * sound["amps"].expected < loose["amps"].expected < 0.25 * sound["amps"].expected


@pytest.mark.parametrize(("spec", "word"), [
    ("M1 fan loose=0.02", "runs"),  # and its fan stands
    ("M1 seized", "silent"),
    ("M1 open", "silent"),
    ("M1 worn brushes", "runs"),
    ("W4 open", "silent"),
])  # fmt: skip
def test_what_an_ear_tells_of_the_motor(spec, word):
    assert words("in-place", spec)["motor"] == word
    assert words("in-place")["motor"] == "runs"


def test_the_ear_hears_the_shaft_that_a_simulator_turns():
    """ngspice has the coupled equations of the motor, and not our closed form."""
    faults = LOOM.fault("M1 fan loose=0.1")
    seen = [one for one in observed(LOOM.harness, "in-place", faults) if one.kind in ("hear", "speed")]
    rpm = simulate(deck_of(LOOM.harness, "in-place", faults, seen))
    assert {one.name: one.value for one in seen} == pytest.approx(rpm, rel=1e-4)
    assert rpm["left"] == pytest.approx(0.1 * rpm["motor"])


def test_cautions_of_a_hand_in_a_fan():
    turn, ohms = Observation(turn="M1"), Observation(ohms=("S1.1", "E1.31"))
    off = Setup(battery="disconnected")
    assert cautions_for(LOOM.harness, off, [turn])[:2] == [FANS, HAND]
    assert OHMS not in cautions_for(LOOM.harness, off, [turn])
    assert OHMS in cautions_for(LOOM.harness, off, [turn, ohms])
    assert cautions_for(LOOM.harness, Setup(pull=["F3"]), [turn])[:2] == [FANS, HAND]
    assert HAND not in cautions_for(LOOM.harness, Setup(pull=["F3"]))
