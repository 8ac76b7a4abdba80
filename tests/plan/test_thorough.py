"""``next --thorough``: before it stops, the cheap readings in which a second fault would show."""

from followed import follow, read, wanted_of

import circuitcheck
from circuitcheck.harness.readings import Sheet


def sheet_after(loom, spec, steps):
    """What was read on a vehicle with one fault, test by test as it was asked for."""
    wanted = [
        one
        for test in steps
        for one in wanted_of(loom, [(test.name, each.sound.name) for each in test.readings])
    ]
    return wanted, read(loom.harness, loom.fault(spec), wanted, {})


def test_a_cheap_reading_more_is_asked_for_and_then_it_stops():
    """The fan's wire is open; supply and ground of the fan are not, and can be read at its plug."""
    loom = circuitcheck.load("first-fan")
    _, steps = follow(loom, "W22 open")
    wanted, sheet = sheet_after(loom, "W22 open", steps)
    assert loom.next(sheet).done
    for _ in range(6):
        advice = loom.next(sheet, thorough=True)
        if advice.done:
            break
        assert advice.test.minutes <= 5
        assert not advice.test.access
        wanted += wanted_of(loom, [(advice.test.name, one.sound.name) for one in advice.test.readings])
        sheet = read(loom.harness, loom.fault("W22 open"), wanted, {})
    assert advice.done
    assert len(wanted) > sum(len(one.readings) for one in steps)


def test_without_a_reading_there_is_nothing_to_be_thorough_about():
    loom = circuitcheck.load("first-fan")
    plain, careful = loom.next(), loom.next(Sheet("", (), {}), thorough=True)
    assert careful.test == plain.test
