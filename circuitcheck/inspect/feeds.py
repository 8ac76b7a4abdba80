"""Feeds and their fuses: is there one, is it near the battery, does it suit wire and current."""

from __future__ import annotations

import math
from collections.abc import Iterator

from circuitcheck.expect.cautions import CONTINUOUS_SHARE, STANDARD_FUSES
from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.guards import Guard, guards
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.tables import (
    capacity,
    opens_at_latest,
    opens_not_before,
    seconds_to_melt,
    sections,
)
from circuitcheck.inspect.words import listed, number, seconds, until
from circuitcheck.parts.fault import CHASSIS, bridge
from circuitcheck.parts.wire import Wire

OVERLOAD = 1.45
"""Times what a wire carries for good that it may carry until its fuse opens (IEC 60364-4-43,
co-ordination of overload protection; from memory)."""

_MOSTLY = 0.8
"""Share of a short's current from which it is said to come through a part."""


@rule(
    "no-fuse",
    Severity.serious,
    "A wire that can be live has a fuse between it and the battery, and the fuse is near the battery.",
    source="ABYC E-11 for the distances, read (secondary); that every feed has a fuse: common practice",
    limits=("unfused-length", "unfused-most"),
)
def no_fuse(design: Design) -> Iterator[Finding]:
    """Loads with no fuse at all, and wires without one whose far end is too far from battery plus."""
    yield from _without_any(design)
    bare = {name for name, guard in guards(design).items() if math.isinf(guard.amps)}
    reach = _reach(design, bare)
    allowed, most = design.limits["unfused-length"], design.limits["unfused-most"]
    for name in sorted(bare, key=lambda one: reach[one]):
        length = reach[name]
        if length <= allowed:
            continue
        wire = design.harness.wires[name]
        grave = Severity.serious if length > most else Severity.doubtful
        yield Finding(
            "no-fuse",
            name,
            grave,
            f"{wire.start} to {wire.end} has no fuse ahead of it and ends {number(length)} m of wire "
            "from "
            f"battery plus; {allowed:g} m is the usual most. Put a fuse nearer to the battery.",
            length,
            allowed,
            "m",
        )


def _without_any(design: Design) -> Iterator[Finding]:
    """Parts that battery plus reaches, in some state of use, without passing a fuse."""
    bare: dict[str, str] = {}
    for scene in design.scenes:
        sets = design.supply_sets(scene)
        for key, name in design.loads.items():
            branch = scene.circuit.branches.get(key)
            if branch and any(sets.together(design.plus, end) for end in (branch.tail, branch.head)):
                bare.setdefault(name, scene.words)
    for name, words in bare.items():
        yield Finding(
            "no-fuse",
            name,
            Severity.serious,
            f"is fed from battery plus with no fuse between ({words}). Put one in, near the battery.",
        )


def _reach(design: Design, wires: set[str]) -> dict[str, float]:
    """Length of wire [m] from battery plus to the far end of each unfused wire."""
    import networkx as nx  # noqa: PLC0415

    graph = nx.Graph()
    graph.add_node(design.plus)
    for scene in design.scenes:
        for key, branch in scene.circuit.branches.items():
            wire = design.harness.wires.get(key)
            if wire is None or key in wires:
                graph.add_edge(branch.tail, branch.head, metres=wire.length if wire else 0.0)
    for key in (*design.loads, *(f"{one}:element" for one in design.fuses)):
        for scene in design.scenes:
            passed = scene.circuit.branches.get(key)
            if passed and graph.has_edge(passed.tail, passed.head):
                graph.remove_edge(passed.tail, passed.head)
    for node in (CHASSIS, design.minus):
        if node in graph:
            graph.remove_node(node)
    metres = nx.single_source_dijkstra_path_length(graph, design.plus, weight="metres")
    ends = {name: (design.harness.wires[name].start, design.harness.wires[name].end) for name in wires}
    return {name: max(metres.get(one, 0.0) for one in pair) for name, pair in ends.items()}


@rule(
    "fuse-over-wire",
    Severity.serious,
    "A fuse is no larger than the current that the wire behind it carries continuously.",
    source="current capacity: DIN VDE 0298-4 table 11, read (secondary), corrected for the air under "
    "the "
    "bonnet and for the bundle (IEC 60364-5-52 table B.52.17, from memory); opening times: ISO 8820-3, "
    "from memory; overload of 1.45 times, and heating in a short circuit: IEC 60364-4-43, from memory",
    limits=("ambient", "wire-temperature", "bundle"),
)
def fuse_over_wire(design: Design) -> Iterator[Finding]:
    """Wires thinner than their fuse; how grave depends on what can really flow and for how long."""
    for name, guard in guards(design).items():
        wire = design.harness.wires[name]
        carries = wire_capacity(design, wire)
        if math.isinf(guard.amps) or guard.amps <= carries:
            continue
        grave, why = _what_can_flow(design, name, wire, guard, carries)
        cure = "" if grave is Severity.note else _cure(design, name, guard, carries)
        yield Finding(
            "fuse-over-wire",
            name,
            grave,
            f"{wire.size:.3g} mm2, {wire.start} to {wire.end}, is good for {number(carries)} A here; "
            "its "
            f"fuse is {listed(guard.fuses)}, {guard.amps:g} A. {why}{cure}",
            guard.amps,
            carries,
            "A",
        )


