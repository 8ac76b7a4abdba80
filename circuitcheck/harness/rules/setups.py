"""Set-ups and observations: of parts, terminals and positions that exist, and such as can be done."""

from __future__ import annotations

from collections.abc import Mapping

from circuitcheck.errors import nearest
from circuitcheck.harness.model import (
    KINDS_OF_OBSERVATION,
    THROUGH,
    Harness,
    Observation,
    Setup,
    Test,
)
from circuitcheck.harness.rules.lookup import (
    Known,
    in_doubt,
    nearest_known,
    report_no_part,
    report_no_terminal,
    unread_of_kind,
)
from circuitcheck.harness.tree import Path_, Tree

MAX_OBSERVATIONS = 500
"""In one test; nobody takes so many readings of one set-up."""


def tests_name_what_exists(harness: Harness, tree: Tree) -> None:
    """Set-ups and observations name parts, terminals, wires, positions."""
    known = Known.of(harness)
    for name, test in harness.tests.items():
        check_setup(harness, tree, ("tests", name, "setup"), test.setup, known)
        if not test.observe:
            tree.report(("tests", name, "observe"), "nothing to observe", "must have an observation")
        if len(test.observe) > MAX_OBSERVATIONS:
            tree.report(
                ("tests", name, "observe"),
                f"{len(test.observe)} observations",
                f"must be at most {MAX_OBSERVATIONS}",
            )
            continue
        for label, one in test.observe.items():
            check_observation(harness, tree, test, ("tests", name, "observe", label), one, known)


def check_setup(harness: Harness, tree: Tree, path: Path_, setup: Setup, known: Known) -> None:
    """A set-up names parts, terminals and positions that exist."""
    for key, names in (("pull", setup.pull), ("unplug", setup.unplug), ("swap", setup.swap)):
        for index, name in enumerate(names):
            where = (*path, key, index)
            if name not in harness.parts:
                report_no_part(harness, tree, where, name, "must be a part", harness.parts)
            elif key != "swap" and not harness.parts[name].plugged:
                can = [one for one, part in harness.parts.items() if part.plugged][:12]
                must = f"must be a part with a plug or socket: {', '.join(can) or 'there is none'}"
                kind = harness.parts[name].kind_name
                tree.report(where, f"'{name}', a {kind}", must)
    _check_leads(harness, tree, path, setup, known)
    _check_through(harness, tree, path, setup, known)
    for name, position in setup.switches.items():
        where = (*path, "switches", name)
        positions = getattr(harness.parts.get(name), "positions", None)
        if positions is None:
            switches = known.by_kind.get("switch", [])
            report_no_part(harness, tree, where, name, "must be a hand switch", switches)
            continue
        if position not in positions:
            tree.report(
                where,
                f"'{position}'",
                f"must be a position of {name}: {', '.join(positions)}",
                nearest(position, positions),
            )


def _check_leads(harness: Harness, tree: Tree, path: Path_, setup: Setup, known: Known) -> None:
    points: list[tuple[Path_, str]] = [
        *((("bridge", index), point) for index, pair in enumerate(setup.bridge) for point in pair),
        *((("feed", index), point) for index, point in enumerate(setup.feed)),
        *((("ground", index), point) for index, point in enumerate(setup.ground)),
    ]
    for where, point in points:
        if point not in known.terminals:
            report_no_terminal(harness, tree, (*path, *where), point)
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
        report_no_part(harness, tree, (*where, "at"), through.at, "must be a fuse", fuses)
    elif through.at not in setup.pull:
        tree.report(
            (*where, "at"), f"'{through.at}', which is still in", f"must have 'pull: [{through.at}]'"
        )
    if through.limit is not None:
        tree.report((*where, "at"), "a place for a limited supply", "must be a lamp there")


def check_observation(
    harness: Harness,
    tree: Tree,
    test: Test,
    path: Path_,
    observation: Observation,
    known: Known,
) -> None:
    """One thing to observe in a test: exactly one, of something that exists."""
    named = [kind for kind in KINDS_OF_OBSERVATION if getattr(observation, kind) is not None]
    if len(named) != 1:
        which = f" ({' and '.join(named)})" if named else ""
        tree.report(
            path,
            f"{len(named)} things to observe{which}",
            f"must be exactly one of {', '.join(KINDS_OF_OBSERVATION)}",
        )
        return
    kind, points = observation.kind, observation.points
    where = (*path, kind)
    if len(points) == 2:
        _check_probes(harness, tree, where, points, known)
    elif kind == "amps":
        _check_clamp(harness, tree, test, where, points[0], known)
    elif kind == "fuse":
        _check_fuse(harness, tree, test, where, points[0], known)
    elif kind == "lamp" and points[0] == THROUGH:
        _check_lamp_through(tree, test, where)
    else:
        _check_look(harness, tree, where, kind, points[0], known)
    if kind == "ohms" and test.setup.battery == "connected" and _is_first_ohms(test, observation):
        tree.report(
            where, "ohms with the battery connected", "must have 'battery: disconnected' in its setup"
        )
    if kind == "turn":
        _check_hand(tree, test.setup, where)


