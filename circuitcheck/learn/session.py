"""A case from the first line to the debrief, without a screen: lines in, lines out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from circuitcheck.circuit.build import all_faults
from circuitcheck.errors import CircuitcheckError, UnknownName
from circuitcheck.expect.cautions import FANS, HOT, LEAD, LEAVE_ALONE, OHMS
from circuitcheck.learn.case import LEVELS, Case
from circuitcheck.learn.debrief import Debrief, Told, debrief
from circuitcheck.learn.spoken import WORDS
from circuitcheck.learn.workshop import Workshop
from circuitcheck.parts.wire import Wire

TALK = {
    "help": ("help", "these words"),
    "customer": ("customer", "what the customer said, once more"),
    "parts": ("parts", "what is on the vehicle"),
    "wires": ("wires [S1]", "the wires, or those at a part"),
    "state": ("state", "how the vehicle stands now, and the minutes"),
    "notes": ("notes", "what has been measured so far"),
    "fault": ("fault R1 open", "name it; fault none, fault forget"),
    "renew": ("renew R1", "name the part or unit to put right"),
    "done": ("done", "end, and hear what it was"),
    "leave": ("leave", "end without naming anything"),
}

MOST_TOLD = 6
"""Faults up to which the debrief names those that fit; a choice of presentation."""


@dataclass
class Session:
    """One case with one student.

    :param over: whether it has ended
    :param mistakes: lines that could not be done, for a script
    """

    case: Case
    workshop: Workshop = field(init=False)
    named: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    over: bool = False
    said_none: bool = False
    mistakes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.workshop = Workshop(self.case)

    def greeting(self) -> list[str]:
        """What the student is told first."""
        case = self.case
        return [
            f"{case.harness.title} ({case.harness.name}), case {case.seed} of level {case.level}: "
            f"{LEVELS[case.level]}. Invented, as all of it.",
            f"The customer: {case.complaint}",
            f"It stands in front of you, cold, ignition off. {self._meter()} "
            "Say help for the words; name what you find with fault and renew, then say done.",
        ]

    def cautions(self) -> list[str]:
        """What holds on a real vehicle as here."""
        return [FANS, LEAD, OHMS, HOT, LEAVE_ALONE]

    def _meter(self) -> str:
        ohm = self.case.meter_ohm
        size = f"{ohm / 1e6:g} Mohm" if ohm >= 1e6 else f"{ohm / 1e3:g} kohm"
        return f"You have a meter ({size} on volts), a 5 W test lamp, a clamp and a jumper lead."

    def words(self) -> list[str]:
        """Everything that may stand in a line, for completion."""
        harness = self.case.harness
        modes = dict.fromkeys(one.mode for one in all_faults(harness))
        units = dict.fromkeys(one.replace for one in all_faults(harness))
        return [*WORDS, *TALK, *harness.terminals(), *harness.wires, *units, *harness.parts, *modes]

    def feed(self, line: str) -> list[str]:
        """One line from the student, and what comes of it."""
        given = line.split("#", maxsplit=1)[0].split()
        if not given or self.over:
            return []
        word, rest = given[0].casefold(), given[1:]
        try:
            if word in TALK:
                return list(getattr(self, f"_{word}")(rest))
            if word not in WORDS:
                raise UnknownName("word", word, [*WORDS, *TALK])
            return WORDS[word].do(self.workshop, rest, " ".join([word, *rest]))
        except (CircuitcheckError, ValueError) as error:
            self.mistakes.append(f"{line.strip()}: {error}")
            return [f"? {error}"]

    # -- talk ----------------------------------------------------------------------------------------

    def _help(self, given: list[str]) -> Iterator[str]:
        for word in WORDS.values():
            yield f"  {word.usage:<30}{word.about}".rstrip()
        for usage, about in TALK.values():
            yield f"  {usage:<30}{about}"
        yield "Terminals are written part.terminal, as G1.+; the part's own side of a plug S1.2/part."

    def _customer(self, given: list[str]) -> Iterator[str]:
        yield f"The customer: {self.case.complaint}"

    def _parts(self, given: list[str]) -> Iterator[str]:
        for name, part in self.case.harness.parts.items():
            about = [part.kind_name]
            about += [f"in the {part.belongs_to}"] if part.belongs_to else []
            about += [part.where] if part.where else []
            about += [f"behind the {part.access}"] if part.access else []
            yield f"  {name:<5}{', '.join(about)}; {' '.join(part.pins())}"

    def _wires(self, given: list[str]) -> Iterator[str]:
        only = self.workshop.part(given[0]) if given else ""
        for name, wire in self.case.harness.wires.items():
            if not only or only in (_part(wire.start), _part(wire.end)):
                yield f"  {name:<5}{_wire_words(wire)}"

    def _state(self, given: list[str]) -> Iterator[str]:
        setup, shop = self.workshop.setup, self.workshop
        engine = "running" if setup.running else "standing"
        yield (f"  ignition {setup.ignition}, engine {engine}, coolant {setup.engine.celsius:g} degC, "
               f"battery {setup.battery}")  # fmt: skip
        listed = {
            "undone": setup.unplug, "out": setup.pull, "known good": setup.swap,
            "opened up": sorted(shop.opened), "named": self.named, "to renew": self.units,
        }  # fmt: skip
        for word, names in listed.items():
            if names:
                yield f"  {word}: {', '.join(names)}"
        for name, position in setup.switches.items():
            yield f"  {name} in position {position}"
        for one, two in setup.bridge:
            yield f"  {'bare' if shop.bare else 'fused'} lead from {one} to {two}"
        yield f"  {shop.minutes:.0f} minutes so far"

    def _notes(self, given: list[str]) -> Iterator[str]:
        for one in self.workshop.log:
            yield f"  {one.minutes:5.0f} min  {one.said}: {one.shown}"
        if not self.workshop.log:
            yield "  Nothing yet."

    def _fault(self, given: list[str]) -> Iterator[str]:
        name = " ".join(given).partition("=")[0].strip()
        if name in ("none", "forget"):
            self.named.clear()
            self.said_none = name == "none"
            yield "You say that nothing is wrong." if self.said_none else "No fault is named."
            return
        known = {one.spec.casefold(): one.spec for one in all_faults(self.case.harness)}
        if name.casefold() not in known:
            raise UnknownName("fault", name, known.values())
        self.said_none = False
        self.named.append(known[name.casefold()])
        yield f"Named: {', '.join(self.named)}."

    def _renew(self, given: list[str]) -> Iterator[str]:
        name = " ".join(given)
        units = {one.replace.casefold(): one.replace for one in all_faults(self.case.harness)}
        if name.casefold() not in units:
            raise UnknownName("unit", name, units.values())
        self.units.append(units[name.casefold()])
        yield f"To put right: {', '.join(self.units)}."

    def _done(self, given: list[str]) -> Iterator[str]:
        if not self.named and not self.said_none:
            raise ValueError("name a fault first, or say: fault none; leave ends without naming one")
        self.over = True
        yield "Finished."

    def _leave(self, given: list[str]) -> Iterator[str]:
        self.over = True
        yield "Left."

    def debrief(self) -> Debrief:
        """The outcome; a case that is left without a word is not right, whatever it was."""
        named = self.named or (() if self.said_none else ("nothing named",))
        return debrief(self.workshop, named, self.units)


def _part(terminal: str) -> str:
    return terminal.partition(".")[0]


def _wire_words(wire: Wire) -> str:
    colour = f" {wire.colour}" if wire.colour else ""
    return f"{wire.start} to {wire.end},{colour} {wire.size:g} mm2, {wire.length:g} m"


def debrief_lines(found: Debrief) -> list[str]:
    """The debrief in words."""
    truth = " and ".join(found.truth) or "nothing wrong"
    lines = ["", f"It was: {truth}."]
    lines += [f"{words[0].upper()}{words[1:]}: {remedy}."
              for words, remedy in zip(found.words, found.remedies, strict=True)]  # fmt: skip
    lines.append(f"Your fault: {' and '.join(found.named) or 'none'}: "
                 f"{'right' if found.right_fault else 'wrong'}. Your part: "
                 f"{' and '.join(found.units) or 'none'}: {_part_word(found)}.")  # fmt: skip
    if found.trap:
        lines.append(f"The trap: {found.trap}.")
    lines.append(f"{found.minutes:.0f} minutes, {len(found.told)} measurements, "
                 f"{len(found.unsafe)} unsafe.")  # fmt: skip
    lines += [f"! {one}" for one in found.unsafe]
    if found.told:
        lines += ["", f"What each could have told ({found.known} single faults are known here):"]
        lines += [line for one in found.told for line in _told_lines(one)]
    if 0 < len(found.fitting) <= MOST_TOLD:
        lines.append(f"What fits it all: {', '.join(found.fitting)}.")
    return lines


def _part_word(found: Debrief) -> str:
    if found.right_unit:
        return "right"
    return f"wrong, due was {' and '.join(found.due) or 'none'}"


def _told_lines(one: Told) -> list[str]:
    beside = f" <- off, a sound one {one.sound}" if one.off else ""
    lines = [f"  {one.minutes:5.1f} min  {one.said}: {one.shown}{beside}"]
    if one.shows is not None:
        left = "" if one.left is None else f"; {one.left} still fit all you had seen"
        lines.append(f"             could have shown {one.shows or 'none'} of them{left}")
    return lines
