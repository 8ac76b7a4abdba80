"""Where the resistors are to be: as they are, one for all fans, outside the fan, or in a wire."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Harness
from circuitcheck.inspect.design import Design, Live
from circuitcheck.inspect.words import listed
from circuitcheck.joined import Joined
from circuitcheck.learn.resistor.draft import TAIL, Draft
from circuitcheck.learn.resistor.stage import Stage
from circuitcheck.parts.resistor import CutOut

ALIKE = 0.01
"""Currents that differ by a smaller share are the same current; lamps and coils draw less."""


@dataclass(frozen=True)
class Layout:
    """A harness with resistors in it that are to be sized.

    :param words: where they are
    :param steps: what is done to the vehicle, in order
    :param dropped: tests and observations that name what is gone
    """

    harness: Harness
    resistors: tuple[str, ...]
    words: str
    steps: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()

    def fitted(self, ohms: float, watts: float, cut_out: float | None) -> Harness:
        """The harness with the resistors sized.

        :param cut_out: where a thermal cut-out opens [degC]; None leaves them as they are
        """
        fields: dict[str, object] = {"ohms": ohms, "watts": watts}
        if cut_out is not None:
            fields["cut_out"] = CutOut.model_validate({"opens": f"{cut_out:g} degC"})
        sized = {name: self.harness.parts[name].model_copy(update=fields) for name in self.resistors}
        return self.harness.model_copy(update={"parts": {**self.harness.parts, **sized}})


def present(design: Design, stage: Stage) -> Layout:
    """The resistors where they are."""
    each = ", one for each fan" if len(stage.resistors) > 1 else ""
    return Layout(design.harness, stage.resistors, f"{listed(stage.resistors)}, in place{each}")


def into_wire(harness: Harness, wire: str) -> Layout:
    """A new resistor in a wire, which is cut in the middle.

    :raises UnknownName: if there is no such wire
    """
    if wire not in harness.wires:
        raise UnknownName("wire", wire, harness.wires)
    draft = Draft(harness)
    name = draft.new_resistor(f"in wire {wire}")
    return _layout(draft, (name,), f"{name}, new, in {wire}", [draft.insert(name, wire)])


def one_for_all(design: Design, stage: Stage) -> Layout:
    """One resistor in the wire that all slowed fans share; those at the fans are bridged.

    :raises ValueError: if there is one fan only, or no such wire
    """
    shared = _shared_wire(design, stage)
    draft = Draft(design.harness)
    for gone in stage.resistors:
        draft.bypass(gone)
    name = draft.new_resistor(f"in wire {shared}")
    return _layout(
        draft,
        (name,),
        f"{name}, new, in {shared}, one for {listed(stage.motors)}",
        [f"bridge {listed(stage.resistors)} at the fans", draft.insert(name, shared)],
    )


def outside(design: Design, stage: Stage) -> Layout:
    """New resistors at the plugs of the units whose own have failed.

    Each joins the loom's wires at the two pins between which the failed one lies. A wire that served
    the failed one alone is taken off its pin; another keeps its place and is spliced.

    :raises ValueError: if a resistor is not in a unit, or has an end that does not come out at a plug
    """
    draft, steps, names = Draft(design.harness), [], []
    for failed in stage.resistors:
        unit = design.harness.parts[failed].belongs_to
        if not unit:
            raise ValueError(
                f"{failed} stands by itself and can be renewed where it is; leave --outside out"
            )
        ends = [_way_out(design, failed, unit, pin) for pin in ("1", "2")]
        name = draft.new_resistor(f"outside the {unit}")
        draft.remove(failed)
        names.append(name)
        for pin, (wire, end, alone) in zip(("1", "2"), ends, strict=True):
            steps.append(_hook_up(draft, f"{name}.{pin}", wire, end, alone=alone))
        if not any(alone for _, _, alone in ends):
            steps.append(f"see that {failed} is burnt through: it stays joined at both ends")
    units = [design.harness.parts[one].belongs_to or "" for one in stage.resistors]
    return _layout(draft, names, f"{listed(names)}, new, outside the {listed(units)}", steps)


def one_outside(design: Design, stage: Stage) -> Layout:
    """One new resistor for all slowed fans, from their shared slow feed to their shared fast one.

    :raises ValueError: if there is one fan only, or no such wires
    """
    slow = _shared_wire(design, stage)
    fast = _wire_with(
        design,
        lambda scene: sum(scene.amps(f"{one}:motor") for one in stage.motors) - _sum(scene, stage),
    )
    if fast is None:
        raise ValueError(
            f"{listed(stage.motors)} share no wire that passes {listed(stage.resistors)} "
            "by, so one resistor outside cannot feed them all"
        )
    draft = Draft(design.harness)
    end = _end_towards(design, slow, stage.resistors[0])
    name = draft.new_resistor("beside the loom")
    for gone in stage.resistors:
        draft.remove(gone)
    steps = [
        _hook_up(draft, f"{name}.1", slow, end, alone=True),
        _hook_up(draft, f"{name}.2", fast, draft.wires[fast].end, alone=False),
    ]
    return _layout(
        draft, (name,), f"{name}, new, outside the fans, one for {listed(stage.motors)}", steps
    )


def _layout(draft: Draft, names: Sequence[str], words: str, steps: Sequence[str]) -> Layout:
    harness, dropped = draft.finished()
    return Layout(harness, tuple(names), words, tuple(steps), tuple(dropped))


def _hook_up(draft: Draft, terminal: str, wire: str, end: str, *, alone: bool) -> str:
    """Join a resistor's end to a wire: put the wire on it, or splice into the wire; what was done."""
    colour = f" ({draft.wires[wire].colour})" if draft.wires[wire].colour else ""
    if alone:
        draft.move(wire, end, terminal)
        return f"take {wire}{colour} off {end} and put it on {terminal}"
    like = draft.wires[wire]
    draft.new_wire(terminal, draft.tap(wire, end), like, TAIL)
    return f"splice {wire}{colour} near {end} and join {terminal} to it"


