"""What the student may say to the vehicle: one small function a word, and the words' own help."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Observation
from circuitcheck.learn.case import complaint
from circuitcheck.parts.quantity import CELSIUS

if TYPE_CHECKING:
    from circuitcheck.learn.workshop import Workshop

Said = Callable[["Workshop", list[str], str], list[str]]


@dataclass(frozen=True, slots=True)
class Word:
    """A word with how it is used and what it does.

    :param group: heading of the help under which it stands
    """

    group: str
    usage: str
    about: str
    do: Said


def _looked(workshop: Workshop, said: str, **what: object) -> list[str]:
    """Take a reading and tell it; it is noted with the names as the loom has them."""
    observation = Observation.model_validate(what)
    noted = " ".join([said.split(maxsplit=1)[0], *observation.points]).replace("bridge", "lead")
    found, told = workshop.measure(noted, observation)
    points = " to ".join(found.observation.points).replace("bridge", "lead")
    kind = found.observation.kind
    return [*told, f"{'hear' if kind == 'click' else kind} {points}: {found.shown}"]


def _two(find: Callable[[str], str], given: list[str], usage: str) -> tuple[str, str]:
    given = [one for one in given if one not in ("to", "and")]
    if len(given) != 2:
        raise ValueError(f"say: {usage}")
    first, second = (find(one) for one in given)
    if first == second:
        raise ValueError(f"{first} twice; two different points are needed")
    return first, second


def _one(given: list[str], usage: str) -> str:
    if len(given) != 1:
        raise ValueError(f"say: {usage}")
    return given[0]


def _choice(given: list[str], usage: str, *known: str) -> str:
    word = _one(given, usage).casefold()
    if word not in known:
        raise ValueError(f"say: {usage}")
    return word


# -- instruments --------------------------------------------------------------------------------


def volts(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A voltmeter from one point to another."""
    return _looked(workshop, said, volts=_two(workshop.probe_point, given, WORDS["volts"].usage))


