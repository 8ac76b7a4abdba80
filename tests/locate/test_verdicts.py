"""Verdicts that must not be talked into: readings that nothing can give, and ranges."""

import pytest

import circuitcheck


@pytest.mark.parametrize("test", ["high-at-the-module", "low-at-the-switch", "fail-safe"])
def test_no_fault_explains_what_no_meter_would_show(test):
    """500 A through a lead: not even beside a relay that buzzes. Common practice, no source."""
    loom = circuitcheck.load("twin-fan-module")
    observe = loom.harness.tests[test].observe
    name = next(label for label, one in observe.items() if one.kind == "amps")
    verdict = loom.locate({test: {name: "500 A"}})
    assert verdict.verdict == "unexplained"
    assert verdict.repeat == (f"{test}: {name}",)


@pytest.mark.parametrize("spec", ["G1.+ high resistance", "W1 high resistance", "F1.in high resistance"])
def test_a_bad_main_feed_is_found_where_its_relays_buzz(spec):
    """Between 1.3 and 3.8 ohm the relays begin to buzz in some tests: readings turn there."""
    loom = circuitcheck.load("twin-fan-three-relays")
    verdict = loom.locate(loom.written(f"{spec}=2.2 ohm"))
    found = {one.spec: one for one in verdict.suspects if one.group == 1}
    assert spec in found
    assert found[spec].estimate.low <= 2.2 <= found[spec].estimate.high


@pytest.mark.parametrize("name", ["first-fan", "twin-fan-switch"])
def test_an_estimate_lies_in_its_range(name):
    loom = circuitcheck.load(name)
    for spec in [one.spec for one in loom.faults() if one.severity][::9]:
        for one in loom.locate(loom.written(spec, spread=3)).suspects:
            if one.estimate is not None:
                assert one.estimate.low <= one.estimate.value <= one.estimate.high, (spec, one.spec)
