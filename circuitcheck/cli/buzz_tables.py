"""The continuity sheet, with its cautions on it, and its result for people: 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from rich.table import Table

from circuitcheck.cli.console import Paper, caution
from circuitcheck.inspect.continuity.buzz import (
    BuzzResult,
    ContinuitySheet,
    expected_words,
    meter_of,
)
from circuitcheck.inspect.continuity.ohms import Check

_out = Paper()

CAUTIONS = (
    "Battery disconnected and its clamps tied back before the first check; 0 V across the points first. "
    "A fan can start without warning while there is supply, also with the ignition off.",
    "Every plug undone, fuses and relays out. In the vehicle: engine cold, hot coolant stands under "
    "pressure. The first power goes through a lamp: 'circuitcheck powerup'.",
    "Leave airbag and high-voltage (orange) wiring alone; never put an ohmmeter on it. The vehicle's "
    "manual, local rules and licensed practice come first.",
)
SHOWN_GROUPS = 3
SHOWN_ALIKE = 4


def _say(text: str = "", style: str | None = None) -> None:
    _out.print(text, style=style, markup=False, soft_wrap=True)


def _wrapped(text: str, first: str = "", rest: str = "") -> None:
    for line in textwrap.wrap(
        text,
        max(_out.width, 40),
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        drop_whitespace=True,
    ):
        _say(line)


def sheet(found: ContinuitySheet) -> None:
    """The sheet, plug by plug."""
    harness = found.drawn.harness
    _say(f"{harness.title} ({harness.name})", "bold")
    place = "in the vehicle, ground points bolted" if found.drawn.fitted else "on the bench"
    _say(f"continuity sheet of the unpowered loom, {place}")
    for text in CAUTIONS:
        caution(text, _out)
    through, apart = found.least
    _wrapped(
        f"{len(found.lines)} checks; the least there can be is {through + apart}: {through} to "
        f"prove every wire through, {apart} to prove every net apart."
    )
    _wrapped(
        "Hold the probes together first and take what they read off every reading. OL is an open "
        "line; a range in V is for the diode range."
    )
    if found.not_provable:
        wires = ", ".join(found.not_provable)
        _wrapped(f"Cannot be proven by ohms, since another way runs beside them: {wires}.")
    rows = found.rows()
    widths = [max((len(row[key]) for row in map(_cells, rows)), default=0) for key in range(4)]
    for (piece, plug), numbers in _places(rows).items():
        _say()
        _say(_place(found, piece, plug), "bold")
        for number in numbers:
            (_clipped if plug == "clips" else _check)(rows[number], widths)


def _cells(row: dict[str, Any]) -> tuple[str, str, str, str]:
    """Number, points and expected reading of a line; nothing for one with clips."""
    if len(row["from"]) + len(row["to"]) > 2:
        return (str(row["check"]), "", "", "")
    return (str(row["check"]), row["from"][0], row["to"][0], row["expected"])


def _places(rows: Sequence[dict[str, Any]]) -> dict[tuple[str, str], list[int]]:
    found: dict[tuple[str, str], list[int]] = {}
    for number, row in enumerate(rows):
        found.setdefault((row["piece"], row["at"]), []).append(number)
    return found


def _place(found: ContinuitySheet, piece: str, plug: str) -> str:
    parts = found.drawn.harness.parts
    if plug == "clips":
        whole = "The loom" if piece == "loom" else piece
        return f"{whole}: clip each side together, one reading between the sides"
    where = f", {parts[plug].where}" if parts[plug].where else ""
    if piece == plug:
        return f"{plug} by itself, at its own pins{where}"
    return f"At {plug}{where}" if piece == "loom" else f"At {plug}{where} ({piece})"


def _check(row: dict[str, Any], widths: Sequence[int]) -> None:
    number, one, other, expected = _cells(row)
    head = (
        f"  {number:>{widths[0]}}  {one:<{widths[1]}}  {other:<{widths[2]}}  "
        f"{expected:>{widths[3]}}  ______  "
    )
    _wrapped(f"{head}{row['wires']}".rstrip(), "", " " * len(head))


def _clipped(row: dict[str, Any], widths: Sequence[int]) -> None:
    margin = " " * (4 + widths[0])
    _wrapped(" ".join(row["from"]), f"  {row['check']:>{widths[0]}}  ", margin)
    _wrapped(f"against {' '.join(row['to'])}", margin, margin)
    _say(f"{margin}{row['expected']}  ______")


def result(found: BuzzResult) -> None:
    """What a filled sheet says."""
    harness = found.drawn.harness
    _say(f"{harness.title} ({harness.name})", "bold")
    if found.off:
        _off(found)
    _say()
    _say(f"Result: {found.status}", "bold")
    _wrapped(found.summary, "  ", "  ")
    for number, group in enumerate(found.groups[:SHOWN_GROUPS]):
        _say()
        if len(found.groups) > 1:
            _say(f"Way {number + 1}", "bold")
        for one in group.first.mistakes:
            _wrapped(f"{one.spec}: {one.words}", "  - ", "    ")
        alike = [" with ".join(one.spec for one in found.mistakes) for found in group.members[1:]]
        if alike:
            more = f", and {len(alike) - SHOWN_ALIKE} more" if len(alike) > SHOWN_ALIKE else ""
            some = "; ".join(alike[:SHOWN_ALIKE])
            _wrapped(f"No check at the plugs can tell this from: {some}{more}.", "    ", "    ")
    if len(found.groups) > SHOWN_GROUPS:
        _say(f"\nand {len(found.groups) - SHOWN_GROUPS} more, with --json")
    if found.closest:
        _say("\nWhat comes closest", "bold")
        for one in found.closest:
            _wrapped(f"{one.spec}: {one.words}", "  - ", "    ")
    if found.unexplained:
        numbers = ", ".join(str(number + 1) for number in found.unexplained)
        _wrapped(f"Not accounted for: check {numbers} of the sheet.")
    _not_proven(found)
    _next(found)
    if found.put_right:
        caution("Put right, then fill in the sheet again before the battery goes on.")
    caution("The first power goes through a lamp, step by step: 'circuitcheck powerup'.")


def _off(found: BuzzResult) -> None:
    table = Table(box=None, pad_edge=False, header_style="bold", show_edge=False)
    for column in ("off", "from", "to", "expected", "reading"):
        table.add_column(
            column, justify="right" if column in ("off", "expected") else "left", overflow="fold"
        )
    for number in found.off:
        check = found.filled.checks[number]
        expected = expected_words(found.predictor.sound[number], check)
        table.add_row(
            str(number + 1), _side(check.red), _side(check.black), expected, found.filled.written[number]
        )
    _out.print(table)


def _side(ends: tuple[str, ...]) -> str:
    """The points of one side; of many, the first ones."""
    return " ".join(ends) if len(ends) <= 3 else f"{' '.join(ends[:2])} and {len(ends) - 2} more"


def _not_proven(found: BuzzResult) -> None:
    lacking = found.missing
    if found.status != "sound so far":
        return
    _say()
    if lacking.wires:
        _wrapped(f"Not proven: wires {', '.join(lacking.wires)}.")
    if lacking.apart:
        pairs = ", ".join(f"{one} from {other}" for one, other in lacking.apart[:4])
        more = f", and {len(lacking.apart) - 4} more pairs" if len(lacking.apart) > 4 else ""
        _wrapped(f"Not proven apart: {pairs}{more}.")


def _next(found: BuzzResult) -> None:
    checks = found.next_checks
    if not checks or found.status == "not explained":
        return
    _say()
    more = "prove that nothing else is wrong"
    why = f"To {'tell them apart' if found.parting else more}, measure"
    _say(why, "bold")
    for check in checks:
        _wrapped(_in_words(found, check), "  - ", "    ")
    if found.put_right:
        _wrapped(
            "Measure the loom as it is, before anything is put right; 'as found' stands by "
            "what the mistakes named change."
        )
    _wrapped("Add each to the sheet as a line (--as csv prints it with these lines) and ask again.")


def _in_words(found: BuzzResult, check: Check) -> str:
    text = f"{' '.join(check.red)} to {' '.join(check.black)}"
    if check.clipped:
        text = f"clip together {' '.join(check.red)}, against {' '.join(check.black)}"
    if found.parting:
        return f"{text} ({meter_of(check)})"
    return f"{text}: {found.expected_next(check)}"
