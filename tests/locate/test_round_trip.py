"""Faults of every shipped harness come back in the first group.

An evenly spaced sample of each harness; ``round_trip.py`` beside this file does all of them and lists
in docs/limits.md what is missed.
"""

import pytest
from round_trip import outcomes

from circuitcheck.shipped import harness_files

SAMPLE = 10


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_faults_are_in_the_first_group(name):
    found = list(outcomes(name, most=SAMPLE))
    missed = [(one.spec, one.leader) for one in found if one.missed]
    # A fault may read like a likelier one: see the list in docs/limits.md.
    assert len(missed) <= 1, missed
    assert any(one.found for one in found)
