"""The supply, and what the wires make of the parts: all fed, all with a way back, nothing shorted."""

from __future__ import annotations

from collections.abc import Mapping

from circuitcheck.harness.model import Harness
from circuitcheck.harness.rules.lookup import report_no_part
from circuitcheck.harness.tree import Tree
from circuitcheck.joined import Joined
from circuitcheck.parts.battery import Battery
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.wire import Wire

_CLAMPS = {"+": "plus", "-": "minus"}
_ENDS = ("battery", "plug", "splice")
"""Kinds of part in which a wire may end."""


def the_supply_names_a_battery(harness: Harness, tree: Tree) -> None:
    """The supply is one of the batteries."""
    name = harness.supply.battery
    batteries = [one for one, part in harness.parts.items() if isinstance(part, Battery)]
    if name not in batteries:
        must = f"must be a part of kind battery: {', '.join(batteries) or 'there is none'}"
        report_no_part(harness, tree, ("supply", "battery"), name, must, batteries)


def charging_is_above_resting(harness: Harness, tree: Tree) -> None:
    """A running engine raises the volts; both fit the nominal voltage."""
    supply, nominal = harness.supply, harness.volts
    before = len(tree.problems)
    for key, value in (("resting", supply.resting), ("running", supply.running)):
        if not 0.8 * nominal < value < 1.4 * nominal:
            tree.report(("supply", key), f"{value:g} V", f"must be near the {nominal} V of the vehicle")
    if len(tree.problems) == before and supply.running < supply.resting:
        tree.report(
            ("supply", "running"),
            f"{supply.running:g} V",
            f"must be at least the {supply.resting:g} V at rest",
        )


def every_part_is_wired(harness: Harness, tree: Tree) -> None:
    """A part with no wire at all is a part that was forgotten."""
    touched = _wired(harness)
    for name in harness.parts:
        if name not in touched:
            tree.report(("parts", name), "no wire to it", "must be wired")


def _wired(harness: Harness) -> set[str]:
    """The parts that a wire goes to."""
    return {end.split(".")[0] for wire in harness.wires.values() for end in (wire.start, wire.end)}


def both_clamps_are_wired(harness: Harness, tree: Tree) -> None:
    """A wire leaves each pole of the battery."""
    name = harness.supply.battery
    for clamp, word in _CLAMPS.items():
        if not _clamp_is_wired(harness, clamp):
            tree.report(
                ("parts", name), f"no wire on {name}.{clamp}", f"must have a wire on its {word} clamp"
            )


def _clamp_is_wired(harness: Harness, clamp: str) -> bool:
    name = harness.supply.battery
    ends = {end for wire in harness.wires.values() for end in (wire.start, wire.end)}
    return bool(ends & {f"{name}.{clamp}", f"{name}.post{clamp}"})


def what_goes_in_comes_out(harness: Harness, tree: Tree) -> None:
    """A part with two terminals that is wired at all has a wire, or its plug, on both.

    A wire that ends where it should not leaves such a gap too, and has been told by then. In a plug a
    wire may end: a test socket, a spare cavity.
    """
    if tree.problems:
        return
    ends = {end for wire in harness.wires.values() for end in (wire.start, wire.end)}
    touched = _wired(harness)
    for name, part in harness.parts.items():
        if name not in touched or part.kind_name in _ENDS or len(part.pins()) != 2:
            continue
        for pin in part.pins():
            if not ends & {f"{name}.{pin}", part.own(name, pin)}:
                tree.report(
                    ("parts", name),
                    f"no wire on {name}.{pin}",
                    "must have a wire there too: what goes in at one terminal comes out at the other",
                )


def everything_has_a_way_back(harness: Harness, tree: Tree) -> None:
    """With every contact closed, each part is joined to the battery: feed and ground."""
    touched = _wired(harness)
    sets = _joined(harness, harness.wires, whole_parts=True)
    home = sets.root(f"{harness.supply.battery}.-")
    for name, part in harness.parts.items():
        if name in touched and all(sets.root(node) != home for node in part.nodes(name)):
            tree.report(
                ("parts", name),
                "no path to the battery",
                "must be joined to battery minus, through ground points or wires",
            )


def the_return_reaches_the_battery(harness: Harness, tree: Tree) -> None:
    """If there are ground points, the body is strapped to battery minus; plus never is."""
    name = harness.supply.battery
    sets = _joined(harness, harness.wires, whole_parts=False)
    grounded = any(part.kind_name == "ground" for part in harness.parts.values())
    if grounded and _clamp_is_wired(harness, "-") and not sets.together(f"{name}.-", CHASSIS):
        tree.report(
            ("parts", name),
            f"no strap from {name}.- to the body",
            "must have a wire from battery minus to a ground point",
        )
    if sets.together(f"{name}.-", f"{name}.+"):
        tree.report(
            ("wires", _closing_wire(harness)),
            "battery plus joined to battery minus by wires alone",
            "must have a load between them",
        )


def _closing_wire(harness: Harness) -> str:
    """The first wire in the order of the file with which plus and minus are joined."""
    name = harness.supply.battery
    sets = _joined(harness, {}, whole_parts=False)
    for key, wire in harness.wires.items():
        sets.join(wire.start, wire.end)
        if sets.together(f"{name}.-", f"{name}.+"):
            return key
    return next(iter(harness.wires), "")


def parallel_batteries_agree(harness: Harness, tree: Tree) -> None:
    """Two batteries side by side must have the same volts."""
    sets = _joined(harness, harness.wires, whole_parts=False)
    found: dict[tuple[str, str], tuple[str, float]] = {}
    for name, part in harness.parts.items():
        if not isinstance(part, Battery):
            continue
        volts = part.resting or harness.supply.resting
        poles = sets.root(f"{name}.+"), sets.root(f"{name}.-")
        other, others = found.setdefault(poles, (name, volts))
        if abs(volts - others) > 0.5:
            tree.report(
                ("parts", name),
                f"{volts:g} V beside {others:g} V of {other}",
                "must have the same volts as a battery beside it",
            )


def _joined(harness: Harness, wires: Mapping[str, Wire], *, whole_parts: bool) -> Joined[str]:
    """What is joined by wires, splices, plugs and grounds; by whole parts too, if asked."""
    sets = Joined((wire.start, wire.end) for wire in wires.values())
    for name, part in harness.parts.items():
        if part.kind_name in ("splice", "ground") or whole_parts:
            nodes = part.nodes(name)
            for node in nodes:
                sets.join(nodes[0], node)
            if part.kind_name == "ground":
                sets.join(nodes[0], CHASSIS)
        for contact in part.contacts(name).values():
            sets.join(contact.tail, contact.head)
        if isinstance(part, Battery):
            for pole in _CLAMPS:
                sets.join(f"{name}.{pole}", f"{name}.post{pole}")
    return sets
