"""What people see of planned tests."""

from __future__ import annotations

from rich.padding import Padding

from circuitcheck.cli.console import caution
from circuitcheck.cli.tables import cautions, indented, out, plain_table, say
from circuitcheck.plan.asked import NextTest
from circuitcheck.plan.next_test import Next
from circuitcheck.plan.prove import Proof, ProofTest


def _time(minutes: float) -> str:
    return f"{minutes:g} {'minute' if minutes == 1 else 'minutes'}"


def next_test(result: Next, added_to: str | None = None) -> None:
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
            table.add_row(f"  {', '.join(would.suspects)}", f"  {would.reading}", "")
    out.print(Padding(table, (1, 0, 1, 2)))


def _place(name: str, points: tuple[str, ...]) -> str:
    words = " to ".join(points)
    return name if points[0] in name else f"{name} ({words})"


def proof(result: Proof) -> None:
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
    _to_write("Write down, and give it as the second sheet", result.to_write)
    if result.repaired:
        indented("Was something else put right, or more than that? Then name that after put_right.", 0)


def proof_in_short(result: Proof) -> None:
    """The proof that readings were taken for, a line a test; without a second sheet it stands whole."""
    cautions(result.tests)
    was = " and ".join(result.repaired) or "nothing in particular"
    say()
    say(f"The proof after the repair of {was}, {_time(result.minutes)}", "bold")
    for one in result.tests:
        indented(f"{one.title}: {', '.join(each.name for each in one.readings)}")
    indented(
        f"If all are as a sound circuit gives them, {result.shown:.0%} of all that could be wrong "
        "here is ruled out.".replace("%", " %", 1),
        0,
    )


def still_missing(result: Proof) -> None:
    """What the readings after a repair leave unproven."""
    if result.missing:
        say()
        indented(f"Not yet proven; still to be read: {'; '.join(result.missing)}.", 0)
