"""Paths: current that gets where it should not, and parts on which everything depends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.guards import guards
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import listed, number

LOAD_WEIGHT = 1000
"""A way through another load counts as longer than any way along wires and contacts."""
CHANGED = 1e-3
"""A load whose current a break changes by less than this share is fed as before."""
SHARE_OF_FEED = 0.2
"""A branch that brings less than this share of a load's current is not what feeds it."""


@rule(
    "sneak-path",
    Severity.serious,
    "Neither in use nor with a single break is a motor, lamp, coil or input fed through another.",
    source="from what share of its own current on a load counts as fed: common practice, no source",
    limits=("sneak-share",),
)
def sneak_path(design: Design) -> Iterator[Finding]:
    """Each way by which loads come to feed each other, with the terminals that the current passes.

    Loads of one kind that a state of use puts in series (two fans at low speed) are so on purpose.
    """
    usual = {key: _fullest(design, key) for key in design.loads}
    told: set[frozenset[str]] = set()
    for scene in design.distinct:
        for key in design.loads:
            if _is_on(design, usual, scene, key):
                loads = _together(design, scene, key)
                if loads in told:
                    continue
                told.add(loads)
                if _backwards(usual, scene, key) or len(_kinds(design, loads)) > 1:
                    yield _sneak(design, "", scene, key)
    for spec, sound, after in design.broken:
        for key in design.loads:
            changed = abs(after.amps(key) - sound.amps(key)) > CHANGED * sound.amps(key)
            backwards = _backwards(usual, after, key)
            if not _is_on(design, usual, after, key) or not (changed or backwards):
                continue
            loads = _together(design, after, key)
            if loads not in told and (len(loads) > 1 or backwards):
                told.add(loads)
                yield _sneak(design, spec, after, key)


def _backwards(usual: Mapping[str, Live], scene: Live, key: str) -> bool:
    """Whether a load's current goes the other way than where it is largest."""
    return scene.point.amps.get(key, 0.0) * usual[key].point.amps.get(key, 0.0) < 0


def _kinds(design: Design, loads: Iterable[str]) -> set[str]:
    return {design.harness.parts[one].kind_name for one in loads}


def _fullest(design: Design, key: str) -> Live:
    return max(design.scenes, key=lambda one: round(one.amps(key), 9))


def _is_on(design: Design, usual: Mapping[str, Live], scene: Live, key: str) -> bool:
    own = usual[key].amps(key)
    return scene.amps(key) > max(design.limits["sneak-share"] * own, 1e-3)


def _together(design: Design, scene: Live, key: str) -> frozenset[str]:
    """The parts that a load's current passes, its own among them."""
    return frozenset((design.loads[key], *_loads_on(design, scene, _way(design, scene, key))))


def _sneak(design: Design, spec: str, after: Live, key: str) -> Finding:
    name, way = design.loads[key], _way(design, after, key)
    through = [one for one in _loads_on(design, after, way) if one != name]
    by = f"through {listed(through)}" if through else "backwards"
    case = f"with {spec} ({after.words})" if spec else f"all sound ({after.words})"
    path = tuple(one for one in way if "/" not in one and ":" not in one)
    return Finding(
        "sneak-path",
        name,
        Severity.doubtful if spec else Severity.serious,
        f"{case}, {number(after.amps(key))} A reach it {by}. Keep the two circuits apart with a diode, "
        "a "
        "contact, or a ground for each.",
        after.amps(key),
        None,
        "A",
        path,
    )


def _way(design: Design, scene: Live, key: str) -> list[str]:
    """The nodes that a load's current passes, following it as it flows; empty if it has no way."""
    import networkx as nx  # noqa: PLC0415

    least = SHARE_OF_FEED * scene.amps(key)
    graph = nx.DiGraph()
    cells = f"{design.harness.supply.battery}:cells"
    for one, branch in scene.circuit.branches.items():
        amps = scene.point.amps.get(one, 0.0)
        if abs(amps) < least or one == cells:
            continue
        ends = (branch.tail, branch.head) if amps > 0 else (branch.head, branch.tail)
        weight = LOAD_WEIGHT if one in design.loads and one != key else 1
        if not graph.has_edge(*ends) or graph.edges[ends]["weight"] > weight:
            graph.add_edge(*ends, weight=weight)
    branch = scene.circuit.branches[key]
    ends = (branch.tail, branch.head) if scene.point.amps[key] > 0 else (branch.head, branch.tail)
    try:
        there = nx.shortest_path(graph, design.plus, ends[0], weight="weight")
        back = nx.shortest_path(graph, ends[1], design.minus, weight="weight")
    except (nx.NetworkXNoPath, nx.NodeNotFound):
        return []
    return [*there, *back]


def _loads_on(design: Design, scene: Live, way: list[str]) -> list[str]:
    """The parts whose loads lie on a way, in its order, each once."""
    steps = set(pairwise(way))
    found: dict[int, str] = {}
    for key, name in design.loads.items():
        branch = scene.circuit.branches.get(key)
        if branch is None:
            continue
        for step in ((branch.tail, branch.head), (branch.head, branch.tail)):
            if step in steps:
                found[way.index(step[0])] = name
    return list(dict.fromkeys(found[place] for place in sorted(found)))


@rule(
    "two-feeds",
    Severity.doubtful,
    "Pulling one fuse makes what is behind it dead.",
    source="common practice, no source",
)
def two_feeds(design: Design) -> Iterator[Finding]:
    """Fuses side by side: wires that stay live over the other fuse."""
    found: dict[tuple[str, ...], list[str]] = {}
    for name, guard in guards(design).items():
        if len(guard.fuses) > 1:
            found.setdefault(tuple(sorted(guard.fuses)), []).append(name)
    for fuses, wires in found.items():
        yield Finding(
            "two-feeds",
            fuses[0],
            Severity.doubtful,
            f"{listed(fuses)} feed {listed(wires)} side by side: with one of them pulled or blown the "
            "other keeps it live, and carries all of it.",
        )


@rule(
    "single-point",
    Severity.note,
    "Which single breaks stop every fan.",
    source="worked out; no limit",
)
def single_point(design: Design) -> Iterator[Finding]:
    """Parts and wires of which one break alone leaves no motor running, where all should run."""
    full = max(
        (one for one in design.distinct if any(design.runs(one, m) for m in design.motors)),
        key=lambda one: round(sum(one.amps(f"{m}:motor") for m in design.motors), 6),
        default=None,
    )
    if full is None:
        return
    lost: dict[str, list[str]] = {}
    for spec, sound, after in design.broken:
        if sound is full and not any(design.runs(after, motor) for motor in design.motors):
            lost.setdefault(spec.split(" ")[0].split(".")[0], []).append(spec)
    stops = f"{listed([one for one in design.motors if design.runs(full, one)])} stop"
    for place, specs in lost.items():
        more = f" (and {len(specs) - 1} more of its breaks)" if len(specs) > 1 else ""
        yield Finding(
            "single-point",
            place,
            Severity.note,
            f"{specs[0]}{more}: {stops if len(design.motors) > 1 else stops + 's'}.",
        )
