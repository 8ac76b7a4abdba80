"""What the entries of a description must be to each other; one small function a rule.

A rule is given the entries that could be read, and reports to the tree. It never stops the others.
Rules that follow the wires run only on a loom that is all there, so that one slip has one report.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from circuitcheck.errors import nearest
from circuitcheck.harness.model import (
    KINDS_OF_OBSERVATION,
    THROUGH,
    Harness,
    Observation,
    Setup,
    Test,
)  # fmt: skip
from circuitcheck.harness.tree import Path_, Tree
from circuitcheck.joined import Joined
from circuitcheck.parts.battery import Battery
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.part import Part
from circuitcheck.parts.wire import Wire

Rule = Callable[[Harness, Tree], None]

ENOUGH = 100
"""After so many problems nobody reads on, and the search for a nearest name is dropped."""
MAX_OBSERVATIONS = 500
"""In one test; nobody takes so many readings of one set-up."""
ALL_NAMES = "*"
"""In ``Tree.unread``: which parts there are is in doubt, so a missing one is no news."""
ALL_ACCESS = "access:"
"""In ``Tree.unread``: the section ``access`` could not be read."""
_CLAMPS = {"+": "plus", "-": "minus"}


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


# -- what the rules share -------------------------------------------------------------------------


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


def _near(tree: Tree, name: str, known: Iterable[str]) -> str:
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


def _in_doubt(tree: Tree, name: str) -> bool:
    """Whether something of this name may stand there and could not be read."""
    return not tree.unread.isdisjoint((ALL_NAMES, name, name.partition(".")[0]))


def _no_part(
    tree: Tree, harness: Harness, path: Path_, name: str, must: str, fit: Iterable[str]
) -> None:
    """Report a name that is no part, or a part that will not do."""
    if name in harness.parts:
        tree.report(path, f"'{name}', a {harness.parts[name].kind_name}", must, _near(tree, name, fit))
    elif not _in_doubt(tree, name):
        tree.report(path, f"no part '{name}'", must, _near(tree, name, fit))


def _no_terminal(harness: Harness, tree: Tree, path: Path_, given: str) -> None:
    name, _, pin = given.partition(".")
    if name in harness.parts:
        part = harness.parts[name]
        must = f"must be a terminal of {name}: {', '.join(part.pins())}"
        near = _near(tree, given, part.nodes(name)) if pin else ""
        tree.report(path, f"no terminal '{given}'" if pin else f"'{given}' alone", must, near)
    elif _in_doubt(tree, name):
        return
    elif not pin:
        tree.report(path, f"'{given}'", "must be a terminal, written part.terminal, as F3.in")
    else:
        near = _near(tree, name, harness.parts)
        tree.report(path, f"no part '{name}'", "must be a terminal of a part",
                    f"{near}.{pin}" if near else "")  # fmt: skip


# -- names ----------------------------------------------------------------------------------------


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
                tree.report((section, name), f"'{name}' beside '{other}'",
                            "must differ by more than capitals")  # fmt: skip
    for name in harness.wires:
        if name in harness.parts:
            tree.report(("wires", name), f"'{name}' as wire and as part", "must have its own name")


def names_can_be_written(harness: Harness, tree: Tree) -> None:
    """A dot, slash, colon or blank in a name would clash with terminals and fault names."""
    for section, names in (("parts", harness.parts), ("wires", harness.wires)):
        for name in names:
            if not name or re.search(r"[./:\s,]", name):
                tree.report((section, name), f"the name '{name}'",
                            "must be one word without dot, slash, colon or comma")  # fmt: skip
                tree.unread.add(ALL_NAMES if section == "parts" else name)


def wires_end_at_terminals(harness: Harness, tree: Tree) -> None:
    """Both ends exist and differ."""
    known = frozenset(harness.terminals())
    for name, wire in harness.wires.items():
        for key, end in (("from", wire.start), ("to", wire.end)):
            if end not in known:
                _no_terminal(harness, tree, ("wires", name, key), end)
        if wire.start == wire.end:
            tree.report(("wires", name), f"both ends on {wire.start}", "must join two terminals")


def access_exists(harness: Harness, tree: Tree) -> None:
    """Parts, wires and tests name entries of ``access``."""
    if ALL_ACCESS in tree.unread:
        return
    named: list[tuple[Path_, str | None]] = [
        *((("parts", name, "access"), part.access) for name, part in harness.parts.items()),
        *((("wires", name, "access"), wire.access) for name, wire in harness.wires.items()),
        *((("tests", name, "access", index), one)
          for name, test in harness.tests.items() for index, one in enumerate(test.access)),
    ]  # fmt: skip
    for path, given in named:
        if given is not None and given not in harness.access:
            tree.report(path, f"'{given}'", "must be an entry of 'access'",
                        _near(tree, given, harness.access))  # fmt: skip


def tests_name_what_exists(harness: Harness, tree: Tree) -> None:
    """Set-ups and observations name parts, terminals, wires, positions."""
    known = Known.of(harness)
    for name, test in harness.tests.items():
        check_setup(harness, tree, ("tests", name, "setup"), test.setup, known)
        if not test.observe:
            tree.report(("tests", name, "observe"), "nothing to observe", "must have an observation")
        if len(test.observe) > MAX_OBSERVATIONS:
            tree.report(("tests", name, "observe"), f"{len(test.observe)} observations",
                        f"must be at most {MAX_OBSERVATIONS}")  # fmt: skip
            continue
        for label, one in test.observe.items():
            check_observation(harness, tree, test, ("tests", name, "observe", label), one, known)


def check_setup(
    harness: Harness, tree: Tree, path: Path_, setup: Setup, known: Known | None = None
) -> None:
    """A set-up names parts, terminals and positions that exist."""
    known = known or Known.of(harness)
    for key, names in (("pull", setup.pull), ("unplug", setup.unplug), ("swap", setup.swap)):
        for index, name in enumerate(names):
            where = (*path, key, index)
            if name not in harness.parts:
                _no_part(tree, harness, where, name, "must be a part", harness.parts)
            elif key != "swap" and not harness.parts[name].plugged:
                tree.report(where, f"'{name}'", "must be a part with a plug or socket")
    _check_leads(harness, tree, path, setup, known)
    _check_through(harness, tree, path, setup, known)
    for name, position in setup.switches.items():
        where = (*path, "switches", name)
        positions = getattr(harness.parts.get(name), "positions", None)
        if positions is None:
            switches = known.by_kind.get("switch", [])
            _no_part(tree, harness, where, name, "must be a hand switch", switches)
            continue
        if position not in positions:
            tree.report(where, f"'{position}'", f"must be a position of {name}: {', '.join(positions)}",
                        nearest(position, positions))  # fmt: skip


def _check_leads(harness: Harness, tree: Tree, path: Path_, setup: Setup, known: Known) -> None:
    points: list[tuple[Path_, str]] = [
        *((("bridge", index), point) for index, pair in enumerate(setup.bridge) for point in pair),
        *((("feed", index), point) for index, point in enumerate(setup.feed)),
        *((("ground", index), point) for index, point in enumerate(setup.ground)),
    ]
    for where, point in points:
        if point not in known.terminals:
            _no_terminal(harness, tree, (*path, *where), point)
    for index, pair in enumerate(setup.bridge):
        if pair[0] == pair[1]:
            tree.report((*path, "bridge", index), f"{pair[0]} with itself", "must join two terminals")


def _check_through(harness: Harness, tree: Tree, path: Path_, setup: Setup, known: Known) -> None:
    """A lamp or a limited supply; the fuse whose place the lamp takes is out."""
    through, where = setup.through, (*path, "through")
    if through is None:
        return
    if (through.lamp is None) == (through.limit is None):
        found = "nothing" if through.lamp is None else "a lamp and a limit"
        tree.report(where, found, "must be one of lamp: 21 W, limit: 5 A")
    if setup.battery == "disconnected":
        tree.report(where, "a feed with the battery disconnected", "must have no 'through' then")
    if through.at is None:
        if setup.running:
            tree.report(where, "no battery beside a running engine", "must have 'running: no'")
        return
    fuses = known.by_kind.get("fuse", [])
    if through.at not in fuses:
        _no_part(tree, harness, (*where, "at"), through.at, "must be a fuse", fuses)
    elif through.at not in setup.pull:
        tree.report((*where, "at"), f"'{through.at}', which is still in",
                    f"must have 'pull: [{through.at}]'")  # fmt: skip
    if through.limit is not None:
        tree.report((*where, "at"), "a place for a limited supply", "must be a lamp there")


def check_observation(
    harness: Harness,
    tree: Tree,
    test: Test,
    path: Path_,
    observation: Observation,
    known: Known | None = None,
) -> None:
    """One thing to observe in a test: exactly one, of something that exists."""
    known = known or Known.of(harness)
    named = [kind for kind in KINDS_OF_OBSERVATION if getattr(observation, kind) is not None]
    if len(named) != 1:
        which = f" ({' and '.join(named)})" if named else ""
        tree.report(path, f"{len(named)} things to observe{which}",
                    f"must be exactly one of {', '.join(KINDS_OF_OBSERVATION)}")  # fmt: skip
        return
    kind, points = observation.kind, observation.points
    where = (*path, kind)
    if len(points) == 2:
        for point in points:
            if point not in known.probe_points:
                _no_terminal(harness, tree, where, point)
        if points[0] == points[1]:
            tree.report(where, f"{points[0]} twice", "must be two points")
    elif kind == "amps":
        _check_clamp(harness, tree, test, where, points[0], known)
    elif kind == "lamp" and points[0] == THROUGH:
        if test.setup.through is None or test.setup.through.lamp is None:
            tree.report(where, f"'{THROUGH}' with no such lamp in the setup",
                        f"must have '{THROUGH}: {{lamp: 21 W}}' there")  # fmt: skip
    else:
        wanted = {"speed": "motor", "lamp": "lamp", "click": "relay"}[kind]
        fit = known.by_kind.get(wanted, [])
        if points[0] not in fit:
            must = f"must be a part of kind {wanted}: {', '.join(fit) or 'there is none'}"
            _no_part(tree, harness, where, points[0], must, fit)
    if kind == "ohms" and test.setup.battery == "connected" and _is_first_ohms(test, observation):
        tree.report(where, "ohms with the battery connected",
                    "must have 'battery: disconnected' in its setup")  # fmt: skip


def _is_first_ohms(test: Test, observation: Observation) -> bool:
    """One slip in the set-up is reported once, not at every ohmmeter reading of the test."""
    listed = (one for one in test.observe.values() if one.ohms is not None)
    return next(listed, observation) is observation


def _check_clamp(
    harness: Harness, tree: Tree, test: Test, path: Path_, point: str, known: Known
) -> None:
    setup = test.setup
    leads = {"bridge": setup.bridge, "feed": setup.feed, "ground": setup.ground, THROUGH: setup.through}
    if point in leads:
        if not leads[point]:
            tree.report(path, f"'{point}' with no such lead in the setup", f"must have '{point}'")
        return
    if point in known.clampable or _in_doubt(tree, point):
        return
    part = point.partition(".")[0]
    pins = harness.parts[part].contacts(part) if part in harness.parts else {}
    near = _near(tree, point, [*harness.wires, *known.by_kind.get("fuse", []), *leads, *pins])
    must = f"must be a wire, a fuse, a pin, or {', '.join(leads)}"
    tree.report(path, f"'{point}'", must, near)


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
        if spec not in known and not _in_doubt(tree, where) and not (of_a_kind and tree.unread):
            same = [one for one in specs if one.split(" ")[0] == where]
            must = "must be a fault mode, or a kind of part here with its mode"
            tree.report(("frequencies", spec), f"no fault '{spec}'", must,
                        _near(tree, spec, same or [*specs, *sorted(kinds)]))  # fmt: skip


# -- the supply -----------------------------------------------------------------------------------


def the_supply_names_a_battery(harness: Harness, tree: Tree) -> None:
    """The supply is one of the batteries."""
    name = harness.supply.battery
    batteries = [one for one, part in harness.parts.items() if isinstance(part, Battery)]
    if name not in batteries:
        must = f"must be a part of kind battery: {', '.join(batteries) or 'there is none'}"
        _no_part(tree, harness, ("supply", "battery"), name, must, batteries)


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


# -- the wiring: only where every name is right ---------------------------------------------------


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
            tree.report(("parts", name), f"no wire on {name}.{clamp}",
                        f"must have a wire on its {word} clamp")  # fmt: skip


def _clamp_is_wired(harness: Harness, clamp: str) -> bool:
    name = harness.supply.battery
    ends = {end for wire in harness.wires.values() for end in (wire.start, wire.end)}
    return bool(ends & {f"{name}.{clamp}", f"{name}.post{clamp}"})


def what_goes_in_comes_out(harness: Harness, tree: Tree) -> None:
    """A part with two terminals that is wired at all has a wire, or its plug, on both.

    A wire that ends where it should not leaves such a gap too, and has been told by then.
    """
    if tree.problems:
        return
    ends = {end for wire in harness.wires.values() for end in (wire.start, wire.end)}
    touched = _wired(harness)
    for name, part in harness.parts.items():
        if name not in touched or part.kind_name in ("battery", "splice") or len(part.pins()) != 2:
            continue
        for pin in part.pins():
            if not ends & {f"{name}.{pin}", part.own(name, pin)}:
                tree.report(("parts", name), f"no wire on {name}.{pin}", "must have a wire there too: "
                            "what goes in at one terminal comes out at the other")  # fmt: skip


def everything_has_a_way_back(harness: Harness, tree: Tree) -> None:
    """With every contact closed, each part is joined to the battery: feed and ground."""
    touched = _wired(harness)
    sets = _joined(harness, harness.wires, whole_parts=True)
    home = sets.root(f"{harness.supply.battery}.-")
    for name, part in harness.parts.items():
        if name in touched and all(sets.root(node) != home for node in part.nodes(name)):
            tree.report(("parts", name), "no path to the battery",
                        "must be joined to battery minus, through ground points or wires")  # fmt: skip


def the_return_reaches_the_battery(harness: Harness, tree: Tree) -> None:
    """If there are ground points, the body is strapped to battery minus; plus never is."""
    name = harness.supply.battery
    sets = _joined(harness, harness.wires, whole_parts=False)
    grounded = any(part.kind_name == "ground" for part in harness.parts.values())
    if grounded and _clamp_is_wired(harness, "-") and not sets.together(f"{name}.-", CHASSIS):
        tree.report(("parts", name), f"no strap from {name}.- to the body",
                    "must have a wire from battery minus to a ground point")  # fmt: skip
    if sets.together(f"{name}.-", f"{name}.+"):
        tree.report(("wires", _closing_wire(harness)),
                    "battery plus joined to battery minus by wires alone",
                    "must have a load between them")  # fmt: skip


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
            tree.report(("parts", name), f"{volts:g} V beside {others:g} V of {other}",
                        "must have the same volts as a battery beside it")  # fmt: skip


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


NAME_RULES: tuple[Rule, ...] = (
    parts_agree_with_themselves, names_differ_by_more_than_case, names_can_be_written,
    wires_end_at_terminals, access_exists, tests_name_what_exists, frequencies_name_faults,
)  # fmt: skip
SUPPLY_RULES: tuple[Rule, ...] = (the_supply_names_a_battery, charging_is_above_resting)
WIRING_RULES: tuple[Rule, ...] = (
    every_part_is_wired, both_clamps_are_wired, everything_has_a_way_back,
    the_return_reaches_the_battery, parallel_batteries_agree, what_goes_in_comes_out,
)  # fmt: skip
RULES: tuple[Rule, ...] = NAME_RULES + SUPPLY_RULES + WIRING_RULES
