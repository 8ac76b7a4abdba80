"""Names in the description: written so that they can be used, told apart, each of something there."""

from __future__ import annotations

import re

from circuitcheck.harness.model import Harness
from circuitcheck.harness.rules.lookup import (
    ALL_ACCESS,
    ALL_NAMES,
    in_doubt,
    nearest_known,
    report_no_terminal,
)
from circuitcheck.harness.tree import Path_, Tree
from circuitcheck.parts.part import Part


def parts_agree_with_themselves(harness: Harness, tree: Tree) -> None:
    """What the kinds themselves check: thresholds, positions, conditions."""
    for name, part in harness.parts.items():
        report_check(name, part, tree)


def report_check(name: str, part: Part, tree: Tree) -> None:
    """Report what a part says against itself."""
    for field, found, must in part.check():
        tree.report(("parts", name, *field.split(".")), found, must)


def names_differ_by_more_than_case(harness: Harness, tree: Tree) -> None:
    """``k1`` beside ``K1`` is a slip of the pen."""
    for section, names in (("parts", harness.parts), ("wires", harness.wires)):
        folded: dict[str, str] = {}
        for name in names:
            other = folded.setdefault(name.casefold(), name)
            if other != name:
                tree.report(
                    (section, name), f"'{name}' beside '{other}'", "must differ by more than capitals"
                )
    for name in harness.wires:
        if name in harness.parts:
            tree.report(("wires", name), f"'{name}' as wire and as part", "must have its own name")


def names_can_be_written(harness: Harness, tree: Tree) -> None:
    """A dot, slash, colon or blank in a name would clash with terminals and fault names."""
    for section, names in (("parts", harness.parts), ("wires", harness.wires)):
        for name in names:
            if not name or re.search(r"[./:\s,]", name):
                tree.report(
                    (section, name),
                    f"the name '{name}'",
                    "must be one word without dot, slash, colon or comma",
                )
                tree.unread.add(ALL_NAMES if section == "parts" else name)


def wires_end_at_terminals(harness: Harness, tree: Tree) -> None:
    """Both ends exist and differ."""
    known = frozenset(harness.terminals())
    for name, wire in harness.wires.items():
        for key, end in (("from", wire.start), ("to", wire.end)):
            if end not in known:
                report_no_terminal(harness, tree, ("wires", name, key), end)
        if wire.start == wire.end:
            tree.report(("wires", name), f"both ends on {wire.start}", "must join two terminals")


def access_exists(harness: Harness, tree: Tree) -> None:
    """Parts, wires and tests name entries of ``access``."""
    if ALL_ACCESS in tree.unread:
        return
    named: list[tuple[Path_, str | None]] = [
        *((("parts", name, "access"), part.access) for name, part in harness.parts.items()),
        *((("wires", name, "access"), wire.access) for name, wire in harness.wires.items()),
        *(
            (("tests", name, "access", index), one)
            for name, test in harness.tests.items()
            for index, one in enumerate(test.access)
        ),
    ]
    for path, given in named:
        if given is not None and given not in harness.access:
            tree.report(
                path,
                f"'{given}'",
                "must be an entry of 'access'",
                nearest_known(tree, given, harness.access),
            )


def frequencies_name_faults(harness: Harness, tree: Tree) -> None:
    """The overrides name fault modes that exist."""
    if not harness.frequencies:
        return
    faults = [f for name, part in harness.parts.items() for f in part.all_faults(name)]
    faults += [f for name, wire in harness.wires.items() for f in wire.faults(name, "")]
    specs = [f.spec for f in faults]
    kinds = {f.often.name for f in faults}
    known = {*specs, *kinds}
    for spec in harness.frequencies:
        where = spec.split(" ")[0]
        of_a_kind = where not in harness.parts and where not in harness.wires
        if spec not in known and not in_doubt(tree, where) and not (of_a_kind and tree.unread):
            same = [one for one in specs if one.split(" ")[0] == where]
            must = "must be a fault mode, or a kind of part here with its mode"
            tree.report(
                ("frequencies", spec),
                f"no fault '{spec}'",
                must,
                nearest_known(tree, spec, same or [*specs, *sorted(kinds)]),
            )