def drop(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A voltmeter on its millivolt range, from one point to another."""
    return _looked(workshop, said, drop=_two(workshop.probe_point, given, WORDS["drop"].usage))


def ohms(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """An ohmmeter from one point to another."""
    return _looked(workshop, said, ohms=_two(workshop.probe_point, given, WORDS["ohms"].usage))


def lamp(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A test lamp between two points."""
    return _looked(workshop, said, lamp=_two(workshop.probe_point, given, WORDS["lamp"].usage))


def amps(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A clamp round a wire, pin, fuse or the lead."""
    place = _one(_leads(given), WORDS["amps"].usage)
    return _looked(workshop, said, amps=workshop.clampable(place))


def fuse(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A look at a fuse of the loom, or at that of the lead."""
    place = _one(_leads(given), WORDS["fuse"].usage)
    return _looked(workshop, said, fuse=workshop.fuse(place))


def _leads(given: list[str]) -> list[str]:
    """``lead 2`` by the key that it has in the circuit."""
    if given and given[0].casefold() == "lead":
        return [" ".join(["bridge", *given[1:]])]
    return given


def look(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A look at one motor or lamp, or at all of them."""
    kinds = {"motor": "speed", "lamp": "lamp"}
    parts = workshop.harness.parts
    names = [workshop.part(one, *kinds) for one in given]
    names = names or [name for name, part in parts.items() if part.kind_name in kinds]
    lines = []
    for name in names:
        lines += _looked(workshop, f"look {name}", **{kinds[parts[name].kind_name]: name})
    return lines or ["There is nothing here that turns or shines."]


def hear(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """An ear on a relay while the circuit is switched, or at a motor."""
    kinds = {"relay": "click", "motor": "hear"}
    name = workshop.part(_one(given, WORDS["hear"].usage), *kinds)
    return _looked(workshop, said, **{kinds[workshop.harness.parts[name].kind_name]: name})


def turn(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A hand on a fan that cannot start."""
    return _looked(workshop, said, turn=workshop.part(_one(given, WORDS["turn"].usage), "motor"))


# -- the state of the vehicle -------------------------------------------------------------------


def _done(workshop: Workshop, what: str, text: str, *points: str) -> list[str]:
    told = workshop.spend(what, *points)
    return [*told, text, *workshop.settle()]


def ignition(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """Ignition on or off."""
    word = _choice(given, WORDS["ignition"].usage, "on", "off")
    workshop.state["ignition"] = word
    if word == "off":
        workshop.state["running"] = "no"
    return _done(workshop, "ignition", f"Ignition {word}.")


def engine(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """Engine run or stop."""
    also = {"on": "run", "start": "run", "off": "stop"}
    given = [also.get(one.casefold(), one) for one in given]
    word = _choice(given, WORDS["engine"].usage, "run", "stop")
    if word == "run" and workshop.setup.battery == "disconnected":
        raise ValueError("it does not start with the battery disconnected")
    workshop.state["running"] = "yes" if word == "run" else "no"
    workshop.state["ignition"] = "on" if word == "run" else workshop.setup.ignition
    return _done(
        workshop,
        "engine",
        "The engine runs; mind belts and fans."
        if word == "run"
        else "The engine stands; the ignition stays as it was.",
    )


def coolant(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """Coolant at a temperature, warming or cooling."""
    way = given[-1].casefold() if given else ""
    number = given[:-1] if way in ("warming", "cooling") else given
    if not number:
        raise ValueError(f"say: {WORDS['coolant'].usage}")
    text = " ".join(number)
    celsius = CELSIUS.parse(text if "degC" in text else f"{text} degC")
    before = workshop.setup.engine.celsius
    if way not in ("warming", "cooling"):
        way = "cooling" if celsius < before else "warming"
    workshop.state["engine"] = f"{celsius:g} degC {way}"
    return _done(workshop, "coolant", f"Coolant at {celsius:g} degC, {way}.")


def switch(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A hand switch into a position."""
    if len(given) != 2:
        raise ValueError(f"say: {WORDS['switch'].usage}")
    if not any(one.kind_name == "switch" for one in workshop.harness.parts.values()):
        raise ValueError("there is no hand switch on this vehicle")
    name = workshop.part(given[0], "switch")
    known = getattr(workshop.harness.parts[name], "positions", {})
    if given[1] not in known:
        raise UnknownName(f"position of {name}", given[1], known)
    workshop.state.setdefault("switches", {})[name] = given[1]
    return _done(workshop, "switch", f"{name} in position {given[1]}.", name)


def battery(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """Battery off or on."""
    word = _choice(given, WORDS["battery"].usage, "off", "on")
    if word == "off" and workshop.setup.running:
        raise ValueError("stop the engine first")
    workshop.state["battery"] = "disconnected" if word == "off" else "connected"
    return _done(
        workshop,
        "battery",
        "Battery disconnected, clamp tied back." if word == "off" else "Battery connected.",
    )


def undo(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """The plug of a part undone."""
    name = _plugged(workshop, _one(given, WORDS["undo"].usage))
    return _put(workshop, "unplug", name) or _done(workshop, "undo", f"Plug of {name} undone.", name)


def join(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """The plug of a part joined again."""
    name = _taken(workshop, "unplug", _one(given, WORDS["join"].usage), "undone")
    return _done(workshop, "join", f"Plug of {name} joined.", name)


def _plugged(workshop: Workshop, name: str) -> str:
    name = workshop.part(name)
    if not workshop.harness.parts[name].plugged:
        raise ValueError(f"{name} has no plug that can be undone")
    return name


def pull(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A fuse or relay out of its socket."""
    name = workshop.part(_one(given, WORDS["pull"].usage), "fuse", "relay")
    _plugged(workshop, name)
    told = _put(workshop, "pull", name)
    if told:
        return told
    lines = _done(workshop, "pull", f"{name} pulled out.", name)
    burnt = any(one.mode.where == name and one.mode.mode == "blown" for one in workshop.faults)
    swapped = name in workshop.state.get("swap", [])
    if f"{name} blown" in workshop.blown or (burnt and not swapped):
        lines.append(f"The wire inside {name} is burnt through.")
    return lines


def refit(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A fuse or relay back in its socket, as it was."""
    name = _taken(workshop, "pull", _one(given, WORDS["refit"].usage), "out")
    return _done(workshop, "refit", f"{name} back in.", name)


def swap(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A known good part in place of one; or its own back in."""
    if len(given) == 2 and given[1].casefold() == "back":
        name = _taken(workshop, "swap", given[0], "swapped")
        return _done(workshop, "swap", f"{name}'s own is back in.", name)
    name = workshop.part(_one(given, WORDS["swap"].usage))
    if name not in workshop.state.setdefault("swap", []):
        workshop.state["swap"].append(name)
    workshop.blown.discard(f"{name} blown")
    for section in ("pull", "unplug"):
        if name in workshop.state.get(section, []):
            workshop.state[section].remove(name)
    return _done(workshop, "swap", f"A known good {name} is in.", name)


def _put(workshop: Workshop, section: str, name: str) -> list[str]:
    """Put a part on a list of the state; what to say if it is on it already."""
    listed = workshop.state.setdefault(section, [])
    if name in listed:
        return [f"{name} is {'out' if section == 'pull' else 'undone'} already."]
    listed.append(name)
    return []


def _taken(workshop: Workshop, section: str, name: str, word: str) -> str:
    """Take a part off a list of the state."""
    name = workshop.part(name)
    listed = workshop.state.get(section, [])
    if name not in listed:
        raise ValueError(f"{name} is not {word}")
    listed.remove(name)
    return name


def lead(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """A jumper lead on, or all leads off."""
    if [one.casefold() for one in given] == ["off"]:
        workshop.state["bridge"], workshop.bare = [], False
        workshop.blown -= {one for one in workshop.blown if one.startswith("bridge")}
        return _done(workshop, "lead", "No lead is on.")
    also = bool(given) and given[0].casefold() == "also"
    bare = bool(given) and given[-1].casefold() == "bare"
    points = given[1 if also else 0 : -1 if bare else None]
    first, second = _two(workshop.terminal, points, WORDS["lead"].usage)
    workshop.blown -= {one for one in workshop.blown if one.startswith("bridge")}
    before = workshop.state.get("bridge", []) if also else []
    workshop.state["bridge"] = [*before, (first, second)]
    workshop.bare = bare or (also and workshop.bare)
    warning = [workshop.warn_of_bare_lead()] if bare else []
    kind = ("bare" if bare else "fused") + (" second" if before else "")
    return warning + _done(workshop, "lead", f"A {kind} lead from {first} to {second}.", first, second)


def drive(workshop: Workshop, given: list[str], said: str) -> list[str]:
    """All put together and driven: what a customer would say now."""
    for section in ("unplug", "pull", "bridge", "battery", "running", "ignition"):
        workshop.state.pop(section, None)
    workshop.bare = False
    told = workshop.spend("drive")
    now = complaint(workshop.harness, workshop.faults)
    return [*told, f"Put together, driven and parked: {now}"]


LOOK, SET_UP, TRY = "to measure and to look", "to set up", "to try"

WORDS = {
    "volts": Word(LOOK, "volts A B", "voltmeter from A to B, as: volts G1.+ G1.-", volts),
    "drop": Word(LOOK, "drop A B", "volts lost from A to B, to the millivolt", drop),
    "ohms": Word(LOOK, "ohms A B", "ohmmeter from A to B; battery off first", ohms),
    "lamp": Word(LOOK, "lamp A B", "5 W test lamp from A to B", lamp),
    "amps": Word(LOOK, "amps W1", "clamp round a wire, pin, fuse or the lead", amps),
    "fuse": Word(LOOK, "fuse F1", "whether a fuse has blown, or that of the lead: fuse lead", fuse),
    "look": Word(LOOK, "look [M1]", "how fans turn and lamps shine", look),
    "hear": Word(LOOK, "hear K1", "does the relay click, does the motor run", hear),
    "turn": Word(LOOK, "turn M1", "turn a fan by hand; its supply off first", turn),
    "ignition": Word(SET_UP, "ignition on|off", "as the key does", ignition),
    "engine": Word(SET_UP, "engine run|stop", "running charges, and turns the ignition on", engine),
    "coolant": Word(SET_UP, "coolant 95 [warming|cooling]", "bring it to 95 degC; takes 8 min", coolant),
    "switch": Word(SET_UP, "switch S2 1", "a hand switch into a position", switch),
    "battery": Word(SET_UP, "battery off|on", "before and after ohms", battery),
    "undo": Word(SET_UP, "undo S1", "undo a plug", undo),
    "join": Word(SET_UP, "join S1", "join the plug again", join),
    "pull": Word(SET_UP, "pull F1", "take out a fuse or relay, and look at it", pull),
    "refit": Word(SET_UP, "refit F1", "put the fuse or relay back", refit),
    "lead": Word(SET_UP, "lead [also] A B [bare]", "a fused lead between two points; lead off", lead),
    "swap": Word(TRY, "swap K1 [back]", "try a known good part in its place", swap),
    "drive": Word(TRY, "drive", "put it together and drive it; takes 10 min", drive),
}
