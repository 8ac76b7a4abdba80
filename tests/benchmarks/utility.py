"""The isolation utility m_utl of a verdict.

It is that of the Diagnostic Competition framework (A. Feldman et al., *Empirical Evaluation of Diagnostic
Algorithm Performance Using a Generic Framework*, IJPHM) in its form for ambiguity groups: the first group
against all that no reading which ``next`` may ask for tells from the truth (by more than the meter's error
and three per cent, as a fault must show to be counted at all), over that of those with themselves. Its elements are the units that are put right, since
faults with one remedy are not told apart on purpose; the same over single wires, pins and parts stands
beside it.
"""

import numpy as np
from vehicles import differ

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.service import blown_in_service
from circuitcheck.plan.planner import Options


def utilities(planner, modes, fault, group):
    """m_utl of the first group of a verdict on one fault.

    :returns: with each unit to put right as an element, and with each place of a fault
    """
    true = never_parted(planner, modes, fault)
    units = {one.where: one.replace for one in modes}
    by_unit = [(set(one.replace.split(" and ")) - {""}, one.probability) for one in group]
    by_place = [(set(one.where.split(" + ")) - {""}, one.probability) for one in group]
    return (
        utility_of_groups(by_unit, {units[one] for one in true}, len(set(units.values()))),
        utility_of_groups(by_place, true, len(units)),
    )


def never_parted(planner, modes, fault):
    """The places of all faults that no reading which ``next`` may ask for tells from one of them."""
    left = [one for one in modes if one.spec != fault.mode.spec and not one.while_there]
    faults = [fault, *(ChosenFault(one, _like(fault, one)) for one in left)]
    rules = [lambda known, one=one: combined([one], known) for one in faults]
    blown = blown_in_service(planner.harness, rules)
    parted = np.zeros(len(left), dtype=bool)
    for candidate in planner.candidates:
        if not candidate.needs <= Options().tools:
            continue
        bench = planner.bench(candidate)
        changes = [combined([one], bench.circuit.branches, candidate.setup.swap) for one in faults]
        true, *others = bench.run(changes, blown=blown).values
        for number, other in enumerate(others):
            parted[number] |= any(
                differ(observation, *pair)
                for (_, observation), *pair in zip(candidate.observations, true, other, strict=True)
            )
    return {one.where for one, apart in zip(left, parted, strict=True) if not apart} | {fault.mode.where}


def _like(fault, mode):
    """The value at which a mode is most like a fault: the same, as far as its range goes."""
    if mode.severity is None or fault.mode.severity is None:
        return mode.typical
    return min(max(fault.value, mode.severity.low), mode.severity.high)


def utility_of_groups(group, true, elements):
    """The isolation utility of a weighed group of sets against a group of true places."""

    def mean(weighed):
        total = sum(weight for _, weight in weighed)
        return (
            sum(
                weight * utility(accused, {place}, elements) / len(true)
                for accused, weight in weighed
                for place in true
            )
            / total
        )

    return mean(group) / mean([({place}, 1.0) for place in true])


def utility(accused, true, elements):
    """m_utl of one accused set against the true one."""
    wrong, size = len(accused - true), len(accused)
    missed, outside = len(true - accused), elements - len(accused)
    useless = wrong * (size + 1) / (elements * (wrong + 1))
    return 1 - useless - missed * (outside + 1) / (elements * (missed + 1))
