"""A sheet on which one look is off and all numbers are good: sound may be the likeliest, and yet not said."""

import circuitcheck

SHEET = {
    "high-at-the-plug": {"right": "slow", "left": "fast"},
    "feed-at-the-switch": {"lamp": "bright"},
    "fan-ohms": {"left-ground": "0.0 ohm", "right-low": "0.8 ohm"},
    "hot": {"right": "fast"},
    "warm": {"across-switch": "0.22 V"},
}


def test_the_look_that_is_off_is_told_beside_the_likeliest_fault():
    """Common practice, no source: an odd look is looked at again before anything is called sound."""
    verdict = circuitcheck.load("twin-fan-switch").locate(SHEET)
    assert verdict.verdict == "narrowed"
    assert [one.spec for one in verdict.suspects if one.group == 1] == ["sound"]
    likeliest = next(one.spec for one in verdict.suspects if one.group == 2)
    assert "'right' in high-at-the-plug read slow" in verdict.summary
    assert f"If it is not sound, likeliest is {likeliest}." in verdict.summary
