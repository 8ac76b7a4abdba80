"""What the entries of a description must be to each other; one small function a rule.

A rule is given the entries that could be read, and reports to the tree. It never stops the others.
Rules that follow the wires run only on a loom that is all there, so that one slip has one report.
"""

from __future__ import annotations

from collections.abc import Callable

from circuitcheck.harness.model import Harness
from circuitcheck.harness.rules.lookup import ALL_ACCESS, ALL_NAMES, Known
from circuitcheck.harness.rules.names import (
    access_exists,
    frequencies_name_faults,
    names_can_be_written,
    names_differ_by_more_than_case,
    parts_agree_with_themselves,
    report_check,
    wires_end_at_terminals,
)
from circuitcheck.harness.rules.setups import check_observation, check_setup, tests_name_what_exists
from circuitcheck.harness.rules.wiring import (
    both_clamps_are_wired,
    charging_is_above_resting,
    every_part_is_wired,
    everything_has_a_way_back,
    parallel_batteries_agree,
    the_return_reaches_the_battery,
    the_supply_names_a_battery,
    what_goes_in_comes_out,
)
from circuitcheck.harness.tree import Tree

Rule = Callable[[Harness, Tree], None]
NAME_RULES: tuple[Rule, ...] = (
    parts_agree_with_themselves,
    names_differ_by_more_than_case,
    names_can_be_written,
    wires_end_at_terminals,
    access_exists,
    tests_name_what_exists,
    frequencies_name_faults,
)
SUPPLY_RULES: tuple[Rule, ...] = (the_supply_names_a_battery, charging_is_above_resting)
WIRING_RULES: tuple[Rule, ...] = (
    every_part_is_wired,
    both_clamps_are_wired,
    everything_has_a_way_back,
    the_return_reaches_the_battery,
    parallel_batteries_agree,
    what_goes_in_comes_out,
)


def check(harness: Harness, tree: Tree, *, header: bool, whole: bool) -> None:
    """Run every rule that makes sense on what could be read.

    :param header: whether the top level could be read; without it the supply is a stand-in
    :param whole: whether every part and wire could be read
    """
    for rule in NAME_RULES:
        rule(harness, tree)
    for rule in SUPPLY_RULES if header else ():
        rule(harness, tree)
    if header and whole and not tree.unread and not _a_wire_is_loose(tree):
        for rule in WIRING_RULES:
            rule(harness, tree)


def _a_wire_is_loose(tree: Tree) -> bool:
    return any(one.name.startswith(("wires", "supply.battery")) for one in tree.problems)


__all__ = [
    "ALL_ACCESS",
    "ALL_NAMES",
    "Known",
    "check",
    "check_observation",
    "check_setup",
    "report_check",
]
