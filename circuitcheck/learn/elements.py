"""The circuit as a student draws it: sources, loads, and each run of wires and joints as one.

Every branch is taken as a resistance behind an emf at its operating point, as the twin takes it
(:func:`circuitcheck.solve.twin.linear_at`).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from fractions import Fraction

from circuitcheck.circuit.circuit import conducts
from circuitcheck.learn.subject import Subject
from circuitcheck.physics.branch import Branch, Conductor, Source
from circuitcheck.solve.twin import linear_at

RUN_OHM = 0.05
"""A conductor from this up stands for itself and is not lumped [ohm]; common practice, no source."""

STILL = 1e-9
"""A smaller emf is what rounding leaves of none: a motor at rest [V]."""


@dataclass(frozen=True)
class Element:
    """A resistance behind an emf between two nodes: ``i = (v - emf) / ohm`` from tail to head.

    :param ohm_name: symbol of its resistance
    :param emf_name: symbol of its emf; empty if it has none
    :param members: the branches in it, in their order
    :param amps: what the solver says it carries, tail to head [A]
    :param lump: a run of wires and joints
    """

    ohm_name: str
    emf_name: str
    words: str
    tail: str
    head: str
    ohm: Fraction
    emf: Fraction
    members: tuple[str, ...]
    amps: float
    lump: bool

    def flipped(self) -> Element:
        """The same, seen from its other end."""
        return replace(
            self,
            tail=self.head,
            head=self.tail,
            emf=-self.emf,
            amps=-self.amps,
            members=self.members[::-1],
        )


def elements_around(subject: Subject) -> list[Element]:
    """The elements that bear on the branch in question, lumped and named.

    What hangs on by one node only, or stands on an island of its own, carries no current that
    matters there; biconnected components of the graph tell it apart.
    """
    branches = {
        key: one
        for key, one in subject.circuit.branches.items()
        if conducts(one, subject.point.states) and one.tail != one.head
    }
    target = branches[subject.target]
    keys = _block(branches, {target.tail, target.head})
    singles = [_single(subject, key, branches[key]) for key in keys]
    keep = {
        node for start, end, key in walk_between(subject, set(keys)) for node in (start, end) if not key
    }
    return _named(subject, _merged(singles, keep | set(subject.probes or ())))


def walk_between(subject: Subject, block: set[str]) -> list[tuple[str, str, str]]:
    """The way from one probe to the other as (from, to, branch); no key where nothing flows.

    :param block: keys of the branches that carry current
    """
    import networkx as nx  # noqa: PLC0415

    if subject.probes is None:
        return []
    graph = subject.circuit.graph(subject.point.states)
    nodes = nx.shortest_path(graph, *subject.probes)
    steps = []
    for start, end in itertools.pairwise(nodes):
        carrying = [key for key in graph[start][end] if key in block]
        steps.append((start, end, carrying[0] if carrying else ""))
    return steps


def _block(branches: dict[str, Branch], ends: set[str]) -> list[str]:
    """Keys of the branches in the same biconnected component as an edge between two nodes."""
    import networkx as nx  # noqa: PLC0415

    graph = nx.Graph((one.tail, one.head) for one in branches.values())
    (nodes,) = (part for part in nx.biconnected_components(graph) if ends <= part)
    return [key for key, one in branches.items() if one.tail in nodes and one.head in nodes]


def _single(subject: Subject, key: str, branch: Branch) -> Element:
    point = subject.point
    ohm, emf = linear_at(branch, point.between(branch.tail, branch.head), point.amps[key])
    if abs(emf) < STILL:
        emf = Fraction(0)
    small = isinstance(branch, Conductor) and branch.ohm < RUN_OHM and key not in subject.altered
    return Element("", "", "", branch.tail, branch.head, ohm, emf, (key,), point.amps[key], small)


def _merged(singles: list[Element], keep: set[str]) -> list[Element]:
    """Small conductors in line become one, as far as nothing else joins them."""
    found = dict(enumerate(singles))
    at: dict[str, set[int]] = {}
    for number, one in found.items():
        for node in (one.tail, one.head):
            at.setdefault(node, set()).add(number)
    for node, numbers in at.items():
        if len(numbers) != 2 or node in keep:
            continue
        first, second = (found[number] for number in sorted(numbers))
        if not (first.lump and second.lump) or {first.tail, first.head} == {second.tail, second.head}:
            continue
        keep_number, gone = sorted(numbers)
        before = first if first.head == node else first.flipped()
        after = second if second.tail == node else second.flipped()
        found[keep_number] = replace(
            before,
            head=after.head,
            ohm=before.ohm + after.ohm,
            members=before.members + after.members,
        )
        del found[gone]
        at[after.head] = (at[after.head] - {gone}) | {keep_number}
    return list(found.values())


# -- names -----------------------------------------------------------------------------------------


def _named(subject: Subject, elements: list[Element]) -> list[Element]:
    """Runs are pointed the way their current goes and numbered in its order."""
    turned = [one.flipped() if _is_plain(subject, one) and one.amps < 0 else one for one in elements]
    ordered = sorted(turned, key=lambda one: -_level(subject, one))
    loaded = _before_a_load(subject, ordered)
    found: list[Element] = []
    taken: set[str] = set()
    runs = 0
    for one in ordered:
        if one.lump:
            runs += 1
            name, words = f"r{runs}", _run_words(subject, one, feed=one.head in loaded)
            found.append(replace(one, ohm_name=name, words=words))
        else:
            found.append(_own_name(subject, one, taken))
    return found


def _is_plain(subject: Subject, one: Element) -> bool:
    return isinstance(subject.circuit.branches[one.members[0]], Conductor)


def _level(subject: Subject, one: Element) -> float:
    """Volts of the upper end: along the current they only fall."""
    volts = subject.point.volts
    high = max(volts[one.tail], volts[one.head])
    # A tie (no current) keeps the order of the circuit; the source comes first.
    source = isinstance(subject.circuit.branches[one.members[0]], Source)
    return high + (1e-3 if source else 0.0)


def _before_a_load(subject: Subject, elements: list[Element]) -> set[str]:
    """Nodes from which the current still has a load before it."""
    wanting = {
        one.tail if one.amps >= 0 else one.head
        for one in elements
        if not one.lump and _is_load(subject, one)
    }
    steps = [
        (one.tail, one.head) if one.amps >= 0 else (one.head, one.tail)
        for one in elements
        if not isinstance(subject.circuit.branches[one.members[0]], Source)
    ]
    while more := {start for start, end in steps if end in wanting} - wanting:
        wanting |= more
    return wanting


def _is_load(subject: Subject, one: Element) -> bool:
    branch = subject.circuit.branches[one.members[0]]
    if isinstance(branch, Conductor):
        return not set(one.members) & (subject.altered | {"meter"})
    return not isinstance(branch, Source)


def _run_words(subject: Subject, one: Element, *, feed: bool) -> str:
    role = "feed" if feed else "return"
    start, end = place_of(one.tail), place_of(one.head)
    wires = sum(key in subject.harness.wires for key in one.members)
    known = subject.harness.parts
    leads = sum(place_of(key) not in known for key in one.members) - wires
    joints = len(one.members) - wires - leads
    listed = ((wires, "wire"), (joints, "joint"), (leads, "jumper lead"))
    counts = [f"{count} {word}{'s' if count > 1 else ''}" for count, word in listed if count]
    where = f"within {start}" if start == end else f"from {start} to {end}"
    return f"{role} {where}: {', '.join(counts)}"


def place_of(node: str) -> str:
    """The part that a node belongs to."""
    return node.partition(".")[0].partition(":")[0]


def _own_name(subject: Subject, one: Element, taken: set[str]) -> Element:
    key = one.members[0]
    branch = subject.circuit.branches[key]
    part = place_of(key)
    label = _free(part if key.count(":") == 0 or part in subject.harness.parts else key, key, taken)
    taken.add(label)
    known = subject.harness.parts.get(part)
    kind = known.kind_name if known else "wire" if part in subject.harness.wires else ""
    ohm_name = label if label.startswith("R") else f"R_{label}"
    ending = key.partition(":")[2]
    ending = "" if ending in ("element", kind) else ending
    words = " ".join(word for word in (kind, key.partition(":")[0], ending) if word)
    if key == "meter":
        words, ohm_name = _meter_words(branch), "R_meter"
    elif key in subject.altered:
        words = f"{words}, the fault"
    letter = "V" if isinstance(branch, Source) else "E"
    emf_name = f"{letter}_{label}" if one.emf else ""
    return replace(one, ohm_name=ohm_name, emf_name=emf_name, words=words)


def _meter_words(branch: Branch) -> str:
    if isinstance(branch, Source):
        return "the ohmmeter's own cell"
    return "the voltmeter's input" if isinstance(branch, Conductor) else "the test lamp"


def _free(wanted: str, key: str, taken: set[str]) -> str:
    """A label for symbols: the part's name, or with what follows if that is taken."""
    plain = "".join(letter for letter in wanted if letter.isalnum())
    if plain not in taken:
        return plain
    ending = key.partition(":")[2] or key.partition(".")[2]
    longer = plain + "".join(letter for letter in ending if letter.isalnum())
    number = 2
    while longer in taken:
        longer, number = f"{plain}x{number}", number + 1
    return longer
