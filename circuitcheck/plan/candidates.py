"""The tests there are to choose from: the harness's own, and those the circuit itself suggests.

A candidate is a set-up with everything that could be read in it. Made ones are conditions of use,
plugs undone, contacts bridged at the socket or the plug, a lead from the battery to a load, ohms of a
part that is undone, and a known good spare put in. One that would pass more than a lead's fuse can
carry, or blow a fuse of a sound vehicle, is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from circuitcheck.circuit.build import lead_keys
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead, lead_for
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.parts.part import Part

READING = 0.5
"""Minutes to take one more reading in a set-up; common practice, no source."""
_BASE, _STEP, _WARM = 2.0, 1.0, 10.0
"""Minutes to begin, for each plug, fuse or lead, and to bring the engine to a temperature; common
practice, no source."""
_LEAD_LIMIT = 25.0
"""A candidate may not pass more than this through a lead [A]: under the lead's fuse."""

_LOST = (0.0005, 1.0)
"""Volts lost on the way in a sound circuit between which they are worth measuring [V]."""


@dataclass(frozen=True)
class Candidate:
    """A set-up and what could be read in it.

    :param name: of the harness's own test, or made up from the set-up
    :param observations: by their names
    :param listed: how many of them, from the first, the harness's own test lists
    :param minutes: for the set-up alone
    :param access: entries of the harness's ``access`` that must be open
    :param lead: what the lead has to carry, if there is one
    """

    name: str
    title: str
    setup: Setup
    observations: tuple[tuple[str, Observation], ...]
    listed: int
    minutes: float
    access: tuple[str, ...]
    lead: Lead | None
    needs: frozenset[str]


TOOLS = ("meter", "clamp", "lamp", "leads", "spares", "helper")
"""What a person may or may not have; a helper turns the key and tells what the fans do."""


def candidates(harness: Harness) -> list[Candidate]:
    """Every test worth thinking of, each set-up once."""
    found: list[Candidate] = []
    seen: set[str] = set()
    for name, test in harness.tests.items():
        made = _candidate(harness, name, test.title, test.setup, dict(test.observe), test.minutes)
        if made is not None:
            seen.add(repr(test.setup))
            access = tuple(dict.fromkeys([*test.access, *made.access]))
            found.append(_with_access(made, access))
    for title, setup in _made(harness):
        if repr(setup) not in seen:
            seen.add(repr(setup))
            made = _candidate(harness, _slug(title), title, setup, {}, None)
            if made is not None:
                found.append(made)
    return found


def _with_access(one: Candidate, access: tuple[str, ...]) -> Candidate:
    return Candidate(one.name, one.title, one.setup, one.observations, one.listed, one.minutes,
                     access, one.lead, one.needs)  # fmt: skip


def _slug(title: str) -> str:
    kept = "".join(one if one.isalnum() or one in ".+" else "-" for one in title)
    return "-".join(part for part in kept.split("-") if part).lower()


def _candidate(
    harness: Harness, name: str, title: str, setup: Setup, listed: dict[str, Observation],
    minutes: float | None,
) -> Candidate | None:  # fmt: skip
    """A candidate, unless a sound vehicle would suffer from it."""
    point = Bench(harness, setup, ()).point({})
    leads = [abs(point.amps.get(key, 0.0)) for key in lead_keys(setup)]
    blown = any(state and "blown" in state_name for state_name, state in point.states.items())
    made_up = minutes is None
    if made_up and (blown or max(leads, default=0.0) > _LEAD_LIMIT or point.buzzing):
        return None
    if minutes is None:
        steps = len(setup.pull) + len(setup.unplug) + len(leads) + 3 * len(setup.swap)
        minutes = _BASE + _STEP * steps
        minutes += _WARM if setup.engine.celsius > 60 else 0.0
        minutes += 1.0 if setup.battery == "disconnected" else 0.0
    else:
        minutes = max(minutes - READING * len(listed), 1.0)
    everything = {**listed, **_observations(harness, setup, listed.values(), point.volts)}
    if not everything:
        return None
    needs = {"spares"} if setup.swap else set()
    needs |= {"leads"} if leads else set()
    return Candidate(
        name, title, setup, tuple(everything.items()), len(listed), minutes,
        setup_access(harness, setup), lead_for(max(leads)) if leads else None, frozenset(needs),
    )  # fmt: skip


def setup_access(harness: Harness, setup: Setup) -> tuple[str, ...]:
    """What must be open to do the set-up."""
    touched = [*setup.pull, *setup.unplug, *setup.swap]
    ends = [*(end for pair in setup.bridge for end in pair), *setup.feed, *setup.ground]
    touched += [end.partition(".")[0] for end in ends]
    found = [harness.parts[name].access for name in touched if name in harness.parts]
    return tuple(dict.fromkeys(one for one in found if one))


def access_of(harness: Harness, observation: Observation) -> tuple[str, ...]:
    """What must be open to take a reading."""
    if observation.kind in ("speed", "click", "lamp") and len(observation.points) == 1:
        return ()  # seen or heard from outside
    names = [point.partition(".")[0] for point in observation.points]
    found = [harness.parts[name].access for name in names if name in harness.parts]
    return tuple(dict.fromkeys(one for one in found if one))


def tool_of(observation: Observation) -> str:
    """What it takes to take a reading."""
    if observation.kind == "amps":
        return "meter" if observation.inline else "clamp"
    if observation.kind in ("speed", "click"):
        return "eyes"
    if observation.kind == "lamp":
        return "lamp" if len(observation.points) == 2 else "eyes"
    return "meter"


# -- set-ups ------------------------------------------------------------------------------------------


