"""What people see of planned tests."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from rich.padding import Padding

from circuitcheck.cli.console import caution
from circuitcheck.cli.tables import cautions, indented, names, out, plain_table, say
from circuitcheck.harness.model import Harness
from circuitcheck.plan.asked import NextTest, PlannedReading
from circuitcheck.plan.next_test import Next
from circuitcheck.plan.prove import Proof, ProofTest


def _time(minutes: float) -> str:
    return f"{minutes:g} {'minute' if minutes == 1 else 'minutes'}"


def next_test(harness: Harness, result: Next, added_to: str | None = None) -> None:
    """The test to do, what it should read, and the next best ones.

    :param added_to: the sheet that its blanks have been added to
    """
    if result.verdict is not None:
        say(f"So far: {result.verdict.verdict}", "bold")
        indented(result.verdict.summary)
        say()
    if result.test is None:
        say("No more tests", "bold")
        indented(result.why)
        return
    for text in result.test.cautions:
        caution(text)
    _test(result.test)
    indented(f"Why this one: {result.why}")
    names(harness, _texts(result.test))
    for number, one in enumerate(result.others):
        if number == 0:
            say("\nNext best", "bold")
        readings = ", ".join(reading.sound.name for reading in one.readings)
        indented(f"{one.title} ({one.minutes:g} min): {readings}")
    if added_to is None:
        _to_write(
            "Add at the end of your sheet (--add does), fill in, and run this again",
            result.test.to_write,
        )
    else:
        say(f"\nAdded to {added_to}: fill in and run the same again.", "bold")


def _to_write(title: str, lines: str) -> None:
    """Lines to add to a sheet of readings."""
    say(f"\n{title}", "bold")
    for line in lines.splitlines():
        say(f"  {line}")


def _before(one: NextTest | ProofTest) -> None:
    """What to open and to do before looking, and with which lead."""
    if one.access:
        indented(f"open first: {', '.join(one.access)}")
    indented("; ".join(one.setup))
    if one.lead:
        indented(f"jumper lead: {one.lead.words}")


def _test(one: NextTest) -> None:
    say(f"Next: {one.title}  [{one.name}], {_time(one.minutes)}", "bold")
    _before(one)
    table = plain_table("reading", "a sound circuit", "95 % between")
    for reading in one.readings:
        table.add_row(
            _place(reading.sound.name, reading.points), reading.sound.shown, reading.sound.band
        )
        for would in reading.would:
            table.add_row(_set_in(", ".join(would.suspects)), f"  {would.reading}", "")
    out.print(Padding(table, (1, 0, 1, 2)))


def _set_in(text: str) -> str:
    """Below its reading, and further in where it goes on."""
    return textwrap.fill(
        text,
        max(out.width - _VALUES, 24),
        initial_indent="  ",
        subsequent_indent="    ",
        break_on_hyphens=False,
    )


_VALUES = 38
"""Columns of a table of readings that its values take up."""


def _texts(one: NextTest | ProofTest) -> Iterator[str]:
    """All that is said of a test in which parts and wires are named."""
    yield from one.setup
    for reading in one.readings:
        if isinstance(reading, PlannedReading):
            yield from (reading.sound.name, *reading.points)
            yield from (who for would in reading.would for who in would.suspects)
        else:
            yield reading.name


def _place(name: str, points: tuple[str, ...]) -> str:
    words = " to ".join(points)
    return name if points[0] in name else f"{name} ({words})"


def proof(harness: Harness, result: Proof) -> None:
    """The readings to take after a repair."""
    cautions(result.tests)
    was = " and ".join(result.repaired) or "nothing in particular"
    say(f"Proof after the repair of {was}: {_time(result.minutes)}", "bold")
    for one in result.tests:
        say()
        indented(f"{one.title}  [{one.name}], {_time(one.minutes)}", 0, "bold")
        _before(one)
        table = plain_table("reading", "must be", "between")
        for reading in one.readings:
            table.add_row(reading.name, reading.shown, reading.band)
        out.print(Padding(table, (0, 0, 0, 2)))
    say()
    indented(
        f"If all are so, {result.shown:.0%} of all that could be wrong here is ruled out, "
        "by how often things fail.".replace("%", " %", 1),
        0,
    )
    if result.not_shown:
        indented(f"Not shown by these: {', '.join(result.not_shown)}.", 0)
    names(harness, (text for one in result.tests for text in _texts(one)), 0)
    _to_write("Write down, and give it as the second sheet", result.to_write)
    if result.repaired:
        indented("Was something else put right, or more than that? Then name that after put_right.", 0)


def proof_in_short(result: Proof) -> None:
    """The proof that readings were taken for, a line a test; without a second sheet it stands whole."""
    if result.missing:
        cautions(result.tests)
    was = " and ".join(result.repaired) or "nothing in particular"
    say()
    say(f"The proof after the repair of {was}, {_time(result.minutes)}", "bold")
    for one in result.tests:
        indented(f"{one.title}: {', '.join(each.name for each in one.readings)}")
    share = f"{result.shown:.0%}".replace("%", " %")
    if result.judgement is not None and result.judgement.verdict != "sound":
        indented("Not proven: put that right, and take these readings again.", 0)
    elif result.missing:
        indented(f"With all of them sound, {share} of all that could be wrong here is ruled out.", 0)
    else:
        indented(f"All are sound: {share} of all that could be wrong here is ruled out.", 0)


def still_missing(result: Proof) -> None:
    """What the readings after a repair leave unproven."""
    if result.missing:
        say()
        indented(f"Not yet proven; still to be read: {'; '.join(result.missing)}.", 0)