def _check_hand(tree: Tree, setup: Setup, path: Path_) -> None:
    """No hand in a fan that could start, nor beside a running engine."""
    if setup.running:
        tree.report(path, "a hand in the fan beside a running engine", "must have 'running: no'")
    elif not parted(setup):
        must = "must have its fuse in 'pull', its plug in 'unplug', or 'battery: disconnected'"
        lead = " and no lead to plus" if setup.bridge or setup.feed else ""
        tree.report(path, "a hand in a fan that could start", must + lead)


def parted(setup: Setup) -> bool:
    """Whether a fan has been parted from its supply, so far as a set-up can say.

    Of what is undone it is taken on trust that it is what feeds the fan; no lead may go round it.
    """
    undone = (setup.pull or setup.unplug) and not (setup.bridge or setup.feed)
    return setup.battery == "disconnected" or bool(undone)


def _check_probes(
    harness: Harness, tree: Tree, path: Path_, points: tuple[str, ...], known: Known
) -> None:
    for point in points:
        if point not in known.probe_points:
            report_no_terminal(harness, tree, path, point)
    if points[0] == points[1]:
        tree.report(path, f"{points[0]} twice", "must be two points")


def _check_lamp_through(tree: Tree, test: Test, path: Path_) -> None:
    """The lamp that feeds the loom can be looked at only where one does."""
    if test.setup.through is None or test.setup.through.lamp is None:
        tree.report(
            path,
            f"'{THROUGH}' with no such lamp in the setup",
            f"must have '{THROUGH}: {{lamp: 21 W}}' there",
        )


def _check_look(harness: Harness, tree: Tree, path: Path_, kind: str, name: str, known: Known) -> None:
    """What is seen or heard is seen or heard of a part of the fitting kind."""
    wanted = {"lamp": "lamp", "click": "relay"}.get(kind, "motor")
    fit = known.by_kind.get(wanted, [])
    if name not in fit:
        fit = [*fit, *unread_of_kind(tree, wanted)]
        must = f"must be a part of kind {wanted}: {', '.join(fit) or 'there is none'}"
        report_no_part(harness, tree, path, name, must, fit)


def _is_first_ohms(test: Test, observation: Observation) -> bool:
    """One slip in the set-up is reported once, not at every ohmmeter reading of the test."""
    listed = (one for one in test.observe.values() if one.ohms is not None)
    return next(listed, observation) is observation


def _check_fuse(harness: Harness, tree: Tree, test: Test, path: Path_, point: str, known: Known) -> None:
    """A fuse of the loom, or that of a lead."""
    leads = {"bridge": test.setup.bridge, "feed": test.setup.feed, "ground": test.setup.ground}
    fuses = known.by_kind.get("fuse", [])
    if _is_lead(tree, path, point, leads) or point in fuses:
        return
    must = f"must be a fuse, or a lead: {', '.join(leads)}"
    report_no_part(harness, tree, path, point, must, [*fuses, *leads])


def _is_lead(tree: Tree, path: Path_, point: str, leads: Mapping[str, object]) -> bool:
    """Whether a lead is meant; one that the set-up does not have is reported."""
    if point in leads and not leads[point]:
        must = f"must have '{point}' in the setup as well"
        tree.report(path, f"'{point}' with no such lead in the setup", must)
    return point in leads


def _check_clamp(
    harness: Harness, tree: Tree, test: Test, path: Path_, point: str, known: Known
) -> None:
    setup = test.setup
    leads = {"bridge": setup.bridge, "feed": setup.feed, "ground": setup.ground, THROUGH: setup.through}
    if _is_lead(tree, path, point, leads):
        return
    if point in known.clampable or in_doubt(tree, point):
        return
    part = point.partition(".")[0]
    pins = harness.parts[part].contacts(part) if part in harness.parts else {}
    near = nearest_known(tree, point, [*harness.wires, *known.by_kind.get("fuse", []), *leads, *pins])
    must = f"must be a wire, a fuse, a pin, or {', '.join(leads)}"
    tree.report(path, f"'{point}'", must, near)