def wire_capacity(design: Design, wire: Wire) -> float:
    """Current that a wire carries for good under the limits of this inspection [A]."""
    limits = design.limits
    return capacity(
        wire.size,
        ambient=limits["ambient"],
        wire_celsius=limits["wire-temperature"],
        bundle=limits["bundle"],
    )


def _cure(design: Design, name: str, guard: Guard, carries: float) -> str:
    """A fuse of its own that suits the wire, its current and the start; or a wire that suits the fuse.

    The fuse that the wire is made thicker for is one that outlasts the start itself.
    """
    most = max(one.amps(name) for one in design.scenes) / CONTINUOUS_SHARE
    suiting = [one for one in STANDARD_FUSES if most <= one <= carries]
    lasting = [one for one in suiting if _wear(design, name, one) < 1]
    keys = [f"{one}:element" for one in guard.fuses]
    needed = next(
        (
            one
            for one in STANDARD_FUSES
            if one >= guard.amps and all(_wear(design, key, one) < 1 for key in keys)
        ),
        guard.amps,
    )
    wire = design.harness.wires[name]
    thick = (
        one
        for one in sections()
        if wire_capacity(design, wire.model_copy(update={"size": one})) >= needed
    )
    size = next(thick, None)
    larger = (
        f", which also suits a fuse of {needed:g} A, one that outlasts the start"
        if needed > guard.amps
        else ""
    )
    ways = [
        f"put a fuse of {lasting[-1]:g} A at the most before it" if lasting else "",
        f"make it {size:g} mm2{larger}" if size else "",
    ]
    text = ", or ".join(one for one in ways if one)
    if suiting and not lasting:
        slow = f"a fuse of {suiting[-1]:g} A before it may open as the motors start, unless it is slow"
        text = f"{text}; {slow}" if text else slow
    return f" {text[0].upper()}{text[1:]}." if text else ""


def _wear(design: Design, key: str, rating: float) -> float:
    """Share of the life of a fuse, in the place of a branch, that the hardest start uses up [1].

    :param rating: of the fuse [A]
    """
    return max(
        wear_of_start(rating, start.amps(key), sound.amps(key), design.limits["run-up"])
        for sound, start in zip(design.running, design.starting, strict=True)
    )


def _fed_back(design: Design, shorted: Live, amps: float) -> str:
    """The resistors and motors through which most of a short's current comes, in words."""
    through = [
        name
        for name, part in design.harness.parts.items()
        if part.kind in ("resistor", "motor")
        and any(
            key.partition(":")[0] == name and shorted.amps(key) > _MOSTLY * amps
            for key in shorted.circuit.branches
        )
    ]
    return f", fed back through {listed(through)}," if through else ""


def _what_can_flow(
    design: Design, name: str, wire: Wire, guard: Guard, carries: float
) -> tuple[Severity, str]:
    """How grave it is: what a locked motor or a dead short sends through the wire, and how long."""
    case, flows, opens = _held(design, name)
    if flows > OVERLOAD * carries and opens > seconds_to_melt(wire.size, flows):
        return Severity.serious, f"With {case} it carries {number(flows)} A and {until(opens)}."
    end, shorted = _dead_short(design, name, guard)
    flows = shorted.amps(name)
    opens, melts = shortest_opening(design, shorted), seconds_to_melt(wire.size, flows)
    if opens > melts and flows > OVERLOAD * carries:
        when = "need not open" if math.isinf(opens) else f"may take {seconds(opens)}"
        return Severity.serious, (
            f"A dead short at {end} draws {number(flows)} A, which its insulation stands for "
            f"{seconds(melts)}; the fuse {when}."
        )
    if math.isinf(opens):
        way = _fed_back(design, shorted, flows)
        return (
            Severity.doubtful,
            f"A dead short at {end}{way} draws {number(flows)} A and need not open any.",
        )
    held = (one for pairs in design.locked.values() for _, one in pairs)
    most = max(one.amps(name) for one in (*design.scenes, *held))
    if most <= carries:
        # No overload protection is asked for where the load cannot overload (IEC 60364-4-43, 433.3.1;
        # from memory).
        return Severity.note, (
            f"What is behind it draws {number(most)} A at the most, and a dead short "
            f"({number(flows)} A) opens the fuse within {seconds(opens)}, soon enough."
        )
    return Severity.doubtful, (
        f"A dead short at {end} ({number(flows)} A) opens it within {seconds(opens)}, soon "
        "enough; an overload between the two does not."
    )


