"""A vehicle on which what ``next`` asks for is done, read without error but for slips of the eye."""

from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import said
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading


def follow(loom, spec, taken=(), slips=None, steps=14):
    """Do what is asked for on the vehicle with one fault, until told to stop.

    :param taken: test and name of each reading that was taken before
    :returns: the last advice, and the tests that were asked for
    """
    faults, asked = loom.fault(spec), []
    readings = wanted_of(loom, taken)
    advice = loom.next(read(loom.harness, faults, readings, {}, slips)) if taken else loom.next()
    while not advice.done:
        asked.append(advice.test)
        assert len(asked) < steps, "it never stops"
        readings += wanted_of(loom, [(advice.test.name, one.sound.name) for one in advice.test.readings])
        advice = loom.next(read(loom.harness, faults, readings, {}, slips))
    return advice, asked


def wanted_of(loom, taken):
    """Readings of the tests to choose from, given by test and name."""
    known = {one.name: one for one in loom._planner.candidates}
    return [(known[test], name, dict(known[test].observations)[name]) for test, name in taken]


def read(harness, faults, wanted, setups, slips=None):
    """The sheet of some readings on the vehicle of the description.

    :param slips: what is written in place of a reading, by its name, the first time it is taken
    """
    left = dict(slips or {})
    (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    found = []
    for candidate, name, observation in wanted:
        bench = Bench(harness, candidate.setup, ((name, observation),))
        change = combined(faults, bench.circuit.branches, candidate.setup.swap)
        value = float(bench.run([change], blown=[blown]).values[0, 0])
        parsed = parse_reading(observation.kind, left.pop(name, said(harness, observation, value)))
        found.append(Reading(candidate.name, name, observation, *parsed))
        observe = dict(candidate.observations)
        setups[candidate.name] = Test(title=candidate.title, setup=candidate.setup, observe=observe)
    return Sheet("", tuple(found), setups)
