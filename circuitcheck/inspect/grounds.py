"""Volts lost on the way to a motor and back, and grounds that heavy and sensing circuits share."""

from __future__ import annotations

from collections.abc import Iterator

from circuitcheck.circuit.circuit import conducts
from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import listed, number
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.parts.ground import Ground
from circuitcheck.parts.module import Module
from circuitcheck.physics.branch import Conductor


def _full_of(design: Design, motor: str) -> Live | None:
    """The scene in which a motor draws most."""
    running = [one for one in design.running if design.runs(one, motor)]
    return max(running, key=lambda one: round(one.amps(f"{motor}:motor"), 6), default=None)


@rule(
    "feed-drop",
    Severity.doubtful,
    "Little is lost between battery plus and a motor at full load.",
    source="common practice, no source; open texts disagree",
    limits=("feed-drop",),
)
def feed_drop(design: Design) -> Iterator[Finding]:
    """Motors whose feed loses too much where they draw most."""
    yield from _drops(design, "feed-drop", "+", "from battery plus to its plus terminal")


@rule(
    "ground-drop",
    Severity.doubtful,
    "Little is lost between a motor and battery minus at full load.",
    source="0.1 to 0.5 V in open service texts, read; common practice",
    limits=("ground-drop", "contact-drop"),
)
def ground_drop(design: Design) -> Iterator[Finding]:
    """Motors whose return loses too much where they draw most."""
    yield from _drops(design, "ground-drop", "-", "from its minus terminal to battery minus")


def _drops(design: Design, rule_id: str, pin: str, way: str) -> Iterator[Finding]:
    each = design.limits[rule_id] * design.harness.volts / 12
    for motor in design.motors:
        scene = _full_of(design, motor)
        if scene is None:
            continue
        node = design.harness.parts[motor].own(motor, pin)
        ends = (design.plus, node) if pin == "+" else (node, design.minus)
        lost = scene.point.between(*ends)
        allowed = each
        if pin == "-" and not _grounded_for_good(design, motor):
            allowed += design.limits["contact-drop"] * design.harness.volts / 12
        if lost > allowed:
            amps = scene.amps(f"{motor}:motor")
            yield Finding(
                rule_id,
                motor,
                Severity.doubtful,
                f"loses {number(lost)} V {way} at {number(amps)} A ({scene.words}); {number(allowed)} "
                "V is the usual most. Fit thicker wire on that way, or fewer joints.",
                lost,
                allowed,
                "V",
            )


def _grounded_for_good(design: Design, motor: str) -> bool:
    """Whether wires alone join a motor's minus to a ground point or to battery minus."""
    sets = design.wire_sets
    homes = {sets.root(design.minus)} | {sets.root(f"{name}.31") for name, _ in design.parts(Ground)}
    return sets.root(f"{motor}.-") in homes


@rule(
    "shared-ground",
    Severity.doubtful,
    "A sensing circuit does not share its ground joint, or a ground wire, with a heavy one.",
    source="common practice, no source",
    limits=("heavy", "aged-joint"),
)
def shared_ground(design: Design) -> Iterator[Finding]:
    """Ground points whose wires carry heavy current and a module's or coil's current together."""
    full = design.full
    if full is None:
        return
    for ground, _ in design.parts(Ground):
        scene = max(design.running, key=lambda one: round(one.amps(f"{ground}:joint"), 6))
        heavy = scene.amps(f"{ground}:joint")
        if heavy < design.limits["heavy"]:
            continue
        sensing = _sensing(design, scene, f"{ground}.31")
        if not sensing:
            continue
        rise = heavy * design.limits["aged-joint"]
        module = any(isinstance(design.harness.parts[one], Module) for one in sensing)
        yield Finding(
            "shared-ground",
            ground,
            Severity.doubtful if module else Severity.note,
            f"carries {number(heavy)} A ({scene.words}) and is also the ground of {listed(sensing)}. "
            "When "
            f"the joint has aged to {design.limits['aged-joint']:g} ohm, that lifts their ground by "
            f"{number(rise)} V. Give them a ground of their own.",
            heavy,
            design.limits["heavy"],
            "A",
        )


def _sensing(design: Design, scene: Live, ground: str) -> list[str]:
    """Parts with a coil or an input whose current leaves through a ground terminal."""
    import networkx as nx  # noqa: PLC0415

    graph = nx.Graph()
    for key, branch in scene.circuit.branches.items():
        if (
            key not in design.loads
            and isinstance(branch, Conductor)
            and conducts(branch, scene.point.states)
        ):
            graph.add_edge(branch.tail, branch.head)
    graph.remove_nodes_from([node for node in (CHASSIS, design.plus, design.minus) if node in graph])
    if ground not in graph:
        return []
    near = nx.node_connected_component(graph, ground)
    found = []
    for key, name in design.loads.items():
        load = scene.circuit.branches.get(key)
        coil_or_input = key == f"{name}:coil" or isinstance(design.harness.parts[name], Module)
        if load is None or not coil_or_input or name in found:
            continue
        lower = load.head if scene.point.between(load.tail, load.head) >= 0 else load.tail
        if lower in near and scene.amps(key) > 0:
            found.append(name)
    return found