def _dead_short(design: Design, name: str, guard: Guard) -> tuple[str, Live]:
    """A short to the body at that end of a wire that the current reaches through it."""
    wire, scene = design.harness.wires[name], guard.scene
    cases = [
        (end, design.with_change(scene, bridge("inspect", end, CHASSIS)(scene.circuit.branches, 0.0)))
        for end in (wire.end, wire.start)
    ]
    return max(cases, key=lambda one: one[1].amps(name))


def _held(design: Design, wire: str) -> tuple[str, float, float]:
    """The locked motor that loads a wire longest: in what case, current [A], until a fuse opens [s]."""
    cases = [
        (f"{motor} locked", held.amps(wire), shortest_opening(design, held))
        for motor, pairs in design.locked.items()
        for _, held in pairs
    ]
    # The heating counts: current squared for as long as it flows, half an hour being for good.
    return max(cases, key=lambda one: one[1] ** 2 * min(one[2], 1800.0), default=("", 0.0, 0.0))


@rule(
    "fuse-running",
    Severity.serious,
    "A fuse carries its running current with room to spare.",
    source="70 to 80 % of the rating continuously: common practice, no source",
    limits=("fuse-share",),
)
def fuse_running(design: Design) -> Iterator[Finding]:
    """Fuses whose largest running current is over the share of their rating."""
    share = design.limits["fuse-share"]
    for name, rating in design.fuses.items():
        amps, scene = design.most(f"{name}:element")
        if amps > share * rating:
            yield Finding(
                "fuse-running",
                name,
                Severity.serious if amps > rating else Severity.doubtful,
                f"{rating:g} A, carries {number(amps)} A ({scene}); continuously it takes "
                f"{number(share * rating)} A. It ages and opens without a fault.",
                amps,
                share * rating,
                "A",
            )


def _times(share: float) -> str:
    return "all of" if share < 1.05 else f"{share:.1f} times"


@rule(
    "fuse-starting",
    Severity.doubtful,
    "A fuse outlasts the starting current of the motors behind it, all starting at once.",
    source="shortest opening times of ISO 8820-3, from memory; the fall of the starting current: "
    "common practice, no source",
    limits=("run-up",),
)
def fuse_starting(design: Design) -> Iterator[Finding]:
    """Fuses whose shortest opening time the falling current uses up, shares of it added."""
    worst: dict[str, tuple[float, float, str]] = {}
    for sound, start in zip(design.running, design.starting, strict=True):
        for name, rating in design.fuses.items():
            key = f"{name}:element"
            used = wear_of_start(rating, start.amps(key), sound.amps(key), design.limits["run-up"])
            if used > worst.get(name, (0.0, 0.0, ""))[0]:
                worst[name] = (used, start.amps(key), sound.words)
    for name, (used, amps, scene) in worst.items():
        if used >= 1:
            yield Finding(
                "fuse-starting",
                name,
                Severity.doubtful,
                f"{design.fuses[name]:g} A, sees {number(amps)} A as the motors start ({scene}) and "
                "may open "
                f"from that alone: {_times(used)} what the quickest fuse of its type must stand."
                f"{_outlasting(design, name)}",
                used,
                1.0,
                "",
            )


def _outlasting(design: Design, name: str) -> str:
    """What to do about it: the fuse that outlasts the start, which its wires must be made for."""
    larger = (one for one in STANDARD_FUSES if one > design.fuses[name])
    size = next((one for one in larger if _wear(design, f"{name}:element", one) < 1), None)
    ways = ["Fit a slow one of the same rating"]
    ways += [f"one of {size:g} A where every wire behind it carries that continuously"] if size else []
    return f" {', or '.join(ways)}."


def wear_of_start(rating: float, start: float, run: float, constant: float) -> float:
    """Share of a fuse's shortest life that one start uses up [1].

    The current falls as ``run + (start - run) exp(-t / constant)``; each instant counts with its
    length over the shortest opening time at its current (shares of damage added, after Miner).

    :param rating: of the fuse [A]
    :param start: at the first instant [A]
    :param run: when the motors run [A]
    :param constant: time constant of the fall [s]
    """
    steps = 400
    length = 6 * constant / steps
    total = 0.0
    for step in range(steps):
        amps = run + (start - run) * math.exp(-(step + 0.5) * length / constant)
        total += length / opens_not_before(rating, amps)
    return total


def shortest_opening(design: Design, scene: Live) -> float:
    """The time by which some fuse must have opened in a scene [s]; infinite if none need."""
    times = [
        opens_at_latest(rating, scene.amps(f"{name}:element")) for name, rating in design.fuses.items()
    ]
    return min(times, default=math.inf)
