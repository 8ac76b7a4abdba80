"""Faults that come and go: there in some tests, gone in others, each test as a whole."""

import pytest

import circuitcheck
from circuitcheck.expect.vehicle import drawer, is_there


def first_group(verdict):
    return {one.spec: one for one in verdict.suspects if one.group == 1}


def mixed(*there, spec="X3.3 open", name="twin-fan-switch"):
    """A sheet by hand: some tests as with a lasting fault, the others as sound."""
    loom = circuitcheck.load(name)
    broken, sound = loom.written(spec), loom.written()
    return {
        test: broken[test] if test in there else sound[test]
        for test in ("low-at-the-plug", "high-at-the-plug", "warm", "hot")
    }


def test_dead_in_one_test_and_running_in_the_next():
    """No lasting fault does that. Common practice, no source."""
    verdict = circuitcheck.load("twin-fan-switch").locate(mixed("high-at-the-plug", "warm"))
    found = first_group(verdict)
    assert all("comes and goes" in spec for spec in found), list(found)
    assert {"X3.3 comes and goes", "W12 comes and goes"} & set(found)
    for one in found.values():
        assert one.seen_in == ("high-at-the-plug", "warm")
        assert one.gone_in == ("low-at-the-plug", "hot")
    assert "there in high-at-the-plug and warm and gone in low-at-the-plug and hot" in verdict.summary


def test_a_lasting_fault_is_not_said_to_come_and_go():
    every = ("low-at-the-plug", "high-at-the-plug", "warm", "hot")
    verdict = circuitcheck.load("twin-fan-switch").locate(mixed(*every))
    assert not any("comes and goes" in one.spec for one in verdict.suspects)


def test_one_test_alone_cannot_say_that_a_fault_comes_and_goes():
    one = {"high-at-the-plug": mixed("high-at-the-plug")["high-at-the-plug"]}
    verdict = circuitcheck.load("twin-fan-switch").locate(one)
    assert not any("comes and goes" in one.spec for one in verdict.suspects)


@pytest.mark.parametrize(
    ("name", "spec", "seed"),
    [
        ("first-fan", "W21 comes and goes", 16),
        ("twin-fan-switch", "E1 comes and goes", 12),
        ("truck-24v", "M1 comes and goes", 5),
    ],
)
def test_a_drawn_vehicle_leads_back_to_it(name, spec, seed):
    loom = circuitcheck.load(name)
    verdict = loom.locate(loom.whatif(spec, spread=seed))
    suspect = first_group(verdict)[spec]
    assert suspect.seen_in
    assert suspect.gone_in
    assert suspect.replace in verdict.repair.units


def wandering(values, place="E1", seed=6, name="twin-fan-switch"):
    """A sheet of one vehicle whose joint has other ohms in each test; None where it is as it should be."""
    loom = circuitcheck.load(name)
    sheet = {}
    for test, ohm in values.items():
        fault = () if ohm is None else (f"{place} high resistance={ohm} ohm",)
        sheet[test] = loom.written(*fault, spread=seed)[test]
    return loom, sheet


@pytest.mark.parametrize(
    ("values", "place", "seed"),
    [
        ({"low-at-the-plug": 2, "high-at-the-plug": 0.3}, "E1", 6),
        ({"low-at-the-plug": 0.4, "high-at-the-plug": 3, "warm": None, "hot": 0.9}, "X3.3", 3),
        ({"low-at-the-plug": 5, "high-at-the-plug": 0.8, "warm": None}, "W11", 9),
    ],
)
def test_a_joint_whose_resistance_wanders(values, place, seed):
    """Loose and corroded contacts are not the same twice: common practice, no source."""
    loom, sheet = wandering(values, place, seed)
    verdict = loom.locate(sheet)
    suspect = first_group(verdict)[f"{place} comes and goes"]
    assert suspect.as_ohm
    for test, ohm in suspect.as_ohm:
        assert ohm == pytest.approx(values[test], rel=0.4), test
    assert "It comes and goes" in verdict.summary


def test_the_same_ohms_in_every_test_are_a_lasting_fault():
    loom, sheet = wandering({"low-at-the-plug": 0.6, "high-at-the-plug": 0.6}, "E1", 7)
    verdict = loom.locate(sheet)
    assert verdict.suspects[0].spec == "E1 high resistance"
    assert not any("comes and goes" in spec for spec in first_group(verdict))


def test_next_goes_on_from_it_and_prove_proves_its_twin():
    loom = circuitcheck.load("twin-fan-switch")
    advice = loom.next(mixed("warm"))
    assert advice.done or advice.test is not None
    proof = loom.prove(mixed("warm"))
    assert all("comes and goes" not in one for one in proof.suspected)


def test_a_drawn_vehicle_has_it_in_some_tests_only():
    """Without a seed it is there in every test; with one, a test sees all of it or nothing."""
    loom = circuitcheck.load("first-fan")
    spec, twin = "M1 comes and goes", "M1 open"
    assert loom.written(spec) == loom.written(twin)
    drawn, lasting, sound = (loom.written(*one, spread=4) for one in ((spec,), (twin,), ()))
    told = [test for test in drawn if lasting[test] != sound[test]]
    there = [test for test in told if drawn[test] == lasting[test]]
    assert [test for test in told if drawn[test] == sound[test]] == [
        test for test in told if test not in there
    ]
    assert 0 < len(there) < len(told)


def test_it_is_there_every_other_time():
    (fault,) = circuitcheck.load("first-fan").fault("M1 comes and goes")
    seen = [is_there(fault, "hot", drawer(seed)) for seed in range(1000)]
    # A fair coin: within 3.3 standard deviations of 500 in 1000.
    assert abs(sum(seen) - 500) < 3.3 * 1000**0.5 / 2
