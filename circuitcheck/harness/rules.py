"""What the entries of a description must be to each other; one small function a rule.

A rule is given the parts that could be read, and reports to the tree. It never stops the others.
"""

from __future__ import annotations

from collections.abc import Callable

from circuitcheck.errors import nearest
from circuitcheck.harness.model import KINDS_OF_OBSERVATION, Harness, Observation, Setup, Test
from circuitcheck.harness.tree import Path_, Tree
from circuitcheck.joined import Joined
from circuitcheck.parts.battery import Battery
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.wire import Wire

Rule = Callable[[Harness, Tree], None]


def parts_agree_with_themselves(harness: Harness, tree: Tree) -> None:
    """What the kinds themselves check: thresholds, positions, conditions."""
    for name, part in harness.parts.items():
        for field, found, must in part.check():
            tree.report(("parts", name, *field.split(".")), found, must)


def names_differ_by_more_than_case(harness: Harness, tree: Tree) -> None:
    """``k1`` beside ``K1`` is a slip of the pen."""
    for section, names in (("parts", harness.parts), ("wires", harness.wires)):
        folded: dict[str, str] = {}
        for name in names:
            other = folded.setdefault(name.casefold(), name)
            if other != name:
                tree.report((section, name), f"'{name}' beside '{other}'",
                            "must differ by more than capitals")  # fmt: skip
    for name in harness.wires.keys() & harness.parts.keys():
        tree.report(("wires", name), f"'{name}' as wire and as part", "must have its own name")


def names_can_be_written(harness: Harness, tree: Tree) -> None:
    """A dot, slash, colon or blank in a name would clash with terminals and fault names."""
    for section, names in (("parts", harness.parts), ("wires", harness.wires)):
        for name in names:
            if _cannot_be_written(name):
                tree.report((section, name), f"the name '{name}'",
                            "must be one word without dot, slash, colon or comma")  # fmt: skip


def can_be_wired(harness: Harness) -> bool:
    """Whether terminals can be made up at all: names without dots, counts that are counts."""
    names = [*harness.parts, *harness.wires]
    counted = [one for one in harness.parts.values() if one.kind_name in ("plug", "splice")]
    return not any(map(_cannot_be_written, names)) and not any(one.check() for one in counted)


def _cannot_be_written(name: str) -> bool:
    return not name or any(sign in name for sign in "./: \t,")


def _all_wires_end(harness: Harness) -> bool:
    """Whether it is worth following them: a wire to nowhere is reported once, and not its traces."""
    known = set(harness.terminals())
    return all(wire.start in known and wire.end in known for wire in harness.wires.values())


def _wired(harness: Harness) -> set[str]:
    """The parts that a wire goes to."""
    return {end.split(".")[0] for wire in harness.wires.values() for end in (wire.start, wire.end)}


def _home(harness: Harness) -> str:
    """The battery of the supply, or nothing where the wires cannot be followed to it."""
    name = harness.supply.battery
    there = isinstance(harness.parts.get(name), Battery)
    return name if there and _all_wires_end(harness) else ""


def wires_end_at_terminals(harness: Harness, tree: Tree) -> None:
    """Both ends exist, differ, and are on the loom's side of a plug unless inside a unit."""
    known = harness.terminals()
    for name, wire in harness.wires.items():
        for key, end in (("from", wire.start), ("to", wire.end)):
            if end not in known:
                _no_terminal(harness, tree, ("wires", name, key), end)
        if wire.start == wire.end:
            tree.report(("wires", name), f"both ends on {wire.start}", "must join two terminals")


def _no_terminal(harness: Harness, tree: Tree, path: Path_, given: str) -> None:
    part, _, pin = given.partition(".")
    if part in harness.parts:
        pins = [node.partition(".")[2] for node in harness.parts[part].nodes(part)]
        must = f"must be a terminal of {part}: {', '.join(pins)}"
        tree.report(path, f"no terminal '{given}'", must, nearest(given, harness.terminals()))
    elif not pin:
        tree.report(path, f"'{given}'", "must be a terminal, written part.terminal, as F3.in")
    else:
        near = nearest(part, harness.parts)
        tree.report(path, f"no part '{part}'", "must be a terminal of a part",
                    f"{near}.{pin}" if near else "")  # fmt: skip


def every_terminal_of_a_plugless_part_is_reached(harness: Harness, tree: Tree) -> None:
    """A part with no wire at all is a part that was forgotten."""
    touched = _wired(harness)
    for name in harness.parts:
        if name not in touched and _all_wires_end(harness):
            tree.report(("parts", name), "no wire to it", "must be wired")


def the_battery_is_there(harness: Harness, tree: Tree) -> None:
    """The supply names a battery, and both its clamps are wired."""
    name = harness.supply.battery
    batteries = [one for one, part in harness.parts.items() if isinstance(part, Battery)]
    if name not in batteries:
        must = f"must be a part of kind battery: {', '.join(batteries) or 'there is none'}"
        tree.report(("supply", "battery"), f"'{name}'", must, nearest(name, batteries))
        return
    for clamp in ("+", "-"):
        if not _clamp_is_wired(harness, name, clamp) and _all_wires_end(harness):
            tree.report(("parts", name), f"no wire on {name}.{clamp}",
                        f"must have a wire on its {'plus' if clamp == '+' else 'minus'} clamp")


