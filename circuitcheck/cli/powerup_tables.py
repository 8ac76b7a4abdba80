"""A power-up as tables for people."""

from __future__ import annotations

import re
from collections.abc import Sequence

from rich.padding import Padding

from circuitcheck.cli.console import caution
from circuitcheck.cli.tables import (
    cautions,
    indented,
    out,
    percent_of,
    plain_table,
    say,
    suspects,
)
from circuitcheck.expect.cautions import setup_lines
from circuitcheck.inspect.powerup.judge import CAUSES, JudgedStep, PowerupResult
from circuitcheck.inspect.powerup.observe import AMPS_LABEL, LAMP_LABEL
from circuitcheck.inspect.powerup.plan import (
    BEFORE,
    FIRST,
    START_S,
    PowerupPlan,
    Step,
    expected_words,
)
from circuitcheck.inspect.powerup.signs import Sign

_NAMES = 4
"""Faults of one mode named for one sign; the rest is counted."""
_GROUPS = 4
"""Modes named for one sign."""


def plan(found: PowerupPlan) -> None:
    """All steps."""
    say(f"{found.harness.title} ({found.harness.name})", "bold")
    indented(
        f"first power on the rebuilt loom, in {len(found.steps)} steps: everything that can be "
        "taken out is out to begin with; each step adds one thing",
        0,
    )
    indented(
        "Readings: 'lamp' is how it shines, 'amps' what passes it, 'behind' what it leaves for the "
        "loom.",
        0,
    )
    for text in BEFORE:
        caution(text, out)
    cautions(found.steps, out)
    for one in found.steps:
        say()
        step(one)


def alone(one: Step) -> None:
    """One step, with its cautions."""
    cautions([one])
    step(one)


def step(one: Step) -> None:
    """What to do, what to read, when to stop, what it means."""
    indented(f"{one.test.title}  [{one.name}]", 0, "bold")
    indented(f"{FIRST}. Then: {_situation(one)}. Power on, and read.")
    if one.lead:
        indented(f"jumper lead: {one.lead.words}")
    table = plain_table("reading", "where", "expected", right=("expected",))
    for reading, observation in zip(one.readings, one.test.observe.values(), strict=True):
        table.add_row(reading.name, _place(observation.points), expected_words(reading))
    out.print(Padding(table, (0, 0, 0, 2)))
    if one.turning:
        verb = "start" if len(one.turning) > 1 else "starts"
        indented(f"{' and '.join(one.turning)} {verb}: hands, hair and tools clear of the fan.")
    for text in _stop(one):
        indented(text)
    _signs(one)


def _place(points: tuple[str, ...]) -> str:
    if points == ("through",):
        return "in the lead of the feed"
    return " to ".join(points)


def _situation(one: Step) -> str:
    """What the loom is fed through, how it stands, and what is still out."""
    setup = one.test.setup
    bare = setup.model_copy(update={"pull": [], "unplug": [], "through": None})
    out_ = [
        name for name in (*setup.pull, *setup.unplug) if not (setup.through and name == setup.through.at)
    ]
    still = f"; out: {', '.join(out_)}" if out_ else ""
    return f"{one.fed}; {', '.join(setup_lines(bare))}{still}"


def _stop(one: Step) -> list[str]:
    """When to switch off at once; and how long a fan that runs up may look as if it were seized."""
    lamp = next((r.word for r in one.readings if r.name == LAMP_LABEL), "")
    bounds = [
        f"above {most:g} A" if name == AMPS_LABEL else f"if {name} is above {most:g} A"
        for name, most in one.stop_above.items()
    ]
    if lamp in ("dark", "dim"):
        bounds.append(f"if the lamp is more than {lamp}" if lamp == "dim" else "if the lamp glows")
    if not bounds:
        return []
    if not one.turning:
        return [f"Off at once {', or '.join(bounds)}."]
    seconds = f"{one.run_up_s:g} s"
    more = "the lamp may be bright and the current higher" if lamp else "the current may be higher"
    much = "With the lamp bright" if lamp else "With more current than that"
    return [
        f"While a fan runs up, for up to {seconds}, {more}: read after that. Off at once if one has not "
        f"begun to turn after {START_S:g} s. {much} it is seized, or something on its way is shorted.",
        f"After {seconds}, off at once {', or '.join(bounds)}.",
    ]


