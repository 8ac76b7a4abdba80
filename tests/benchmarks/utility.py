"""The isolation utility m_utl of a verdict.

It is that of the Diagnostic Competition framework (A. Feldman et al., *Empirical Evaluation of Diagnostic
Algorithm Performance Using a Generic Framework*, IJPHM) in its form for ambiguity groups: the first group
against all that no reading of any test here could tell from the truth (the same run, with no place for a
probe between), over that of those with themselves. Its elements are the units that are put right, since
faults with one remedy are not told apart on purpose; the same over single wires, pins and parts stands
beside it.
"""

from circuitcheck.circuit.chosen import ChosenFault, combined


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
    """The places of all faults that no reading of any candidate tells from one of them."""
    left = [one for one in modes if one.mode == fault.mode.mode]
    for candidate in planner.candidates:
        bench = planner.bench(candidate)
        wanted = _mark(bench, candidate, fault.mode, fault.value)
        left = [
            one
            for one in left
            if wanted is not None and _mark(bench, candidate, one, fault.value) == wanted
        ]
    return {one.where for one in left} | {fault.mode.where}


def _mark(bench, candidate, mode, value):
    """What a fault does in a set-up; the same for all that no reading of it can part."""
    change = combined([ChosenFault(mode, value)], bench.circuit.branches, candidate.setup.swap)
    return bench.layout.runs.mark(change) if change else ()


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
