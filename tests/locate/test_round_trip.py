"""Every fault of every shipped harness comes back in the first group, or docs/limits.md says so."""

import pytest
from round_trip import listed_misses, outcomes

from circuitcheck.shipped import harness_files


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_every_fault_is_in_the_first_group_or_owned_up_to(name):
    found = list(outcomes(name))
    missed = {one.spec for one in found if not one.found}
    assert missed == listed_misses()[name]
    assert len(missed) <= 0.02 * len(found), missed
    # A fault that leaves every reading as it should be must not be blamed on anything.
    assert all(one.verdict in ("sound", "narrowed", "located") for one in found)
