"""A case from the first line to the debrief, without a screen: lines in, lines out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from circuitcheck.circuit.build import all_faults
from circuitcheck.errors import CircuitcheckError, UnknownName, nearest
from circuitcheck.expect.cautions import FANS, HAND, HOT, LEAD, LEAVE_ALONE, OHMS
from circuitcheck.learn.case import LEVELS, Case
from circuitcheck.learn.debrief import Debrief, debrief
from circuitcheck.learn.spoken import WORDS
from circuitcheck.learn.workshop import Workshop
from circuitcheck.parts.wire import Wire

if TYPE_CHECKING:
    from circuitcheck.learn.beside import Ahead

TALK = {
    "help": ("help", "these words"),
    "customer": ("customer", "what the customer said, once more"),
    "parts": ("parts", "what is on the vehicle"),
    "wires": ("wires [S1]", "the wires, or those at a part"),
    "state": ("state", "how the vehicle stands now, and the minutes"),
    "notes": ("notes", "what has been measured so far"),
    "fault": ("fault R1 open", "name it; fault none, fault forget"),
    "renew": ("renew R1", "put a part, pin, wire or unit right"),
    "done": ("done", "end, and hear what it was"),
    "leave": ("leave", "end without naming anything"),
}

MEANT = {
    "hear": "click clicks listen relay",
    "pull": "remove",
    "swap": "replace exchange change",
    "leave": "quit exit bye end stop q",
    "volts": "measure meter voltage v",
    "lamp": "testlamp light",
    "amps": "current clamp a",
    "ohms": "resistance continuity beep buzz",
    "lead": "bridge jumper wire",
    "undo": "unplug disconnect open",
    "join": "plug connect close",
    "renew": "repair fix mend",
    "fault": "diagnose verdict name guess",
    "ignition": "key",
    "engine": "start motor run",
    "coolant": "heat warm temperature hot",
    "look": "watch see fan fans",
    "turn": "spin rotate hand",
    "drive": "road test try",
}
"""What people say first, by the word that does it here."""
ASKING = ("hint", "next", "answer", "solution", "tell")
"""What nobody answers while the case is on."""


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
            "Say help for the words; fault names what you find, renew puts it right, done ends it.",
        ]

    def cautions(self) -> list[str]:
        """What holds on a real vehicle as here."""
        return [FANS, HAND, LEAD, OHMS, HOT, LEAVE_ALONE]

    def _meter(self) -> str:
        ohm = self.case.meter_ohm
        size = f"{ohm / 1e6:g} Mohm" if ohm >= 1e6 else f"{ohm / 1e3:g} kohm"
        return f"You have a meter ({size} on volts), a 5 W test lamp, a clamp and a jumper lead."

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
                raise ValueError(_unknown(word))
            return WORDS[word].do(self.workshop, rest, " ".join([word, *rest]))
        except (CircuitcheckError, ValueError) as error:
            self.mistakes.append(f"{line.strip()}: {error}")
            return [f"? {error}"]

    # -- talk ----------------------------------------------------------------------------------------

    def _help(self, given: list[str]) -> Iterator[str]:
        listed = [(word.group, word.usage, word.about) for word in WORDS.values()]
        listed += [("to say and to ask", *one) for one in TALK.values()]
        for group in dict.fromkeys(one for one, _, _ in listed):
            yield f"{group[0].upper()}{group[1:]}"
            yield from (f"  {usage:<31}{about}" for one, usage, about in listed if one == group)
        yield "Terminals are written part.terminal, as G1.+; the part's own side of a plug S1.2/part."
        yield "Names here are examples: parts and wires list those of this vehicle."

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
        yield (
            f"  ignition {setup.ignition}, engine {engine}, coolant {setup.engine.celsius:g} degC, "
            f"battery {setup.battery}"
        )
        listed = {
            "undone": setup.unplug,
            "out": setup.pull,
            "known good": setup.swap,
            "opened up": sorted(shop.opened),
            "named": self.named,
            "put right": self.units,
        }
        for word, names in listed.items():
            if names:
                yield f"  {word}: {', '.join(names)}"
        for name, position in setup.switches.items():
            yield f"  {name} in position {position}"
        for one, two in setup.bridge:
            yield f"  {'bare' if shop.bare else 'fused'} lead from {one} to {two}"
        yield f"  {shop.minutes:.0f} minutes so far"

    def _notes(self, given: list[str]) -> Iterator[str]:
        done = frozenset[str]()
        for one in self.workshop.log:
            if one.renewed != done:
                yield f"      put right: {', '.join(sorted(one.renewed - done))}"
                done = one.renewed
            yield f"  {one.minutes:5.0f} min  {one.said}: {one.shown}"
        if not self.workshop.log:
            yield "  Nothing yet."

    def _fault(self, given: list[str]) -> Iterator[str]:
        name = " ".join(given).partition("=")[0].strip()
        if not name:
            raise ValueError("say: fault R1 open; or fault R1, to see how R1 can fail; or fault none")
        if name in ("none", "forget"):
            self.named.clear()
            self.said_none = name == "none"
            yield "You say that nothing is wrong." if self.said_none else "No fault is named."
            return
        known = {one.spec.casefold(): one.spec for one in all_faults(self.case.harness)}
        if name.casefold() not in known:
            raise self._no_fault(name, list(known.values()))
        self.said_none = False
        if known[name.casefold()] not in self.named:
            self.named.append(known[name.casefold()])
        yield f"Named: {', '.join(self.named)}."

    def _no_fault(self, name: str, known: list[str]) -> Exception:
        """What to say to a fault that is not there: how the part can fail, if it is one."""
        part = name.split(maxsplit=1)[0].casefold()
        there = [one for one in known if one.casefold().startswith((f"{part} ", f"{part}."))]
        if there and not nearest(name, known):
            return ValueError(f"how can it fail? one of: {', '.join(there)}")
        return UnknownName("fault", name, known)

    def _renew(self, given: list[str]) -> Iterator[str]:
        name = " ".join(given)
        if not name:
            raise ValueError("say: renew R1")
        inside = getattr(self.case.harness.parts.get(name.upper()), "belongs_to", None)
        if inside:
            raise ValueError(f"{name.upper()} is part of the {inside}; say: renew {inside}")
        units = {one.replace.casefold(): one.replace for one in all_faults(self.case.harness)}
        if name.casefold() not in units:
            raise UnknownName("unit", name, units.values())
        unit = units[name.casefold()]
        if unit not in self.units:
            self.units.append(unit)
        yield from self.workshop.renew(unit)
        yield f"Put right: {', '.join(self.units)}. drive tells what the customer would say now."

    def _done(self, given: list[str]) -> Iterator[str]:
        if not self.named and not self.said_none:
            raise ValueError("name a fault first, or say: fault none; leave ends without naming one")
        self.over = True
        yield "Finished."

    def _leave(self, given: list[str]) -> Iterator[str]:
        self.over = True
        yield "Left."

    def debrief(
        self, *, beside_next: bool = False, ahead: Ahead | None = None, thorough: bool = False
    ) -> Debrief:
        """The outcome; a case that is left without a word is not right, whatever it was.

        :param beside_next: whether to work out as well what following ``next`` comes to; takes seconds
        :param ahead: where that has been begun already
        :param thorough: following ``next --thorough`` then
        """
        named = self.named or (() if self.said_none else ("nothing named",))
        found = debrief(self.workshop, named, self.units)
        if not beside_next:
            return found
        from circuitcheck.learn.beside import set_beside_next  # noqa: PLC0415  (it plays a session itself)

        followed = ahead.followed() if ahead else None
        return set_beside_next(found, self.workshop, followed, thorough=thorough)


def _unknown(word: str) -> str:
    """What to say to a word that is none: the one that does it here, or else the nearest in spelling."""
    if word in ASKING:
        return f"no word '{word}': nobody tells you here; help lists the words, leave ends it and tells"
    meant = next((one for one, said in MEANT.items() if word in said.split()), "")
    meant = meant or nearest(word, [*WORDS, *TALK])
    if not meant:
        return f"no word '{word}'; help lists all that there are"
    usage, about = TALK[meant] if meant in TALK else (WORDS[meant].usage, WORDS[meant].about)
    return f"no word '{word}'; nearest: {usage} ({about})"


def _part(terminal: str) -> str:
    return terminal.partition(".")[0]


def _wire_words(wire: Wire) -> str:
    colour = f" {wire.colour}" if wire.colour else ""
    return f"{wire.start} to {wire.end},{colour} {wire.size:g} mm2, {wire.length:g} m"