def _clamp_is_wired(harness: Harness, name: str, clamp: str) -> bool:
    ends = {end for wire in harness.wires.values() for end in (wire.start, wire.end)}
    return bool(ends & {f"{name}.{clamp}", f"{name}.post{clamp}"})


def charging_is_above_resting(harness: Harness, tree: Tree) -> None:
    """A running engine raises the volts; both fit the nominal voltage."""
    supply, nominal = harness.supply, harness.volts
    before = len(tree.problems)
    for key, value in (("resting", supply.resting), ("running", supply.running)):
        if not 0.8 * nominal < value < 1.4 * nominal:
            tree.report(("supply", key), f"{value:g} V",
                        f"must be near the {nominal} V of the vehicle")  # fmt: skip
    if len(tree.problems) == before and supply.running < supply.resting:
        tree.report(("supply", "running"), f"{supply.running:g} V",
                    f"must be at least the {supply.resting:g} V at rest")  # fmt: skip


def everything_has_a_way_back(harness: Harness, tree: Tree) -> None:
    """With every contact closed, each part is joined to the battery: feed and ground."""
    name, touched = _home(harness), _wired(harness)
    if not name:
        return
    sets = _joined(harness, whole_parts=True)
    home = sets.root(f"{name}.-")
    for other, part in harness.parts.items():
        loose = [node for node in part.nodes(other) if sets.root(node) != home]
        if other in touched and loose and len(loose) == len(part.nodes(other)):
            tree.report(("parts", other), "no path to the battery",
                        "must be joined to battery minus, through ground points or wires")  # fmt: skip


def the_return_reaches_the_battery(harness: Harness, tree: Tree) -> None:
    """If there are ground points, the body must be strapped to battery minus, and nothing else."""
    name = _home(harness)
    if not name:
        return
    sets = _joined(harness, whole_parts=False)
    grounded = any(part.kind_name == "ground" for part in harness.parts.values())
    returns = _clamp_is_wired(harness, name, "-")
    if returns and grounded and not sets.together(f"{name}.-", CHASSIS):
        tree.report(("parts", name), f"no strap from {name}.- to the body",
                    "must have a wire from battery minus to a ground point")  # fmt: skip
    if returns and not grounded and not any(
        sets.together(f"{name}.-", end) and end != f"{name}.-"
        for wire in harness.wires.values() for end in (wire.start, wire.end)
    ):  # fmt: skip
        tree.report(("parts",), "no ground point and no return wire", "must have a ground")
    if sets.together(f"{name}.-", f"{name}.+"):
        tree.report(("wires", _closing_wire(harness, name)),
                    "battery plus joined to battery minus by wires alone",
                    "must have a load between them")  # fmt: skip


def _closing_wire(harness: Harness, name: str) -> str:
    """The first wire in the order of the file with which plus and minus are joined."""
    wires: dict[str, Wire] = {}
    for key, wire in harness.wires.items():
        wires[key] = wire
        part_of_it = harness.model_copy(update={"wires": wires})
        if _joined(part_of_it, whole_parts=False).together(f"{name}.-", f"{name}.+"):
            return key
    return ""


def parallel_batteries_agree(harness: Harness, tree: Tree) -> None:
    """Two batteries side by side must have the same volts."""
    sets = _joined(harness, whole_parts=False)
    found = [(name, part) for name, part in harness.parts.items() if isinstance(part, Battery)]
    for index, (name, part) in enumerate(found):
        for other, other_part in found[:index]:
            if not all(sets.together(f"{name}.{pole}", f"{other}.{pole}") for pole in "+-"):
                continue
            one, two = (battery.resting or harness.supply.resting for battery in (part, other_part))
            if abs(one - two) > 0.5:
                tree.report(("parts", name), f"{one:g} V beside {two:g} V of {other}",
                            "must have the same volts as a battery beside it")  # fmt: skip


def _joined(harness: Harness, *, whole_parts: bool) -> Joined:
    """What is joined by wires, splices, plugs and grounds; by whole parts too, if asked."""
    sets = Joined((wire.start, wire.end) for wire in harness.wires.values())
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
            for pole in "+-":
                sets.join(f"{name}.{pole}", f"{name}.post{pole}")
    return sets


def access_exists(harness: Harness, tree: Tree) -> None:
    """Parts, wires and tests name entries of ``access``."""
    for name, part in harness.parts.items():
        if part.access is not None and part.access not in harness.access:
            tree.report(("parts", name, "access"), f"'{part.access}'",
                        "must be an entry of 'access'",
                        nearest(part.access, harness.access))  # fmt: skip


def tests_name_what_exists(harness: Harness, tree: Tree) -> None:
    """Set-ups and observations name parts, terminals, wires, positions."""
    for name, test in harness.tests.items():
        check_setup(harness, tree, ("tests", name, "setup"), test.setup)
        for label in test.observe:
            path = ("tests", name, "observe", label)
            check_observation(harness, tree, test, path, test.observe[label])
        for index, one in enumerate(test.access):
            if one not in harness.access:
                tree.report(("tests", name, "access", index), f"'{one}'",
                            "must be an entry of 'access'", nearest(one, harness.access))