# -- finding places by what is joined and by what flows ---------------------------------------------


def _way_out(design: Design, failed: str, unit: str, pin: str) -> tuple[str, str, bool]:
    """The loom's wire that reaches one end of a resistor through its unit's plug.

    :returns: wire, the end of it at the plug, and whether it reaches nothing else in the unit
    :raises ValueError: if there is none
    """
    harness = design.harness
    inner = [(one.start, one.end) for one in harness.wires.values() if one.belongs_to == unit]
    sets = _sets(harness, inner, unit)
    home = sets.root(f"{failed}.{pin}")
    found = [
        (name, end)
        for name, one in harness.wires.items()
        if one.belongs_to != unit
        for end in (one.start, one.end)
        if sets.root(end) == home
    ]
    if not found:
        raise ValueError(
            f"{failed}.{pin} does not come out of the {unit} at a plug, so a resistor "
            f"outside cannot take the place of {failed}"
        )
    others = [
        name
        for name, part in harness.parts.items()
        if name != failed
        and part.kind_name not in ("splice", "plug")
        and any(sets.root(node) == home for node in part.nodes(name))
    ]
    return (*found[0], len(found) == 1 and not others)


def _sets(harness: Harness, wires: Sequence[tuple[str, str]], unit: str | None = None) -> Joined[str]:
    """What some wires, the plugs, and the splices (of one unit) join."""
    sets = Joined(wires)
    for name, part in harness.parts.items():
        for contact in part.contacts(name).values():
            sets.join(contact.tail, contact.head)
        if part.kind_name == "splice" and unit in (None, part.belongs_to):
            for node in part.nodes(name):
                sets.join(part.nodes(name)[0], node)
    return sets


def _end_towards(design: Design, wire: str, part: str) -> str:
    """The end of a wire that is joined to a part when the wire is cut."""
    harness = design.harness
    rest = [(one.start, one.end) for name, one in harness.wires.items() if name != wire]
    sets, cut = _sets(harness, rest), harness.wires[wire]
    nodes = harness.parts[part].nodes(part)
    return next(
        (end for end in (cut.start, cut.end) if any(sets.together(end, one) for one in nodes)), cut.end
    )


def _sum(scene: Live, stage: Stage) -> float:
    return sum(scene.amps(f"{name}:element") for name in stage.resistors)


def _shared_wire(design: Design, stage: Stage) -> str:
    """The wire that carries the current of all resistors of a stage together, in every state of use."""
    if len(stage.resistors) < 2:
        raise ValueError(
            f"{listed(stage.resistors)} slows {listed(stage.motors)} alone; one resistor "
            "for several fans needs several that run slowly together"
        )
    found = _wire_with(design, lambda scene: _sum(scene, stage))
    if found is None:
        raise ValueError(
            f"the currents of {listed(stage.resistors)} come together in no wire of their "
            "own, so one resistor cannot take the place of them"
        )
    return found


def _wire_with(design: Design, amps: Callable[[Live], float]) -> str | None:
    """The first wire that carries just some current in every state of use, and at times much of it."""
    wanted = [(scene, amps(scene)) for scene in design.running]
    most = max((one for _, one in wanted), default=0.0)
    if most < 1.0:
        return None
    return next(
        (
            name
            for name in design.harness.wires
            if all(abs(scene.amps(name) - one) < ALIKE * most for scene, one in wanted)
        ),
        None,
    )
