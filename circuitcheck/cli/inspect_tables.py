"""What people see of an inspection: findings rule by rule, the worst first, within 80 columns."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Sequence
from itertools import groupby

import typer

from circuitcheck.cli.console import Paper, caution
from circuitcheck.expect.cautions import LEAVE_ALONE
from circuitcheck.inspect.inspection import Inspection
from circuitcheck.inspect.limits import LIMITS, Limits
from circuitcheck.inspect.rule import RULES, Finding, Severity

_out = Paper()

SHOWN = 3
"""Findings of one rule that are shown in full; the others by their place."""
BEFORE_REPAIR = (
    "Wires and fuses are changed with the battery disconnected; a larger fuse is never the cure for a "
    "thin wire."
)
_STYLES = {Severity.serious: "bold red", Severity.doubtful: "yellow", Severity.note: "dim"}


def _wrapped(text: str, left: int, hanging: int = 0, style: str | None = None) -> None:
    width = max(min(_out.width, 100), 40)
    for line in textwrap.wrap(
        text,
        width,
        initial_indent=" " * left,
        break_on_hyphens=False,
        subsequent_indent=" " * (left + hanging),
    ):
        _out.print(line, style=style, markup=False, soft_wrap=True)


def inspection(result: Inspection, *, everything: bool = False) -> None:
    """The findings of an inspection."""
    _out.print(f"{result.harness.title} ({result.harness.name})", style="bold", markup=False)
    counts = ", ".join(f"{count} {name}" for name, count in result.counts().items())
    _wrapped(
        f"{len(result.rules)} {'rule' if len(result.rules) == 1 else 'rules'}: {counts}"
        + (f", {len(result.accepted)} accepted" if result.accepted else ""),
        0,
    )
    _wrapped(
        f"wires: air {result.limits['ambient']:g} degC, insulation for "
        f"{result.limits['wire-temperature']:g} degC, {result.limits['bundle']:g} loaded side by "
        "side; --limits lists what can be set",
        0,
    )
    if result.limits.given:
        told = ", ".join(f"{name} {value:g}" for name, value in result.limits.given.items())
        _wrapped(f"with limits of your own: {told}", 0)
    for _, group in groupby(result.standing, key=lambda one: (one.severity, one.rule)):
        _rule(list(group), everything)
    _accepted(result.accepted)
    for text in (BEFORE_REPAIR, LEAVE_ALONE):
        caution(text)
    for key in result.stale:
        caution(f"accepted, but found no more: {key}")


def _rule(found: Sequence[Finding], everything: bool) -> None:
    first = found[0]
    _out.print()
    _wrapped(f"{first.severity.name}  {first.rule}", 0, 0, _STYLES[first.severity])
    _wrapped(RULES[first.rule].what, 2)
    # Where everything depends on a chain of parts, its names are the message.
    shown = len(found) if everything or len(found) <= SHOWN + 1 else SHOWN
    if first.severity is Severity.note and shown < len(found):
        shown = 1
    for one in found[:shown]:
        _wrapped(f"{one.place}: {one.words}", 2, 2)
        if one.path:
            _wrapped("path: " + " - ".join(parts_on(one.path)), 4, 2)
    if shown < len(found):
        rest = ", ".join(one.place for one in found[shown:])
        _wrapped(f"and {len(found) - shown} more (--all): {rest}", 2, 2)


def parts_on(path: Sequence[str]) -> list[str]:
    """The parts that a path passes, in order; JSON has every terminal.

    >>> parts_on(["G1.+", "F1.in", "F1.out", "chassis"])
    ['G1', 'F1', 'chassis']
    """
    return [name for name, _ in groupby(one.split(".")[0] for one in path)]


def _accepted(found: Iterable[Finding]) -> None:
    for number, one in enumerate(found):
        if not number:
            _out.print()
            _out.print("accepted", style="bold")
        _wrapped(f"{one.key} ({one.severity.name}): {one.accepted}", 2, 2)


def limits(given: Limits, *, as_json: bool) -> None:
    """The limits with their values and sources."""
    if as_json:
        rows = [
            {
                "name": one.name,
                "value": given[one.name],
                "unit": one.unit,
                "usual": one.value,
                "what": one.what,
                "source": one.source,
            }
            for one in LIMITS.values()
        ]
        typer.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return
    for one in LIMITS.values():
        mine = "" if given[one.name] == one.value else f" (usual: {one.value:g})"
        _wrapped(f"{one.name} = {given[one.name]:g} {one.unit}".rstrip() + mine, 0, 0, "bold")
        _wrapped(f"{one.what}; {one.source}", 2)
