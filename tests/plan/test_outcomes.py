"""What a reading can come out as, against the table of the normal distribution."""

import numpy as np
import pytest

import circuitcheck
from circuitcheck.harness.model import Observation
from circuitcheck.plan.outcomes import outcomes_of, tells_nothing

OHMS = Observation(ohms=["S1.1/part", "S1.2/part"])


@pytest.mark.parametrize(("ohms", "cut"), [(0.3, False), (0.6, True)])
def test_two_readings_are_parted_where_a_meter_parts_them(ohms, cut):
    """An ohmmeter with its leads is uncertain by 0.15 ohm: 0.6 ohm lies four of that from nothing, so
    that a limit half way is passed by one reading in 44 (normal table, 2.0 standard deviations)."""
    harness = circuitcheck.load("first-fan").harness
    found = outcomes_of(harness, OHMS, np.array([0.0, ohms]))
    assert len(found.spans) == (2 if cut else 1)
    if cut:
        assert found.chances[0, 0] == pytest.approx(0.9772, abs=0.01)  # and a misreading in a hundred
    assert tells_nothing(harness, OHMS, np.array([0.0, ohms])) == (ohms < 0.3)
