"""What takes part in the suspects, fault by fault."""

from types import SimpleNamespace

import numpy as np
import pytest

import circuitcheck
from circuitcheck.locate.culprits import culprits_of


def suspect(*specs):
    """A suspect with faults of some names; all that is asked of it here."""
    faults = tuple(SimpleNamespace(spec=one, replace=one.partition(" ")[0]) for one in specs)
    return SimpleNamespace(suspect=SimpleNamespace(faults=faults))


def told(culprits):
    return [(set(one.faults), pytest.approx(one.chance)) for one in culprits]


def test_one_fault_in_all_pairs_and_one_of_several():
    """Worked by hand with the theorem of total probability."""
    standings = [suspect("A", "B1"), suspect("A", "B2"), suspect("B3", "A"), suspect("C")]
    found = culprits_of(standings, np.array([0.4, 0.3, 0.2, 0.1]), [1, 1, 1, 2])
    assert told(found) == [({"A"}, 0.9), ({"B1", "B2", "B3"}, 0.9), ({"C"}, 0.1)]


def test_what_the_readings_tell_apart_is_not_put_together():
    standings = [suspect("A", "B1"), suspect("A", "B2")]
    found = culprits_of(standings, np.array([0.8, 0.2]), [1, 2])
    assert told(found) == [({"A"}, 1.0), ({"B1"}, 0.8), ({"B2"}, 0.2)]


def test_faults_in_each_others_place_on_both_sides():
    """Two kinds of two: four pairs, each 1 in 4; either of a kind is sure to be there."""
    pairs = [suspect(a, b) for a in ("A1", "A2") for b in ("B1", "B2")]
    found = culprits_of(pairs, np.full(4, 0.25), [1] * 4)
    assert told(found) == [({"A1", "A2"}, 1.0), ({"B1", "B2"}, 1.0)]


def test_sound_has_none_and_single_faults_of_one_group_are_one():
    standings = [suspect("A"), suspect("B"), suspect()]
    found = culprits_of(standings, np.array([0.5, 0.3, 0.2]), [1, 1, 2])
    assert told(found) == [({"A", "B"}, 0.8)]


def test_a_dozen_pairs_are_two_things_to_look_for():
    """Of the readings' dozen pairs that none of them parts, the verdict says what is in all of them."""
    loom = circuitcheck.load("first-fan")
    verdict = loom.locate(loom.whatif("K1.85 open", "M1 seized", spread=11))
    assert len([one for one in verdict.suspects if one.group == 1]) > 6
    coil, motor = verdict.culprits[:2]
    assert set(coil.faults) == {"K1.85 open", "K1.86 open"}
    assert "M1 seized" in motor.faults
    assert min(coil.chance, motor.chance) > 0.9
    assert "two faults at once: one of K1.85 open, K1.86 open; and one of" in verdict.summary
    assert verdict.to_dict()["culprits"][0]["faults"] == list(coil.faults)
