"""Two and three faults at once, where no single fault explains the readings."""

import pytest

import circuitcheck


def listed(verdict, most=3):
    return [set(one.spec.split(" + ")) for one in verdict.suspects[:most]]


@pytest.mark.parametrize(
    ("name", "specs"),
    [
        ("twin-fan-switch", ("R1 open", "R2 open")),
        # two unknown values, neither at the middle of its range
        ("twin-fan-switch", ("E1 high resistance=0.7 ohm", "R2 drifted=1.6 ohm")),
        ("twin-fan-three-relays", ("M1 open", "E2 high resistance=0.6 ohm")),
    ],
)
def test_two_faults_are_among_the_first_three(name, specs):
    loom = circuitcheck.load(name)
    verdict = loom.locate(loom.whatif(*specs, spread=5))
    truth = {spec.partition("=")[0] for spec in specs}
    assert truth in listed(verdict), [one.spec for one in verdict.suspects[:3]]


@pytest.mark.parametrize(
    ("name", "specs"),
    [
        # alone the motor blows its fuse; with the relay dead it never gets the current for that
        ("truck-24v", ("M1 seized", "W19 open")),
        # the short blows its fuse, but not through fifteen ohms in the ground of the battery
        ("truck-24v", ("W2 short to ground", "W0 high resistance=15 ohm")),
    ],
)
def test_faults_that_act_on_each_other(name, specs):
    loom = circuitcheck.load(name)
    verdict = loom.locate(loom.whatif(*specs, spread=3))
    named = {fault for one in verdict.culprits[:3] for fault in one.faults}
    assert {spec.partition("=")[0] for spec in specs} <= named


def test_two_faults_are_not_taken_for_one_that_comes_and_goes():
    """Both resistors cut off: dead in every test at low speed, well in every one at high speed, as with a
    bad joint that happened to be open in just those. Either alone does next to nothing: each fan gets its
    current through the other's resistor."""
    loom = circuitcheck.load("twin-fan-switch")
    written = loom.written("W21 open", "W31 open", spread=5)
    tests = ("warm", "low-at-the-plug", "high-at-the-plug", "hot")
    verdict = loom.locate({name: written[name] for name in tests})
    assert {"W21 open", "W31 open"} <= {fault for one in verdict.culprits[:2] for fault in one.faults}


def test_three_faults_when_no_pair_will_do():
    """A broken wire, a dead motor and a bad ground on the other side; none hides another."""
    loom = circuitcheck.load("twin-fan-switch")
    verdict = loom.locate(loom.whatif("W5 open", "M2 open", "E1 high resistance=0.7 ohm", spread=3))
    assert {"W5 open", "M2 open", "E1 high resistance"} in listed(verdict)
    assert verdict.verdict != "unexplained"


def test_a_single_fault_that_explains_all_is_not_joined_by_a_second():
    loom = circuitcheck.load("twin-fan-switch")
    verdict = loom.locate(loom.whatif("R1 open", spread=1))
    assert all(" + " not in one.spec for one in verdict.suspects)
