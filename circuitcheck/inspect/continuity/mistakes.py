"""What goes wrong when a loom is made, each as a pure change of the loom as wired.

The weights say how often against each other; common practice, no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

from circuitcheck.inspect.continuity.wiring import Element, Wiring, element_of
from circuitcheck.parts.fault import FaultMode

STRAND_OHM = 0.01
"""A strand or a blob of solder between two terminals [ohm]; common practice, no source."""
LEAST_SEEN = 0.3
"""A change below this is hidden by a common meter and its probes [ohm]; common practice, no source."""

Overlay = dict[str, "Element | None"]


@dataclass(frozen=True, slots=True)
class Move:
    """One end of a wire sits at another node."""

    wire: str
    side: int
    node: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """What is crimped to one terminal sits in the place of the other, and the other way round."""

    one: str
    other: str


@dataclass(frozen=True, slots=True)
class PushOut:
    """A terminal makes no contact: its wires hang together, but not on the pin."""

    node: str


@dataclass(frozen=True, slots=True)
class Put:
    """Some elements replaced, added, or (None) taken out."""

    elements: tuple[tuple[str, Element | None], ...]


@dataclass(frozen=True, slots=True)
class Ohms:
    """An element has another resistance [ohm], known no better than the meter that found it."""

    key: str
    ohm: float
    spread: float


Edit = Move | Exchange | PushOut | Put | Ohms


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake.

    :param spec: its short name, ``W3 open`` or ``S1.1 and S1.2 swapped``
    :param words: what is wrong, as a sentence without its full stop
    :param value_of: the element whose resistance is unknown, if the mistake has a value
    :param joint: the two points, if it is an extra joint
    """

    spec: str
    words: str
    weight: float
    edits: tuple[Edit, ...]
    value_of: str = ""
    joint: tuple[str, str] | None = None

    def valued(self, ohm: float, spread: float) -> Mistake:
        """With the value of its element [ohm] and the standard uncertainty of that."""
        words = f"{self.words} (about {ohm:.2g} ohm)"
        return replace(self, words=words, edits=(Ohms(self.value_of, ohm, spread),), value_of="")


def applied(drawn: Wiring, overlay: Overlay, mistake: Mistake) -> Overlay:
    """The changes so far and one mistake more."""
    found = dict(overlay)
    for edit in mistake.edits:
        found.update(_change(drawn, found, edit))
    return found


def _change(drawn: Wiring, overlay: Overlay, edit: Edit) -> Overlay:
    if isinstance(edit, Put):
        return dict(edit.elements)
    if isinstance(edit, Ohms):
        one = _now(drawn, overlay, edit.key)
        return {} if one is None else {edit.key: replace(one, ohm=edit.ohm, spread=edit.spread)}
    if isinstance(edit, Move):
        one = _now(drawn, overlay, edit.wire)
        return {} if one is None else {edit.wire: one.moved(edit.side, edit.node)}
    if isinstance(edit, PushOut):
        return {
            key: _renamed(one, {edit.node: f"{edit.node} out"})
            for key, one in _wires_at(drawn, overlay, edit.node)
        }
    turned = {edit.one: edit.other, edit.other: edit.one}
    both = [*_wires_at(drawn, overlay, edit.one), *_wires_at(drawn, overlay, edit.other)]
    return {key: _renamed(one, turned) for key, one in both}


def _now(drawn: Wiring, overlay: Overlay, key: str) -> Element | None:
    return overlay[key] if key in overlay else drawn.elements.get(key)


def _renamed(one: Element, nodes: dict[str, str]) -> Element:
    return replace(one, tail=nodes.get(one.tail, one.tail), head=nodes.get(one.head, one.head))


def _wires_at(drawn: Wiring, overlay: Overlay, node: str) -> list[tuple[str, Element]]:
    """The wires at a terminal after the changes so far."""
    keys = [key for key in drawn.at.get(node, ()) if key not in overlay]
    found = [(key, drawn.elements[key]) for key in keys if key in drawn.harness.wires]
    found += [
        (key, one)
        for key, one in overlay.items()
        if one is not None and node in (one.tail, one.head) and key in drawn.harness.wires
    ]
    return found


