"""A circuit as a deck for general-purpose circuit simulators, which solve its physics on their own.

Nothing of our solution goes into a deck but the states of relays, inputs and fuses. A motor is not
our closed form but two coupled circuits, ``V = I R + Ke w`` at its terminals and
``Ke I = k w |w| + friction`` on its shaft; lamps and diodes are their published laws written out.

Each reading is a run of its own, with its instrument alone in the circuit. Between runs only
resistances are altered: what is not there in a run, be it the voltmeter, an open contact or a
fuse, has ``OPEN`` ohms.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.physics.branch import Branch, Conductor, Source
from circuitcheck.physics.diode import LEAKAGE, Junction
from circuitcheck.physics.lamp import EXPONENT, HOT_OVER_COLD, Filament
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.point import OperatingPoint
from circuitcheck.solve.twin import island_nodes

OPEN = 1e15
"""Resistance of what is not there in a run [ohm]: 12 V drive 12 fA through it."""
TIE = 1.0
"""From one node of a floating island to node 0 [ohm]; a single tie carries no current."""
CREEP = 1e-4
"""Speed at which friction is three quarters of its full torque [rad/s]: a turn in 17 hours."""
NO_AMPS = 1e-30
"""Keeps the quotient of an open line finite [A]; an open line comes out far above 2e7 ohm."""
OPTIONS = ".options reltol=1e-9 abstol=1e-13 vntol=1e-10 itl1=2000"
"""A digit in 1e9, so that the simulator's own tolerance does not count."""

STATES = ("click", "fuse", "turn")
"""Kinds of look whose answer is no volts or amps of the circuit, and is known beforehand."""


@dataclass(frozen=True)
class Look:
    """One reading to be taken.

    :param name: printed with the value
    :param kind: ``volts``, ``amps``, ``ohms``, ``speed``, ``hear``, ``lamp``, or one of :data:`STATES`
    :param circuit: with the instrument in it
    :param point: its operating point, of which only the states are used
    :param tail: of volts and ohms, the probe that counts as positive
    :param head: of volts and ohms, the other probe
    :param key: the branch clamped or looked at; of ohms, that of the meter
    :param constant: the answer of such a look, as a click's 1 or 0
    """

    name: str
    kind: str
    circuit: Circuit
    point: OperatingPoint
    tail: str = ""
    head: str = ""
    key: str = ""
    constant: float = 0.0


Identity = tuple[str, type, str, str]
"""What makes a branch the same in two runs: key, kind and ends (all meters have one key)."""


def _identity(key: str, branch: Branch) -> Identity:
    return key, type(branch), branch.tail, branch.head


@dataclass(frozen=True)
class _Resistor:
    """A resistor of the deck whose value may differ from run to run."""

    element: str
    ohms: tuple[float, ...]


