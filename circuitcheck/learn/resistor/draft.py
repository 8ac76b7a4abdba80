"""A harness being altered: wires cut, spliced and moved, parts put in and taken out.

A draft is the one thing here that changes; it takes a harness, which stays as it is, and ends in a new
one, checked like any file.
"""

from __future__ import annotations

from collections.abc import Iterable

from circuitcheck.circuit.build import all_faults, lead_keys
from circuitcheck.harness.load import parse_harness
from circuitcheck.harness.model import Harness, Setup, Test
from circuitcheck.harness.write import to_yaml
from circuitcheck.parts.part import Part
from circuitcheck.parts.resistor import Resistor
from circuitcheck.parts.splice import Splice
from circuitcheck.parts.wire import Wire

TAIL = 0.1
"""Wire from a new splice to the plug that it sits at, and from a new resistor to its splice [m]; common
practice, no source."""
UNSIZED = "1 ohm"
"""What a new resistor has until it is sized."""


class Draft:
    """Parts and wires of a harness, to be altered."""

    def __init__(self, harness: Harness) -> None:
        self._harness = harness
        self.parts: dict[str, Part] = dict(harness.parts)
        self.wires: dict[str, Wire] = dict(harness.wires)

    def _free(self, letter: str) -> str:
        """The next free name with a letter: ``R3`` after R1 and R2, also where those are taken out."""
        names = {*self._harness.parts, *self._harness.wires, *self.parts, *self.wires}
        used = [int(name[1:]) for name in names if name[0] == letter and name[1:].isdigit()]
        return f"{letter}{max(used, default=0) + 1}"

    def new_resistor(self, where: str) -> str:
        """A resistor that is wired in for good; its name."""
        name = self._free("R")
        self.parts[name] = Resistor.model_validate(
            {"kind": "resistor", "ohms": UNSIZED, "tolerance": "5 %", "where": where, "plug": "no"}
        )
        return name

    def new_wire(self, start: str, end: str, like: Wire, metres: float) -> str:
        """A wire of the section and colour of another; its name."""
        name = self._free("W")
        self.wires[name] = like.model_copy(
            update={"start": start, "end": end, "length": metres, "belongs_to": None}
        )
        return name

    def move(self, wire: str, end: str, to: str) -> None:
        """Take a wire off one of its ends and put it elsewhere."""
        old = self.wires[wire]
        self.wires[wire] = old.model_copy(update={"start" if old.start == end else "end": to})

    def insert(self, name: str, wire: str) -> str:
        """Cut a wire in the middle and put a two-ended part between; what was done."""
        old = self.wires[wire]
        first, second = (f"{name}.{pin}" for pin in self.parts[name].pins())
        self.wires[wire] = old.model_copy(update={"end": first, "length": old.length / 2})
        self.new_wire(second, old.end, old, old.length / 2)
        return f"cut {wire} ({old.start} to {old.end}) and put {name} between"

    def tap(self, wire: str, near: str) -> str:
        """Cut a wire near one of its ends and splice it; the free terminal of the splice."""
        old = self.wires[wire]
        name = self._free("X")
        self.parts[name] = Splice.model_validate({"kind": "splice", "wires": "3"})
        tail = min(TAIL, old.length / 2)
        self.wires[wire] = old.model_copy(update={"length": old.length - tail})
        self.move(wire, near, f"{name}.1")
        self.new_wire(f"{name}.2", near, old, tail)
        return f"{name}.3"

    def remove(self, name: str) -> None:
        """Take a part out, with the wires that end at it."""
        del self.parts[name]
        self.wires = {key: one for key, one in self.wires.items() if name not in _parts_at(one)}

    def bypass(self, name: str) -> None:
        """Take a two-ended part out and join the two wires that end at it.

        :raises ValueError: if not just one wire ends at each of its terminals
        """
        found = [(key, one) for key, one in self.wires.items() if name in _parts_at(one)]
        ends = sorted(end for _, one in found for end in (one.start, one.end) if _part(end) == name)
        if ends != [f"{name}.{pin}" for pin in self.parts[name].pins()]:
            raise ValueError(f"{name} has {len(ends)} wires; must have one on each end to be bridged")
        (first, one), (second, other) = found
        far = [end for end in (one.start, one.end, other.start, other.end) if _part(end) != name]
        self.remove(name)
        self.wires[first] = one.model_copy(
            update={"start": far[0], "end": far[1], "length": one.length + other.length}
        )
        assert second not in self.wires

    def finished(self) -> tuple[Harness, list[str]]:
        """The new harness, and the tests and observations that it no longer has.

        :raises DescriptionError: if it is no harness any more
        """
        bare = self._harness.model_copy(
            update={"parts": self.parts, "wires": self.wires, "tests": {}, "frequencies": {}}
        )
        dropped: list[str] = []
        tests = {
            name: kept
            for name, test in self._harness.tests.items()
            if (kept := _kept(bare, name, test, dropped))
        }
        faults = {one.spec for one in all_faults(bare)}
        frequencies = {key: one for key, one in self._harness.frequencies.items() if key in faults}
        done = bare.model_copy(update={"tests": tests, "frequencies": frequencies})
        return parse_harness(to_yaml(done), done.name, name=done.name), dropped


def _kept(harness: Harness, name: str, test: Test, dropped: list[str]) -> Test | None:
    """A test without what names something that is gone; None if nothing of it is left."""
    pins = [key for one, part in harness.parts.items() for key in part.contacts(one)]
    known = {*harness.terminals(), *harness.wires, *harness.parts, *pins, *lead_keys(test.setup)}
    kept = {label: one for label, one in test.observe.items() if known.issuperset(one.points)}
    if not kept or not known.issuperset(_named(test.setup)):
        dropped.append(name)
        return None
    dropped += [f"{name}: {label}" for label in test.observe if label not in kept]
    return test.model_copy(update={"observe": kept})


def _named(setup: Setup) -> Iterable[str]:
    """Everything that a set-up names."""
    pairs = [end for pair in setup.bridge for end in pair]
    return (*setup.switches, *setup.pull, *setup.unplug, *setup.swap, *pairs, *setup.feed, *setup.ground)


def _part(terminal: str) -> str:
    return terminal.partition(".")[0]


def _parts_at(wire: Wire) -> tuple[str, str]:
    return _part(wire.start), _part(wire.end)