def _made(harness: Harness) -> Iterator[tuple[str, Setup]]:
    """Set-ups that the circuit itself suggests, with their titles."""
    use = conditions(harness)
    yield from use
    _, busiest = use[-1]
    for name, part in harness.parts.items():
        if not part.plugged or part.kind == "battery":
            continue
        if part.kind == "fuse":
            yield f"{name} pulled, {_in_use(busiest)}", busiest.model_copy(update={"pull": [name]})
            continue
        undone = "pull" if part.kind == "relay" else "unplug"
        word = "on" if _ignition(harness) else "off"
        yield f"{_ignition(harness)}{name} undone", _setup(ignition=word, **{undone: [name]})
        yield (f"{name} undone, ohms", _setup(battery="disconnected", **{undone: [name]}))
        if part.kind != "plug":
            yield f"known good {name} put in, {_in_use(busiest)}", busiest.model_copy(
                update={"swap": [name]}
            )
        for one, other in _contacts(name, part):
            yield (f"{one} to {other} bridged", _setup(
                ignition=word, bridge=[[one, other]], **{undone: [name]}))  # fmt: skip


def _setup(**fields: object) -> Setup:
    return Setup.model_validate(fields)


def _in_use(setup: Setup) -> str:
    if setup.switches:
        return ", ".join(f"{name} in position {position}" for name, position in setup.switches.items())
    return f"engine at {setup.engine.celsius:.0f} degC"


def conditions(harness: Harness) -> list[tuple[str, Setup]]:
    """Conditions of ordinary use, from the quietest to the busiest, with their titles."""
    at_rest = _ignition(harness)
    found = [(f"{at_rest}engine cold", _setup(ignition="on" if at_rest else "off"))]
    temperatures: set[float] = set()
    for part in harness.parts.values():
        for stage in (getattr(part, "low", None), getattr(part, "high", None)):
            if stage is not None:
                temperatures.add(float(stage.closes) + 2.0)
    for celsius in sorted(temperatures):
        setup = _setup(ignition="on", running="yes", engine=f"{celsius:g} degC warming")
        found.append((f"engine running, {celsius:g} degC", setup))
    for name, part in harness.parts.items():
        for position in getattr(part, "positions", None) or ():
            if position != getattr(part, "at_rest", ""):
                setup = _setup(ignition="on" if at_rest else "off", switches={name: position})
                found.append((f"{at_rest}{name} in position {position}", setup))
    return found


def _ignition(harness: Harness) -> str:
    """What is said of the ignition before anything else; nothing where there is none."""
    there = any(part.kind == "ignition" for part in harness.parts.values())
    return "ignition on, " if there else ""


def _contacts(name: str, part: Part) -> Iterator[tuple[str, str]]:
    """Terminal pairs of a plug or socket that a lead may join, as the part's contacts would."""
    pairs: dict[str, tuple[tuple[str, str], ...]] = {
        "relay": (("30", "87"), ("30", "87a")), "thermoswitch": (("2", "1"), ("2", "3")),
    }  # fmt: skip
    listed = pairs.get(part.kind, ())
    if part.kind == "switch":
        listed = tuple(dict.fromkeys(p for joined in part.positions.values() for p in joined))  # type: ignore[attr-defined]
    for one, other in listed:
        if one in part.pins() and other in part.pins():
            yield f"{name}.{one}", f"{name}.{other}"


# -- readings -----------------------------------------------------------------------------------------


Target = tuple[str, tuple[str, ...]]


def _observations(
    harness: Harness, setup: Setup, listed: Iterable[Observation], volts: Mapping[str, float]
) -> dict[str, Observation]:
    """What else could be read in a set-up; named as in a sheet of readings."""
    known = {repr(one) for one in listed}
    found: dict[str, Observation] = {}
    for kind, points in _targets(harness, setup, volts):
        target = points[0] if len(points) == 1 else points
        one = Observation.model_validate({kind: target})
        if repr(one) not in known:
            found[f"{kind} {' '.join(points)}"] = one
    return found


def _targets(harness: Harness, setup: Setup, volts: Mapping[str, float]) -> Iterator[Target]:
    undone = [*setup.unplug, *setup.pull]
    if setup.battery == "disconnected":
        for name in undone:
            yield from _ohms(harness, name)
        return
    for name, part in harness.parts.items():
        if part.plugged or part.kind in ("ground", "battery"):  # else no place for a probe
            yield from _volts(harness, name, volts)
        if part.kind == "fuse" and name not in undone:
            yield "amps", (name,)
        look = {"motor": "speed", "relay": "click", "lamp": "lamp"}.get(part.kind)
        if look and name not in undone:
            yield look, (name,)
    for key in lead_keys(setup):
        yield "amps", (key,)


def _ohms(harness: Harness, name: str) -> Iterator[Target]:
    """Between the part's own terminals, and from its plug to battery minus."""
    part = harness.parts[name]
    own = [part.own(name, pin) for pin in part.pins()]
    for pair in combinations(own, 2):
        yield "ohms", pair
    for pin in part.pins():
        yield "ohms", (f"{name}.{pin}", f"{harness.supply.battery}.-")


def _volts(harness: Harness, name: str, volts: Mapping[str, float]) -> Iterator[Target]:
    """Against battery minus, and what is lost on the way from or to the battery."""
    minus, plus = f"{harness.supply.battery}.-", f"{harness.supply.battery}.+"
    for pin in harness.parts[name].pins():
        node = f"{name}.{pin}"
        if node == minus:
            continue
        yield "volts", (node, minus)
        here, lost = abs(volts.get(node, 0.0)), abs(volts.get(plus, 0.0) - volts.get(node, 0.0))
        if _LOST[0] < here < _LOST[1]:
            yield "drop", (node, minus)
        elif _LOST[0] < lost < _LOST[1]:
            yield "drop", (plus, node)