def _signs(one: Step) -> None:
    """What it means if a reading is off; each fault under the first of them only."""
    told: set[str] = set()
    if one.signs:
        indented("If a reading is off, what shows here for the first time:")
    for sign in one.signs:
        names = [name for name in sign.faults if name not in told]
        told.update(names)
        if names:
            indented(f"- {_said(sign)}: {_in_groups(names)}", 4)


_SAME = re.compile(r"(.+?) ((?:stuck )?open|high resistance|short to (?:ground|supply)|blown|welded)")
"""Where a fault is, and a mode that many places share."""


def _in_groups(faults: Sequence[str]) -> str:
    """Faults of one mode taken together, the likeliest first: ``W1, W6 short to ground; W4 open``."""
    groups: dict[str, list[str]] = {}
    for fault in faults:
        match = _SAME.fullmatch(fault)
        groups.setdefault(match[2] if match else fault, []).append(match[1] if match else "")
    shown = list(groups.items())[:_GROUPS]
    told = [_named(places, mode) for mode, places in shown]
    rest = len(faults) - sum(len(places) for _, places in shown)
    return "; ".join(told) + (f"; and {rest} more" if rest else "")


def _named(places: Sequence[str], mode: str) -> str:
    """The places of one mode, counted from some number on."""
    if places == [""]:
        return mode
    more = len(places) - _NAMES
    names = (
        f"{', '.join(places[:_NAMES])} or {more} more"
        if more > 0
        else " or ".join(filter(None, (", ".join(places[:-1]), places[-1])))
    )
    return f"{names} {mode}"


def _said(sign: Sign) -> str:
    if not sign.reading:
        return "a relay chatters, the lamp flickers"
    return f"{sign.reading} {sign.what}"


def result(found: PowerupResult) -> None:
    """Step by step; then why to stop, or what to do next."""
    say(f"{found.plan.harness.title} ({found.plan.harness.name})", "bold")
    table = plain_table("step", "", "result")
    for one in found.steps:
        if one.status != "not done":
            table.add_row(one.step.name, one.step.test.title, _status(one))
    out.print(table)
    say()
    say(f"Result: {found.status}", "bold")
    indented(found.stop_words or found.summary)
    if found.causes is not None:
        _causes(found)
    elif found.status == "stop":
        say()
        suspects(found.verdict, hint=False)
        _more(found)
    elif found.next_step is not None:
        cautions([found.next_step])
        say()
        step(found.next_step)


def _causes(found: PowerupResult) -> None:
    """What makes too much current flow in the step; the verdict on the whole sheet is no help there."""
    say()
    say("What does it in this step" if found.causes else "No one fault does it in this step", "bold")
    causes = found.causes or ()
    if causes:
        table = plain_table("replace or repair", "chance", "what is wrong with it", right=("chance",))
        for one in causes[:CAUSES]:
            table.add_row(one.unit, percent_of(one.chance), ", ".join(one.faults))
        out.print(table)
        if len(causes) > CAUSES:
            say(f"and {len(causes) - CAUSES} more, with --json")
    say()
    indented(found.causes_words, 0)


def _more(found: PowerupResult) -> None:
    """What parts the suspects."""
    if not found.more:
        return
    say()
    indented(
        "To tell them apart, put power on again as in that step, if nothing glowed or smelled, read "
        "from the back of the socket where something is plugged in, and add to the sheet:",
        0,
    )
    for one in found.more:
        indented(one.name)
        for read, who in one.outcomes:
            more = f" and {len(who) - _NAMES} more" if len(who) > _NAMES else ""
            indented(f"{read}: {', '.join(who[:_NAMES])}{more}", 4)


def _status(one: JudgedStep) -> str:
    if one.off:
        return f"{one.status}: {', '.join(off.reading for off in one.off)}"
    text: str = one.status
    if one.a_little:
        text += f"; a little out: {', '.join(off.reading for off in one.a_little)}"
    if one.missing and one.status == "as expected":
        text += f"; not read: {', '.join(one.missing)}"
    return text