class _Deck:
    """The elements of a deck while they are written down."""

    def __init__(self, looks: Sequence[Look]) -> None:
        self.looks = looks
        self.live = [_live(one) for one in looks]
        self.branches: dict[Identity, Branch] = {}
        for one in self.live:
            self.branches = {**one, **self.branches}
        self.nodes = self._numbered()
        self.clamped = {one.key for one in looks if one.kind == "amps"}
        self.lines: list[str] = []
        self.resistors: list[_Resistor] = []
        self.number = {who: number for number, who in enumerate(self.branches, 1)}

    def _numbered(self) -> dict[str, int]:
        """Numbers of the nodes that some branch or probe touches; the reference is 0."""
        known = dict.fromkeys([self.looks[0].circuit.reference])
        for look, branches in zip(self.looks, self.live, strict=True):
            touched = {end for one in branches.values() for end in (one.tail, one.head)}
            touched |= {look.tail, look.head}
            known |= dict.fromkeys(node for node in look.circuit.nodes if node in touched)
        return {node: number for number, node in enumerate(known)}

    def add(self, *lines: str) -> None:
        self.lines.extend(lines)

    def resistor(self, element: str, tail: str, head: str, ohms: Sequence[float]) -> None:
        """A resistor with its value in each run, the first run's to begin with."""
        self.resistors.append(_Resistor(element, tuple(ohms)))
        self.add(f"{element} {tail} {head} {_n(ohms[0])}")

    def branch(self, who: Identity, branch: Branch) -> None:
        """The elements of one branch."""
        key, number = who[0], self.number[who]
        tail, head = str(self.nodes[branch.tail]), str(self.nodes[branch.head])
        self.add(f"* {key}, from {branch.tail} to {branch.head}")
        if key in self.clamped:
            self.add(f"VA{number} {tail} a{number} 0")
            tail = f"a{number}"
        if isinstance(branch, Conductor):
            self.resistor(f"R{number}", tail, head, self._ohms(who))
        elif isinstance(branch, Source):
            self.resistor(f"R{number}", tail, f"s{number}", self._ohms(who))
            self.add(f"VS{number} s{number} {head} {_n(branch.emf)}")
        elif isinstance(branch, FanMotor):
            self._motor(number, branch, tail, head)
        elif isinstance(branch, Filament | Junction):
            self._curve(who, branch, tail, head)
        else:
            raise TypeError(f"no simulator element for a branch of kind {type(branch).__name__}")

    def _ohms(self, who: Identity) -> list[float]:
        found = []
        for one in self.live:
            branch = one.get(who)
            found.append(branch.ohm if isinstance(branch, Conductor | Source) else OPEN)
        return found

    def _motor(self, number: int, motor: FanMotor, tail: str, head: str) -> None:
        """Winding and back EMF; on the shaft, 1 V at node w is 1 rad/s and 1 A is 1 N m."""
        w = f"V(w{number})"
        self.add(
            f"RW{number} {tail} m{number} {_n(motor.resistance)}",
            f"VI{number} m{number} e{number} 0",
            f"BE{number} e{number} {head} V={_n(motor.back_emf)}*{w}",
            f"BT{number} 0 w{number} I={_n(motor.back_emf)}*I(VI{number})",
            f"BF{number} w{number} 0 I={_n(motor.fan)}*{w}*abs({w})"
            f"+{_n(motor.friction)}*tanh({w}/{CREEP:g})+1e-12*{w}",
        )

    def _curve(self, who: Identity, curve: Filament | Junction, tail: str, head: str) -> None:
        """A lamp or a diode; one that is not in every run has a switch of its own."""
        number, present = self.number[who], [who in one for one in self.live]
        if not all(present):
            self.resistor(
                f"RQ{number}", tail, f"q{number}", [1e-6 if here else OPEN for here in present]
            )
            tail = f"q{number}"
        volts = f"({_node_volts(tail)}-{_node_volts(head)})"
        law = _lamp_law(curve, volts) if isinstance(curve, Filament) else _diode_law(curve, volts)
        self.add(f"B{number} {tail} {head} I={law}")

    def ties(self) -> None:
        """One tie for each island that floats in some run; out in the runs in which it does not."""
        floating = [
            set(island_nodes(look.circuit.reference, live.values(), self.nodes))
            for look, live in zip(self.looks, self.live, strict=True)
        ]
        ever = [node for node in self.nodes if any(node in one for one in floating)]
        for number, node in enumerate(ever, 1):
            ohms = [TIE if node in one else OPEN for one in floating]
            self.resistor(f"RT{number}", str(self.nodes[node]), "0", ohms)

    # -- what is read off ------------------------------------------------------------------

    def value(self, run: int) -> str:
        """The reading of a run as an expression of the simulator's own results."""
        look = self.looks[run]
        if look.kind in STATES:
            return f"{look.constant:g}"
        if look.kind == "volts":
            return self._across(look.tail, look.head)
        for who, branch in self.live[run].items():
            if who[0] == look.key:
                return self._of_branch(look.kind, self.number[who], branch)
        return "0"  # what should be looked at is open or taken out

    def _of_branch(self, kind: str, number: int, branch: Branch) -> str:
        """What is read off one branch: its current, ohms, speed or light."""
        across = self._across(branch.tail, branch.head)
        if kind == "amps":
            return f"abs(i(va{number}))"
        if kind == "ohms":
            return f"{across}/(abs(i(vs{number}))+{NO_AMPS:g})"
        if kind in ("speed", "hear"):
            assert isinstance(branch, FanMotor)
            wheel = branch.wheel if kind == "speed" else 1.0
            return f"abs(v(w{number}))*{_n(30 / math.pi * wheel)}"
        assert isinstance(branch, Filament)
        rated = branch.rated_volts * branch.rated_amps
        return f"abs{across}*{_lamp_current(branch, f'abs{across}')}/{_n(rated)}"

    def _across(self, tail: str, head: str) -> str:
        return f"({_node_volts(self.nodes[tail])}-{_node_volts(self.nodes[head])})"

    def control(self) -> Iterator[str]:
        """The commands: what changes from run to run, the run, the reading."""
        for run, look in enumerate(self.looks):
            for one in self.resistors:
                if run and one.ohms[run] != one.ohms[run - 1]:
                    yield f"alter {one.element.lower()} = {_n(one.ohms[run])}"
            yield "op"
            yield f"let reading{run} = {self.value(run)}"
            yield f"echo reading {printed_name(look.name)} $&reading{run}"


def _n(value: float) -> str:
    """A number with all its digits and no more."""
    return repr(float(value))


def _live(look: Look) -> dict[Identity, Branch]:
    """The branches that conduct in a run."""
    return {
        _identity(key, one): one
        for key, one in look.circuit.branches.items()
        if conducts(one, look.point.states)
    }


def _node_volts(number: int | str) -> str:
    return f"v({number})" if str(number) != "0" else "0"


def _lamp_meet(lamp: Filament) -> float:
    """Volts at which the filament's hot resistance has come down to its cold one [V]."""
    return float(lamp.rated_volts * HOT_OVER_COLD ** (-1 / (1 - EXPONENT)))


