"""What people see of a sized wire, and of the leads of a harness's tests."""

from __future__ import annotations

import textwrap

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table

from circuitcheck.cli.console import Paper, caution
from circuitcheck.expect.cautions import LEAD, LEAD_FUSE, LEAVE_ALONE
from circuitcheck.expect.expected import Expectation
from circuitcheck.inspect.sizing import Choice
from circuitcheck.inspect.words import number

_out = Paper()


def _say(text: str, left: int = 0, style: str | None = None) -> None:
    for line in textwrap.wrap(text, max(min(_out.width, 100) - left, 30)):
        _out.print(" " * left + line, markup=False, soft_wrap=True, style=style)


def _plain(shown: RenderableType) -> None:
    """Without blanks at the ends of lines."""
    with _out.capture() as capture:
        _out.print(shown)
    for line in capture.get().splitlines():
        _out.file.write(line.rstrip() + "\n")


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False, header_style="bold")
    for number_, column in enumerate(columns):
        table.add_column(column, justify="left" if number_ in (0, len(columns) - 1) else "right")
    return table


def choice(given: Choice) -> None:
    """Wire, fuse, and the sizes around it."""
    need, chosen = given.need, given.chosen
    fuse = "no blade fuse is large enough" if given.fuse is None else f"{given.fuse:g} A fuse"
    if chosen is None:
        _say(f"No standard wire of the table will do; {fuse}.", style="bold")
    else:
        gauge = f" ({given.gauge.name})" if given.gauge else ""
        _say(f"{chosen.name}{gauge}, {fuse}", style="bold")
    allowed = "" if need.drop is None else f", {number(need.drop)} V to lose"
    _say(
        f"for {number(need.amps)} A continuous over {number(need.metres)} m{allowed}; air "
        f"{need.ambient:g} degC, insulation {need.wire_celsius:g} degC, {need.bundle:g} "
        "side by side"
    )
    table = _table("wire", "carries", "loses", "gives off", "")
    for one in given.metric:
        mark = "<- this one" if one is chosen else one.why_not
        table.add_row(
            one.name, f"{number(one.carries)} A", f"{one.drop:.2g} V", f"{number(one.watts)} W", mark
        )
    _plain(Padding(table, (0, 0, 0, 2)))
    caution(f"The fuse sits at the battery's end of the wire. {LEAVE_ALONE}")


def leads(expected: Expectation) -> None:
    """The jumper lead of each test."""
    table = _table("test", "carries", "wire", "fuse", "")
    for one in expected:
        if one.lead is None:
            table.add_row(one.test, "", "", "", "needs no lead")
        else:
            table.add_row(
                one.test,
                f"{number(one.lead.amps)} A",
                f"{one.lead.size_mm2:g} mm2",
                f"{one.lead.fuse_a:g} A",
                "",
            )
    _plain(table)
    caution(LEAD)
    caution(LEAD_FUSE)