def check_setup(harness: Harness, tree: Tree, path: Path_, setup: Setup) -> None:
    """A set-up names parts, terminals and positions that exist."""
    for key, names in (("pull", setup.pull), ("unplug", setup.unplug), ("swap", setup.swap)):
        for index, name in enumerate(names):
            if name not in harness.parts:
                tree.report((*path, key, index), f"no part '{name}'", "must be a part",
                            nearest(name, harness.parts))  # fmt: skip
            elif key != "swap" and not harness.parts[name].plugged:
                tree.report((*path, key, index), f"'{name}'",
                            "must be a part with a plug or socket")  # fmt: skip
    terminals = harness.terminals()
    for key, points in (("bridge", [point for pair in setup.bridge for point in pair]),
                        ("feed", setup.feed), ("ground", setup.ground)):  # fmt: skip
        for point in points:
            if point not in terminals:
                _no_terminal(harness, tree, (*path, key), point)
    for index, pair in enumerate(setup.bridge):
        if pair[0] == pair[1]:
            tree.report((*path, "bridge", index), f"{pair[0]} with itself", "must join two terminals")
    for part, position in setup.switches.items():
        known = getattr(harness.parts.get(part), "positions", None)
        if known is None:
            switches = [one for one, has in harness.parts.items() if hasattr(has, "positions")]
            tree.report((*path, "switches", part), f"'{part}'", "must be a hand switch",
                        nearest(part, switches))  # fmt: skip
        elif position not in known:
            tree.report((*path, "switches", part), f"'{position}'",
                        f"must be a position of {part}: {', '.join(known)}",
                        nearest(position, known))  # fmt: skip


def check_observation(
    harness: Harness, tree: Tree, test: Test, path: Path_, observation: Observation
) -> None:
    """One thing to observe in a test: exactly one, of something that exists."""
    named = [kind for kind in KINDS_OF_OBSERVATION if getattr(observation, kind) is not None]
    if len(named) != 1:
        tree.report(path, f"{len(named)} things to observe",
                    f"must be one of {', '.join(KINDS_OF_OBSERVATION)}")  # fmt: skip
        return
    kind, points = observation.kind, observation.points
    if len(points) == 2:
        for point in points:
            if point not in harness.terminals():
                _no_terminal(harness, tree, (*path, kind), point)
        if points[0] == points[1]:
            tree.report((*path, kind), f"{points[0]} twice", "must be two points")
    elif kind == "amps":
        _check_clamp(harness, tree, test, (*path, kind), points[0])
    else:
        wanted = {"speed": "motor", "lamp": "lamp", "click": "relay"}[kind]
        known = [one for one, part in harness.parts.items() if part.kind_name == wanted]
        if points[0] not in known:
            tree.report((*path, kind), f"'{points[0]}'",
                        f"must be a part of kind {wanted}: {', '.join(known) or 'there is none'}",
                        nearest(points[0], known))  # fmt: skip
    if kind == "ohms" and test.setup.battery == "connected":
        tree.report((*path, kind), "ohms with the battery connected",
                    "must have 'battery: disconnected' in its setup")  # fmt: skip


def _check_clamp(harness: Harness, tree: Tree, test: Test, path: Path_, point: str) -> None:
    leads = {"bridge": test.setup.bridge, "feed": test.setup.feed, "ground": test.setup.ground}
    if point in leads:
        if not leads[point]:
            tree.report(path, f"'{point}' with no such lead in the setup", f"must have '{point}'")
        return
    pins = [key for name, part in harness.parts.items() for key in part.contacts(name)]
    fuses = [name for name, part in harness.parts.items() if part.kind_name == "fuse"]
    known = [*harness.wires, *pins, *fuses, *leads]
    if point not in known:
        tree.report(path, f"'{point}'", "must be a wire, a fuse, a pin, or bridge, feed, ground",
                    nearest(point, known))  # fmt: skip


def frequencies_name_faults(harness: Harness, tree: Tree) -> None:
    """The overrides name fault modes that exist."""
    specs = [f.spec for name, part in harness.parts.items() for f in part.all_faults(name)]
    specs += [f.spec for name, wire in harness.wires.items() for f in wire.faults(name, "")]
    for spec in harness.frequencies:
        if spec not in specs:
            tree.report(("frequencies", spec), f"no fault '{spec}'", "must be a fault mode",
                        nearest(spec, specs))  # fmt: skip


BASIC_RULES: tuple[Rule, ...] = (
    parts_agree_with_themselves, names_differ_by_more_than_case, names_can_be_written,
)  # fmt: skip
RULES: tuple[Rule, ...] = (
    wires_end_at_terminals, every_terminal_of_a_plugless_part_is_reached, the_battery_is_there,
    charging_is_above_resting, everything_has_a_way_back, the_return_reaches_the_battery,
    parallel_batteries_agree, access_exists, tests_name_what_exists, frequencies_name_faults,
)  # fmt: skip
