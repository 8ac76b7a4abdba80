"""The fuse of a jumper lead: of the size that is named, and what it tells when it blows.

That a fuse holds its rated current and opens on a dead short is ISO 8820-3, from memory; a lead's fuse
that blows has a short or a held motor behind it: common practice, no source.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

import circuitcheck
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.second_opinion import deck_of, observed
from circuitcheck.harness.model import Setup, Test
from circuitcheck.loom import Loom
from circuitcheck.shipped import harness_files

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))
from simulator import simulate_all

LOOM = circuitcheck.load("twin-fan-switch")
ON_S1 = {"unplug": ["S1"], "feed": ["S1.1"]}


def with_test(loom, setup, **observe):
    test = Test.model_validate({"title": "lead", "setup": setup, "observe": observe})
    return Loom(loom.harness.model_copy(update={"tests": {"lead": test}}))


def lead_in(setup):
    return Bench(LOOM.harness, Setup.model_validate(setup), ()).lead


def fuse_of(loom, *faults):
    return {one.name: one.word for one in loom.whatif(*faults)["lead"].readings}["fuse"]


LOW = with_test(LOOM, ON_S1, fuse={"fuse": "feed"}, amps={"amps": "feed"})


@pytest.mark.parametrize(("fault", "word"), [
    ((), "whole"),
    (("W5 short to ground",), "blown"),
    (("W6 short to ground",), "blown"),
    (("M1 open",), "whole"),
    (("R1 open",), "whole"),
    (("E1 high resistance=0.5 ohm",), "whole"),
])  # fmt: skip
def test_it_blows_on_what_is_shorted_and_on_nothing_else(fault, word):
    assert fuse_of(LOW, *fault) == word
    assert LOW.whatif(*fault)["lead"].lead_blows == (word == "blown")


def test_locate_takes_a_blown_fuse_for_a_short_beyond_the_lead():
    """Shorts behind the lead and held motors are all that can be; an open alone never."""
    verdict = LOW.locate({"lead": {"fuse": "blown"}})
    explains = [one.spec for one in verdict.suspects if one.group == 1]
    assert {"W5 short to ground", "W6 short to ground"} <= set(explains)
    assert all(one.endswith(("seized", "short to ground", "stiff")) for one in explains)
    whole = LOW.locate({"lead": {"fuse": "whole"}})
    first = {one.spec for one in whole.suspects if one.group == 1}
    assert not first & {"W5 short to ground", "W6 short to ground"}


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_a_sound_circuit_blows_no_lead_and_the_fuse_named_is_the_one_in_it(name):
    harness = circuitcheck.load(name).harness
    for test in harness.tests.values():
        bench = Bench(harness, test.setup, ())
        point = bench.point({})
        fuses = [one for key, one in point.states.items() if key.endswith("fuse blown")]
        assert not any(fuses)
        assert (bench.lead is None) == (not fuses)
        limits = [one.on_amps for key, one in bench.circuit.thresholds.items() if "fuse blown" in key]
        if bench.lead is not None:
            # It carries its rating for good, and opens well below three and a half times it (ISO 8820-3).
            assert bench.lead.amps <= 0.8 * bench.lead.fuse_a
            assert all(bench.lead.fuse_a < one < 3.5 * bench.lead.fuse_a for one in limits)


def test_a_lead_beside_what_still_conducts_is_made_for_all_of_it():
    """Across a fuse that is whole it carries a share; across one that has blown all there is."""
    setup = {"bridge": [["F3.in", "F3.out"], ["S1.2", "S1.3"]], "unplug": ["S1"]}
    beside = with_test(LOOM, setup, left={"speed": "M1"}, fuse={"fuse": "bridge"})
    sound = with_test(LOOM, {"unplug": ["S1"], "bridge": [["S1.2", "S1.3"]]}, left={"speed": "M1"})
    found = {one.name: one.word for one in beside.whatif("F3 blown")["lead"].readings}
    assert (found["left"], found["fuse"]) == ("fast", "whole")
    alone = sound.expect("lead")["lead"].lead
    assert lead_in(setup).fuse_a >= alone.fuse_a


def test_of_two_fuses_in_line_the_smaller_opens():
    """Common practice, no source: the lead's fuse is there so that the vehicle's is spared."""
    setup = {"unplug": ["S1"], "swap": ["F3"], "bridge": [["S1.2", "S1.1"]]}
    in_line = with_test(LOOM, setup, fuse={"fuse": "bridge"}, feed={"fuse": "F3"})
    found = {one.name: one.word for one in in_line.whatif("W5 short to ground")["lead"].readings}
    assert found == {"fuse": "blown", "feed": "whole"}
    assert LOOM.harness.parts["F3"].rating > lead_in(setup).fuse_a


def test_currents_at_the_limit_are_those_of_a_simulator():
    """What the lead carries, sound and with a motor that turns hard, by ngspice."""
    decks, ours = {}, {}
    for spec in ("", "M1 stiff=4", "M1 worn brushes=3", "E1 high resistance=0.3 ohm"):
        faults = LOW.fault(spec) if spec else []
        seen = [one for one in observed(LOW.harness, "lead", faults) if one.name == "amps"]
        decks[spec or "sound"] = deck_of(LOW.harness, "lead", faults, seen)
        ours[spec or "sound"] = seen[0].value
    found = {name: one["amps"] for name, one in simulate_all(decks).items()}
    for name, amps in ours.items():
        np.testing.assert_allclose(found[name], amps, rtol=1e-4)