def _lamp_cold(lamp: Filament) -> float:
    """Conductance of the cold filament [S]."""
    return HOT_OVER_COLD * lamp.rated_amps / lamp.rated_volts


def _lamp_law(lamp: Filament, volts: str) -> str:
    """Current of a lamp at some volts; the larger of two never lets the power see 0."""
    meet = _lamp_meet(lamp)
    hot = (
        f"{_n(lamp.rated_amps)}*sgn({volts})"
        f"*pow(max(abs({volts}),{_n(meet)})/{_n(lamp.rated_volts)},{EXPONENT:g})"
    )
    return f"abs({volts})>{_n(meet)} ? {hot} : {_n(_lamp_cold(lamp))}*{volts}"


def _lamp_current(lamp: Filament, volts: str) -> str:
    """The same from positive volts, in what a control language has: comparisons are 1 or 0."""
    meet = _lamp_meet(lamp)
    hot = f"{_n(lamp.rated_amps)}*({volts}/{_n(lamp.rated_volts)})^{EXPONENT:g}"
    cold = f"{_n(_lamp_cold(lamp))}*{volts}"
    return f"(({volts} gt {_n(meet)})*{hot}+({volts} le {_n(meet)})*{cold})"


def _diode_law(diode: Junction, volts: str) -> str:
    """Current of a diode at some volts."""
    return f"{LEAKAGE:g}*{volts}+max({volts}-{_n(diode.drop)},0)/{_n(diode.resistance)}"


def printed_name(name: str) -> str:
    """The name of a reading as one word: blanks and signs that a simulator takes amiss become _.

    >>> printed_name("left fan, low")
    'left_fan__low'
    """
    return re.sub(r"[^\w.+-]", "_", name) or "_"


def circuit_deck(title: str, notes: Sequence[str], looks: Sequence[Look]) -> str:
    """The deck that takes some readings, each with its own instrument alone in the circuit.

    Run in batch (``ngspice -b deck.cir``) it prints one line ``reading NAME VALUE`` for each, in
    volts, amps, ohms, revolutions per minute, or share of the rated power. An ohmmeter on an open
    line gives a number far above 2e7.

    :param title: the first line
    :param notes: put below it as comments
    :param looks: circuits that differ in their instruments and states only
    :raises TypeError: for a curve that has no simulator element yet
    """
    lines = [f"* {one}" for one in (*notes, *_STANDING)]
    if not looks:
        return "\n".join([_one_line(title), *lines, ".control", "quit", ".endc", ".end", ""])
    found = _Deck(looks)
    lines += ["*", "* Nodes:"]
    lines += [f"*   {number} {node}" for node, number in found.nodes.items()]
    lines += ["*", "* States:", *_states(looks)]
    for who, branch in found.branches.items():
        found.branch(who, branch)
    found.ties()
    commands = [".control", *found.control(), "quit", ".endc"]
    text = [_one_line(title), *map(_one_line, lines), "*", *map(_one_line, found.lines)]
    return "\n".join([*text, "*", OPTIONS, *commands, ".end", ""])


_STANDING = (
    "",
    "Node 0 is battery minus. Wires, joints, fuses and closed contacts are resistances, a battery",
    "a voltage source behind its own. A motor is its winding, its back EMF, and a circuit for its",
    f"shaft: 1 V there is 1 rad/s, 1 A is 1 N m; its friction comes in over the first {CREEP:g} rad/s.",
    "All values are those of the description: a real vehicle has tolerances and so has a meter.",
    "",
    "Each reading is a run of its own with its instrument alone in place: 10 Mohm for volts, a",
    f"source behind a resistance for ohms. Whatever is not there in a run has {OPEN:g} ohm: other",
    "instruments, open contacts, blown fuses.",
    f"What floats in a run is tied to node 0 by {TIE:g} ohm at one node of each island (RT...); no",
    "current can flow there. Opens that stay open and motors and lamps that are open are left out.",
    "Relays, inputs and fuses are not simulated: their states, resolved beforehand, stand below.",
)


def _states(looks: Sequence[Look]) -> Iterator[str]:
    """The states of the first run, and what is different in others."""
    usual = looks[0].point.states
    yield from (f"*   {name}: {_on(state)}" for name, state in usual.items())
    for look in looks:
        other = {k: v for k, v in look.point.states.items() if usual.get(k) != v}
        if other:
            yield f"*   for {look.name}: " + ", ".join(f"{k}: {_on(v)}" for k, v in other.items())
        if look.point.buzzing:
            yield (
                f"*   for {look.name}: never at rest (the last look is taken): "
                + ", ".join(look.point.buzzing)
            )
    if not usual:
        yield "*   none"


def _on(state: bool) -> str:
    return "yes" if state else "no"


def _one_line(text: str) -> str:
    return " ".join(text.split()) if text.strip() else "*"
