"""What can be named in a harness, and how a name that cannot is reported."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from circuitcheck.errors import nearest
from circuitcheck.harness.model import Harness
from circuitcheck.harness.tree import Path_, Tree
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.part import Part

ENOUGH = 100
"""After so many problems nobody reads on, and the search for a nearest name is dropped."""
ALL_NAMES = "*"
"""In ``Tree.unread``: which parts there are is in doubt, so a missing one is no news."""
ALL_ACCESS = "access:"
"""In ``Tree.unread``: the section ``access`` could not be read."""


@dataclass(frozen=True, slots=True)
class Known:
    """What can be named in a harness; made once, as a large loom has thousands of terminals.

    :param terminals: of the parts
    :param probe_points: every point a probe can be put on
    :param clampable: what a current clamp goes around, leads of the set-up not counted
    :param by_kind: the parts of each kind
    """

    terminals: frozenset[str]
    probe_points: frozenset[str]
    clampable: frozenset[str]
    by_kind: Mapping[str, list[str]]

    @classmethod
    def of(cls, harness: Harness) -> Known:
        """Gathered from the parts and wires."""
        by_kind: dict[str, list[str]] = {}
        for name, part in harness.parts.items():
            by_kind.setdefault(part.kind_name, []).append(name)
        pins = [key for name, part in harness.parts.items() for key in part.contacts(name)]
        clampable = frozenset([*harness.wires, *pins, *by_kind.get("fuse", [])])
        probe_points = frozenset(harness.probe_points())
        return cls(frozenset(harness.terminals()), probe_points, clampable, by_kind)


def nearest_known(tree: Tree, name: str, known: Iterable[str]) -> str:
    """The nearest known name, or the only one with the same letter: ``S1`` for ``S4``."""
    if len(tree.problems) >= ENOUGH:
        return ""
    known = list(known)
    letters = _letters(name)
    alike = [one for one in known if letters and _letters(one) == letters]
    return nearest(name, known) or (alike[0] if len(alike) == 1 else "")


def _letters(name: str) -> str:
    match = re.fullmatch(r"([A-Za-z]+)\d+", name)
    return match[1].casefold() if match else ""


def in_doubt(tree: Tree, name: str) -> bool:
    """Whether something of this name may stand there and could not be read."""
    return not tree.unread.isdisjoint((ALL_NAMES, name, name.partition(".")[0]))


def unread_of_kind(tree: Tree, kind: str) -> list[str]:
    """Parts of a kind that stand there and could not be read for something else."""
    parts = tree.data.get("parts") if isinstance(tree.data, dict) else None
    if not isinstance(parts, dict):
        return []
    return [
        name
        for name, one in parts.items()
        if name in tree.unread and isinstance(one, dict) and one.get("kind") == kind
    ]


def report_no_part(
    harness: Harness, tree: Tree, path: Path_, name: str, must: str, fit: Iterable[str]
) -> None:
    """Report a name that is no part, or a part that will not do.

    :param must: what it must be
    :param fit: the names that would do; the nearest of them is offered
    """
    if name in harness.parts:
        found = f"'{name}', a {harness.parts[name].kind_name}"
        tree.report(path, found, must, nearest_known(tree, name, fit))
    elif not in_doubt(tree, name):
        tree.report(path, f"no part '{name}'", must, nearest_known(tree, name, fit))


def report_no_terminal(harness: Harness, tree: Tree, path: Path_, given: str) -> None:
    """Report what is no terminal: for want of the part, of the pin, or of a dot."""
    name, _, pin = given.partition(".")
    if name in tree.unread:
        return
    if name in harness.parts:
        part = harness.parts[name]
        must = f"must be a terminal of {name}: {', '.join(part.pins())}"
        near = _pin_meant(tree, part, name, pin) if pin else ""
        tree.report(path, f"no terminal '{given}'" if pin else f"'{given}' alone", must, near)
    elif in_doubt(tree, name):
        return
    elif not pin:
        chassis = nearest(given, [CHASSIS])
        also = f", or {CHASSIS}" if chassis else ""
        must = f"must be a terminal, written part.terminal, as F3.in{also}"
        tree.report(path, f"'{given}'", must, chassis)
    else:
        near = nearest_known(tree, name, harness.parts)
        alike = [one for one in harness.parts if _letters(one) == _letters(name) != ""][:MOST_NAMED]
        must = "must be a terminal of a part" + (f", such as {' or '.join(alike)}" if alike else "")
        tree.report(path, f"no part '{name}'", must, f"{near}.{pin}" if near else "")


MOST_NAMED = 4
"""Parts that are offered for one that is not there."""
_ALSO_CALLED = {
    "plus": "+",
    "pos": "+",
    "positive": "+",
    "minus": "-",
    "neg": "-",
    "negative": "-",
    "gnd": "31",
    "ground": "31",
    "earth": "31",
    "com": "2",
    "anode": "a",
    "cathode": "k",
}
"""What terminals are called as well."""


def _pin_meant(tree: Tree, part: Part, name: str, pin: str) -> str:
    """The terminal of a part that is meant: by another name of it, the only one, or the nearest."""
    pins = part.pins()
    other = _ALSO_CALLED.get(pin.casefold(), "")
    if other in pins:
        return f"{name}.{other}"
    if len(pins) == 1:
        return f"{name}.{pins[0]}"
    return nearest_known(tree, f"{name}.{pin}", part.nodes(name))
