"""Set-ups that the circuit itself suggests: in use, battery off, plugs undone, contacts bridged."""

from __future__ import annotations

from collections.abc import Iterator

from circuitcheck.harness.model import Harness, Setup
from circuitcheck.parts.part import Part

_WARM = 60.0
"""Coolant above which the engine has to be brought to a temperature [degC]."""


def made_setups(harness: Harness) -> Iterator[tuple[str, Setup]]:
    """Set-ups that the circuit itself suggests, with their titles."""
    use = conditions(harness)
    yield from use
    yield "battery off, fans turned by hand", _setup(battery="disconnected")
    _, busiest = use[-1]
    for name, part in harness.parts.items():
        if not part.plugged or part.kind == "battery":
            continue
        if part.kind == "fuse":
            yield f"{name} pulled out and looked at", _setup(pull=[name])
            yield f"{name} pulled, {_in_use(busiest)}", busiest.model_copy(update={"pull": [name]})
            continue
        if part.kind != "plug":
            yield (
                f"known good {name} put in, {_in_use(busiest)}",
                busiest.model_copy(update={"swap": [name]}),
            )
        yield from _undone(harness, name, part)


def _undone(harness: Harness, name: str, part: Part) -> Iterator[tuple[str, Setup]]:
    """A plug or socket undone: with the ignition on, for ohms, and with its contacts bridged."""
    undone = "pull" if part.kind == "relay" else "unplug"
    word = "on" if _ignition(harness) else "off"
    yield f"{_ignition(harness)}{name} undone", _setup(ignition=word, **{undone: [name]})
    for state, fields in (("", {}), *_closed(name, part)):
        yield (
            f"{name} undone, ohms{state}",
            _setup(battery="disconnected", **{undone: [name]}, **fields),
        )
    for one, other in _contacts(name, part):
        yield (
            f"{one} to {other} bridged",
            _setup(ignition=word, bridge=[[one, other]], **{undone: [name]}),
        )


def _closed(name: str, part: Part) -> Iterator[tuple[str, dict[str, object]]]:
    """The states in which a switch closes: its contacts can then be measured without the loom."""
    if part.kind == "ignition":
        yield ", key on", {"ignition": "on"}
    for position in _positions(part):
        yield f", in position {position}", {"switches": {name: position}}
    for celsius in _temperatures(part):
        yield f", at {celsius:g} degC", {"engine": f"{celsius:g} degC warming"}


def _positions(part: Part) -> list[str]:
    """Positions of a hand switch, the one at rest left out."""
    known = getattr(part, "positions", None) or ()
    return [one for one in known if one != getattr(part, "at_rest", "")]


def _temperatures(part: Part) -> list[float]:
    """Just above those at which a temperature switch closes [degC]."""
    stages = (getattr(part, "low", None), getattr(part, "high", None))
    return [float(one.closes) + 2.0 for one in stages if one is not None]


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
    temperatures = {one for part in harness.parts.values() for one in _temperatures(part)}
    for celsius in sorted(temperatures):
        setup = _setup(ignition="on", running="yes", engine=f"{celsius:g} degC warming")
        found.append((f"engine running, {celsius:g} degC", setup))
    for name, part in harness.parts.items():
        for position in _positions(part):
            setup = _setup(ignition="on" if at_rest else "off", switches={name: position})
            found.append((f"{at_rest}{name} in position {position}", setup))
    return found


def state_of(harness: Harness, setup: Setup) -> str:
    """What makes a set-up the same state of the circuit as another.

    Of the engine's temperature that is only which contacts it closes, and whether it has to be
    brought there.
    """
    touched = setup.model_copy(update={"engine": None})
    return repr((touched, closed_contacts(harness, setup), warmed(setup)))


def closed_contacts(harness: Harness, setup: Setup) -> tuple[bool, ...]:
    """Which contacts of the temperature switches the engine's temperature closes."""
    engine = setup.engine
    return tuple(
        stage.closed(engine.celsius, engine.warming)
        for part in harness.parts.values()
        for stage in (getattr(part, "low", None), getattr(part, "high", None))
        if stage is not None
    )


def in_use(setup: Setup) -> bool:
    """Whether nothing is undone, bridged or exchanged: a condition of ordinary use."""
    touched = (setup.pull, setup.unplug, setup.bridge, setup.feed, setup.ground, setup.swap)
    return setup.battery == "connected" and not any(touched)


def warmed(setup: Setup) -> bool:
    """Whether the engine has to be brought to a temperature first."""
    return setup.engine.celsius > _WARM


def _ignition(harness: Harness) -> str:
    """What is said of the ignition before anything else; nothing where there is none."""
    there = any(part.kind == "ignition" for part in harness.parts.values())
    return "ignition on, " if there else ""


def _contacts(name: str, part: Part) -> Iterator[tuple[str, str]]:
    """Terminal pairs of a plug or socket that a lead may join, as the part's contacts would."""
    pairs: dict[str, tuple[tuple[str, str], ...]] = {
        "relay": (("30", "87"), ("30", "87a")),
        "thermoswitch": (("2", "1"), ("2", "3")),
    }
    listed = pairs.get(part.kind, ())
    if part.kind == "switch":
        listed = tuple(dict.fromkeys(p for joined in part.positions.values() for p in joined))  # type: ignore[attr-defined]
    for one, other in listed:
        if one in part.pins() and other in part.pins():
            yield f"{name}.{one}", f"{name}.{other}"