class Library:
    """Every mistake that a loom can have, each once."""

    def __init__(self, drawn: Wiring) -> None:
        self.drawn = drawn
        harness = drawn.harness
        self.splices = [
            name for name, part in harness.parts.items() if part.joins_wires and not part.loom_ends(name)
        ]
        self.eyelets = [
            end
            for name, part in harness.parts.items()
            if part.joins_wires
            for end in part.loom_ends(name)
        ]
        self.housings = _housings(drawn)
        self.ground = {drawn.net_of[end] for end in (*self.eyelets, f"{harness.supply.battery}.-")}
        self.supply = drawn.net_of[f"{harness.supply.battery}.+"]
        self.mistakes = [
            *self._wires(),
            *self._pushed_out(),
            *self._swaps(),
            *self._wrong_places(),
            *self._joints(),
            *self._parts(),
        ]

    def colour(self, wire: str) -> str:
        """``W3 (RD/BK)``."""
        colour = self.drawn.harness.wires[wire].colour
        return f"{wire} ({colour})" if colour else wire

    def at(self, node: str) -> str:
        """``W3 (RD/BK)``, or all the wires at a terminal."""
        keys = [key for key in self.drawn.at.get(node, ()) if key in self.drawn.harness.wires]
        return " and ".join(self.colour(key) for key in keys) or "nothing"

    def _wires(self) -> Iterator[Mistake]:
        for key, wire in self.drawn.harness.wires.items():
            way = f"{self.colour(key)} from {wire.start} to {wire.end}"
            yield Mistake(
                f"{key} open",
                f"{way} is missing, broken, or has a crimp without contact",
                1.0,
                (Put(((key, None),)),),
            )
            yield Mistake(
                f"{key} high resistance",
                f"{way} or one of its joints has too much resistance",
                0.7,
                (),
                key,
            )

    def _pushed_out(self) -> Iterator[Mistake]:
        wires = self.drawn.harness.wires
        for node, keys in self.drawn.at.items():
            if node in self.drawn.pieces and sum(key in wires for key in keys) > 1:
                yield Mistake(
                    f"{node} pushed out",
                    f"the terminal of {self.at(node)} makes no contact at {node}: its wires hang "
                    "together, but not on it",
                    0.4,
                    (PushOut(node),),
                )

    def _swaps(self) -> Iterator[Mistake]:
        place = {end: number for number, one in enumerate(self.housings) for end in one}
        where = {end: self.drawn.harness.parts[end.partition(".")[0]].where for end in place}
        for one, other in itertools.combinations(place, 2):
            if self.drawn.pieces[one] != self.drawn.pieces[other]:
                continue
            if self.drawn.empty(one) and self.drawn.empty(other):
                continue
            together = place[one] == place[other]
            if self.drawn.empty(one) or self.drawn.empty(other):
                if together:
                    yield self._cavity(*((other, one) if self.drawn.empty(one) else (one, other)))
                continue
            box = where[one] is not None and where[one] == where[other]
            yield Mistake(
                f"{one} and {other} swapped",
                f"the terminals of {self.at(one)} and {self.at(other)} are swapped: each sits where the "
                f"other belongs, {one} and {other}",
                1.0 if together else 0.5 if box else 0.05,
                (Exchange(one, other),),
            )

    def _cavity(self, right: str, wrong: str) -> Mistake:
        words = f"{self.at(right)} sits in cavity {wrong} and not in {right}"
        return Mistake(f"{right} in {wrong}", words, 0.7, (Exchange(right, wrong),))

    def _ends_at(self, places: set[str]) -> list[tuple[str, int, str]]:
        """Wire, side and node for each wire end at some parts."""
        return [
            (key, side, node)
            for key, wire in self.drawn.harness.wires.items()
            for side, node in enumerate((wire.start, wire.end))
            if node.partition(".")[0] in places
        ]

    def _wrong_places(self) -> Iterator[Mistake]:
        """Wires in the wrong splice, two wires in each other's splice, and the same for eyelets."""
        yield from self._wrong_splices()
        if not self.drawn.fitted:
            yield from self._wrong_eyelets()

    def _wrong_splices(self) -> Iterator[Mistake]:
        ends = self._ends_at(set(self.splices))
        first = {name: f"{name}.{self.drawn.harness.parts[name].pins()[0]}" for name in self.splices}
        for key, side, node in ends:
            right = node.partition(".")[0]
            for wrong in self.splices:
                if wrong != right and self._same_piece(key, first[wrong]):
                    words = f"{self.colour(key)} is joined into splice {wrong} and not into {right}"
                    move = Move(key, side, first[wrong])
                    yield Mistake(f"{key} in {wrong} for {right}", words, 0.5, (move,))
        for (key, side, node), (other, its, there) in itertools.combinations(ends, 2):
            one, two = node.partition(".")[0], there.partition(".")[0]
            if one != two and key != other and self._same_piece(key, there):
                words = f"{self.colour(key)} and {self.colour(other)} are each in the other's splice"
                moves = (Move(key, side, there), Move(other, its, node))
                yield Mistake(
                    f"{key} and {other} swapped between {one} and {two}",
                    f"{words}, {one} and {two}",
                    0.3,
                    moves,
                )

    def _wrong_eyelets(self) -> Iterator[Mistake]:
        for one, two in itertools.combinations(self.eyelets, 2):
            words = f"the eyelets of {self.at(one)} and {self.at(two)} have each other's place"
            yield Mistake(
                f"{one} and {two} swapped", f"{words}, {one} and {two}", 0.3, (Exchange(one, two),)
            )
        for key, side, node in self._ends_at({end.partition(".")[0] for end in self.eyelets}):
            for wrong in self.eyelets:
                if wrong != node:
                    words = f"{self.colour(key)} is crimped into the eyelet {wrong} and not {node}"
                    yield Mistake(f"{key} on {wrong} for {node}", words, 0.5, (Move(key, side, wrong),))

    def _same_piece(self, wire: str, node: str) -> bool:
        """Whether a wire and a node are in one piece, told by the ends of their nets."""
        nets = [self.drawn.net_of[one] for one in (self.drawn.elements[wire].tail, node)]
        ends = [self.drawn.nets[net] for net in nets]
        return all(ends) and self.drawn.pieces[ends[0][0]] == self.drawn.pieces[ends[1][0]]

    def _joints(self) -> Iterator[Mistake]:
        seen = set()
        for housing in self.housings:
            for one, other in itertools.combinations(housing, 2):
                nets = frozenset((self.drawn.net_of[one], self.drawn.net_of[other]))
                if len(nets) == 2 or self._resistive(one, other):
                    seen.add(nets)
                    yield self._joint(one, other, beside=True)
        for nets_here in self.drawn.pieces_with_nets().values():
            for ends, others in itertools.combinations(nets_here, 2):
                nets = frozenset((self.drawn.net_of[ends[0]], self.drawn.net_of[others[0]]))
                if nets not in seen and not ends[0].endswith("/part"):
                    yield self._joint(ends[0], others[0], beside=False)

    def _resistive(self, one: str, other: str) -> bool:
        """Whether the two are of one net, but with something more than copper between them."""
        net = self.drawn.net_of[one]
        if net != self.drawn.net_of[other]:
            return False
        wires = set(self.drawn.harness.wires)
        return any(
            key not in wires and element.ohm >= 0.05
            for key, element in self.drawn.elements.items()
            if self.drawn.net_of[element.tail] == net
        )

    def _joint(self, one: str, other: str, *, beside: bool) -> Mistake:
        nets = {self.drawn.net_of[one], self.drawn.net_of[other]}
        what, weight = "an extra joint", 0.1
        if nets & self.ground:
            what, weight = "a short to ground", 0.2
        elif self.supply in nets:
            what, weight = "a short to supply", 0.2
        text = f"{what}: {self.at(one)} at {one} touches {self.at(other)} at {other}"
        if beside:
            text += ", by a strand across the two cavities or anywhere along the two"
            weight += 0.2
        else:
            text += ", or anywhere along the two"
        joint = Element(one, other, STRAND_OHM)
        return Mistake(
            f"{one} joined to {other}",
            text,
            weight,
            (Put(((f"{one} - {other}", joint),)),),
            joint=(one, other),
        )

    def elsewhere(self, joint: Mistake) -> Iterator[Mistake]:
        """The same extra joint at the other ends of its two nets; beside another mistake, it matters."""
        assert joint.joint is not None
        nets = [self.drawn.net_of[end] for end in joint.joint]
        if nets[0] == nets[1]:
            return
        for one, other in itertools.product(self.drawn.nets[nets[0]], self.drawn.nets[nets[1]]):
            if (one, other) != joint.joint:
                yield self._joint(one, other, beside=False)

    def _parts(self) -> Iterator[Mistake]:
        for name, part in self.drawn.harness.parts.items():
            if part.joins_wires and not part.loom_ends(name):
                continue  # an open joint of a splice is an open wire
            for weight, faults in ((0.5, part.faults(name)), (1.0, part.misfits(name))):
                for fault in faults:
                    if not fault.while_there:  # on a bench it is there, or it cannot be found
                        yield from self._part(fault, weight)

    def _part(self, fault: FaultMode, weight: float) -> Iterator[Mistake]:
        branches = self.drawn.circuit.branches
        value = fault.severity.typical if fault.severity else 0.0
        change: Overlay = {}
        for key, branch in fault.change(branches, value).items():
            new = None if branch is None else element_of(self.drawn.circuit, branch)
            if _differs(self.drawn.elements.get(key), new):
                change[key] = new
        known = self.drawn.elements
        if not change or any(key not in known and one is None for key, one in change.items()):
            return
        if fault.severity is None:
            yield Mistake(fault.spec, fault.words, weight, (Put(tuple(change.items())),))
        elif len(change) == 1 and next(iter(change)) in known:
            yield Mistake(fault.spec, fault.words, weight, (), next(iter(change)))


def _differs(old: Element | None, new: Element | None) -> bool:
    """Whether a meter could tell the two apart."""
    if old is None or new is None:
        return old is not new
    ends = (old.tail, old.head, old.diode) != (new.tail, new.head, new.diode)
    return ends or abs(old.ohm - new.ohm) >= LEAST_SEEN


def _housings(drawn: Wiring) -> list[list[str]]:
    """The ends that sit side by side: plug by plug, the two halves of an in-line plug apart."""
    found = []
    for name, part in drawn.harness.parts.items():
        ends = part.loom_ends(name)
        heads = {one.head for one in part.contacts(name).values()}
        halves = ([end for end in ends if end not in heads], [end for end in ends if end in heads])
        found += [half for half in halves if half and not part.joins_wires]
    return found
