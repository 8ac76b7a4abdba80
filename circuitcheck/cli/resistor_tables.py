"""What people see of a sized resistor, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from itertools import groupby
from pathlib import Path

from rich.padding import Padding
from rich.table import Table

from circuitcheck.cli.console import Paper, caution
from circuitcheck.expect.cautions import LEAVE_ALONE
from circuitcheck.inspect.limits import Limits
from circuitcheck.inspect.rule import Finding, Severity
from circuitcheck.inspect.words import number, seconds
from circuitcheck.learn.resistor import heat
from circuitcheck.learn.resistor.answer import MARGIN_SOURCE, Arrangement, Fan, Outcome, Sizing
from circuitcheck.learn.resistor.effects import FuseLoad, first_to_open
from circuitcheck.learn.resistor.rig import Wish

_out = Paper()

HOT = (
    "A resistor gets hot enough to burn skin and set fire to a loom: mount it on metal in the wind "
    "of the fan, away from plastic, fuel and hoses."
)
FUSED = "Work on it with the battery disconnected; never fit a larger fuse to make a resistor last."


def cautions() -> None:
    """On standard error, as they hold for any of it."""
    for text in (HOT, FUSED, LEAVE_ALONE):
        caution(text)


def sizing(found: Sizing, written: Path | None) -> None:
    """The whole answer."""
    _say(f"{found.harness.title} ({found.harness.name})", style="bold")
    _head(found)
    _values(found)
    _rating(found)
    _loads(found)
    _arrangements(found.arrangements)
    _steps(found)
    if written is not None:
        _inspected(found, written)


def _say(text: str = "", left: int = 0, style: str | None = None, hanging: int = 0) -> None:
    for line in textwrap.wrap(
        text,
        max(min(_out.width, 80), 40),
        initial_indent=" " * left,
        subsequent_indent=" " * (left + hanging),
        break_on_hyphens=False,
    ) or [""]:
        _out.print(line, markup=False, soft_wrap=True, style=style)


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]], left: Sequence[str] = ()) -> None:
    table = Table(box=None, pad_edge=False, show_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, justify="left" if column in left else "right", overflow="fold")
    for row in rows:
        table.add_row(*row)
    _out.print(Padding(table, (0, 0, 0, 2)))


def _of(outcome: Outcome, motor: str) -> Fan:
    return next(one for one in outcome.fans if one.motor == motor)


def _percent(share: float) -> str:
    return f"{share:.0%}".replace("%", " %")


def _head(found: Sizing) -> None:
    motor = found.wish.motor
    exact = _of(found.exact, motor)
    _say(f"{found.layout.words}; {found.scene}")
    each = " each" if len(found.layout.resistors) > 1 else ""
    _say()
    _say(f"Needed: {number(found.exact.ohms)} ohm{each}, for {_wanted(found.wish, exact)}", style="bold")
    _say(f"Full speed is {number(found.full[motor])} rpm.", 2)
    if found.now is not None:
        now = _of(found.now, motor)
        _say(
            f"As described it is {number(found.now.ohms)} ohm{each}: {motor} at {number(now.rpm)} rpm "
            f"({_percent(now.share)}), {number(now.amps)} A.",
            2,
        )


def _wanted(wish: Wish, fan: Fan) -> str:
    speed = f"{number(fan.rpm)} rpm, {_percent(fan.share)} of its full speed"
    return f"{wish.motor} at {speed}, {number(fan.amps)} A"


def _values(found: Sizing) -> None:
    motors = [fan.motor for fan in found.exact.fans]
    main = found.wish.motor
    columns = [
        "ohms",
        "next in",
        *(f"{one} rpm" for one in motors),
        f"{main} of full",
        f"{main} amps",
        "watts",
        f"{found.taken.locked} locked",
        "",
    ]
    listed_ = [*found.standard]
    if found.taken not in listed_:
        listed_ = sorted([*listed_, found.taken], key=lambda one: one.ohms)
    rows = []
    for one in listed_:
        fan = _of(one, main)
        rows.append(
            [
                f"{one.ohms:g}",
                " ".join(one.series) or "as told",
                *(number(each.rpm) for each in one.fans),
                _percent(fan.share),
                number(fan.amps),
                f"{number(one.watts)} W",
                f"{number(one.locked_watts)} W",
                "<- taken" if one is found.taken else "",
            ]
        )
    _say()
    _say("Standard values (IEC 60063) around it, the next below and above of each series", style="bold")
    _table(columns, rows, left=("next in", ""))
    _say(
        "watts: of each resistor while the fan runs; locked: with the rotor of that fan locked, one "
        "fan at a time",
        2,
    )


def _rating(found: Sizing) -> None:
    rating, taken, surface = found.rating, found.taken, found.surface
    source = f" ({MARGIN_SOURCE})" if found.margin == heat.MARGIN else ""
    _say()
    each = " each" if len(found.layout.resistors) > 1 else ""
    head = "Not this: it would trip in normal running:" if found.trips else "Take"
    _say(f"{head} {taken.ohms:g} ohm, {rating.take:g} W{each}{_cut_out(found)}", style="bold")
    if found.trips:
        _say(_instead(found), 2, style="bold")
    _say(
        f"Running it gives off {number(taken.watts)} W; times {found.margin:g}{source} that asks for "
        f"{rating.running:g} W. With {taken.locked} locked it gives off {number(taken.locked_watts)} W; "
        f"to bear that continuously in air of {found.ambient:g} degC asks for {rating.locked:g} W.",
        2,
    )
    for text in _what_ends_it(found):
        _say(text, 2)
    opens = found.opens_at
    locked = (
        f"{_celsius(surface.locked)} with {taken.locked} locked and left"
        if opens is None
        else f"up to the {opens:g} degC of its cut-out with {taken.locked} locked"
    )
    if opens is not None and found.trips:
        locked = f"above the {opens:g} degC at which its cut-out opens"
    _say(
        f"Surface, estimated: {_celsius(surface.running)} running, {locked}; "
        f"{number(surface.kelvin_per_watt)} K for each watt, {surface.rests_on}.",
        2,
    )
    name = heat.wire_class(surface.running)
    least = (
        f"class {name} or better (ISO 6722-1; from memory)"
        if name
        else "no class of ISO 6722-1: bare terminals on ceramic"
    )
    _say(f"Wire that touches it: {least}.", 2)


def _instead(found: Sizing) -> str:
    """What to choose where a cut-out would trip in normal running."""
    opens, surface, taken = found.opens_at or 0.0, found.surface, found.taken
    ways = []
    if surface.running < Limits()["cut-out-most"]:
        ways.append(f"a cut-out that opens above {surface.running:.0f} degC")
    if surface.rests_on == heat.ASSUMED and opens > found.ambient:
        watts = heat.rating_below(taken.watts, opens, found.ambient)
        margin = math.ceil(10 * watts / taken.watts) / 10
        ways.append(f"{watts:g} W (--margin {margin:g} comes to that or more)")
    instead = " or ".join(ways) or "more ohms or no cut-out"
    return (
        f"Choose {instead} instead. Only the fan's wind, which is left out of account here, could "
        "keep it below: measure."
    )


def _cut_out(found: Sizing) -> str:
    return "" if found.cut_out is None else f", with a cut-out that opens at {found.cut_out:g} degC"


def _celsius(value: float) -> str:
    return f"{value:.0f} degC" if value <= heat.HOTTEST else f"over {heat.HOTTEST:g} degC (it burns out)"


def _what_ends_it(found: Sizing) -> Iterable[str]:
    """Whether anything ends a locked fan, and what could."""
    fuse = first_to_open(found.fuses)
    if fuse is not None and not found.burns:
        yield f"Fuse {fuse.fuse} opens within {seconds(fuse.opens)} with {found.taken.locked} locked."
    elif found.burns:
        yield (
            f"Nothing blows then: one of {found.rating.running:g} W would burn first. So take the "
            "larger one, or one with a thermal cut-out (--cut-out)."
        )
        if found.own_fuse is not None:
            yield f"A fuse of its own of {found.own_fuse:g} A would end it as well."
        else:
            yield (
                "A fuse of its own is no help: none carries the running current all the time and opens "
                "at the locked one, the resistor keeps the two so near."
            )
    elif found.taken.locked_watts <= found.rating.take * heat.share_kept(found.ambient):
        yield "It bears a locked fan however long; no fuse has to end it."
    else:
        yield "A thermal cut-out ends a locked fan; no fuse is sure to."


def _loads(found: Sizing) -> None:
    _say()
    _say("Fuses and contacts in its way", style="bold")
    rows = [
        [
            one.fuse,
            f"{one.rating:g} A",
            _before(one.before),
            f"{number(one.running)} A",
            f"{number(one.locked)} A",
            _blows(one),
        ]
        for one in found.fuses
    ]
    rows += [
        [
            one.contact,
            f"{one.rating:g} A" + ("" if one.stated else " (usual)"),
            _before(one.before),
            f"{number(one.running)} A",
            f"{number(one.locked)} A",
            f"closes onto {number(one.starting)} A",
        ]
        for one in found.contacts
    ]
    _table(["", "rating", "now", "then", f"{found.taken.locked} locked", " "], rows, left=("", " "))
    for text in found.warnings:
        _say(f"! {text}", 2, hanging=2)


def _blows(one: FuseLoad) -> str:
    if not math.isinf(one.opens):
        return f"blows within {seconds(one.opens)}"
    return "need not blow" if one.over else "does not blow"


def _before(amps: float | None) -> str:
    return "" if amps is None else f"{number(amps)} A"


def _arrangements(found: Sequence[Arrangement]) -> None:
    if len(found) < 2:
        return
    _say()
    _say("One resistor for all, or one each, for the same speed", style="bold")
    rows = [
        [
            str(one.count),
            f"{number(one.ohms)} ohm",
            f"{number(one.watts)} W",
            f"{number(one.locked_watts)} W",
            "" if one.left_alone is None else f"{number(one.left_alone)} rpm",
            one.words,
        ]
        for one in found
    ]
    _table(["", "each", "running", "one locked", "other if one is dead", " "], rows, left=(" ",))


def _steps(found: Sizing) -> None:
    if found.layout.steps:
        _say()
        _say("What to do", style="bold")
    for step in found.layout.steps:
        _say(f"- {step}", 2, hanging=2)
    for text in found.cures:
        _say(f"- {text}, for else inspect finds it serious", 2, hanging=2)
    if found.layout.dropped:
        _say(
            f"Left out of the changed harness, as they name what is gone: "
            f"{', '.join(found.layout.dropped)}",
            2,
        )


def _inspected(found: Sizing, written: Path) -> None:
    result = found.inspected
    _say()
    _say(f"Written to {written}. What inspect finds, against the harness as it was", style="bold")
    for word, findings in (("gone", result.gone), ("new", result.come), ("moved", result.moved)):
        for (severity, rule), group in groupby(findings, key=lambda one: (one.severity, one.rule)):
            _findings(word, f"{severity.name}  {rule}", list(group))
    _say(f"{result.same} more are as they were. circuitcheck inspect {written} tells all.", 2)


def _findings(word: str, rule: str, found: Sequence[Finding]) -> None:
    """Findings of one rule: what is gone, and notes, by their places alone."""
    _say(f"{word:<6}{rule}: {', '.join(one.place for one in found)}", 2, hanging=8)
    if word != "gone" and found[0].severity is not Severity.note:
        for one in found:
            _say(f"{one.place}: {one.words}", 8, hanging=2)
