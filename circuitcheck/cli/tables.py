"""What people see: plain tables that fit 80 columns; cautions on standard error."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

from rich.padding import Padding
from rich.table import Table

from circuitcheck.cli.console import Paper, caution
from circuitcheck.expect.cautions import setup_lines, together
from circuitcheck.expect.expected import Expectation, number
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.verdict import Culprit, Estimate, ReadingResult, SuspectResult, Verdict
from circuitcheck.loom import Loom

out = Paper()

_CULPRITS = 4
"""Culprits that are shown at the most."""
_SPOKEN_OF = 0.005
"""Chance from which a suspect or a culprit is shown."""

Twin = Mapping[str, Sequence[tuple[str, float, float]]]


def plain_table(*columns: str, right: Sequence[str] = ()) -> Table:
    """A table without lines."""
    table = Table(box=None, pad_edge=False, header_style="bold", show_edge=False)
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left", overflow="fold")
    return table


def say(text: str = "", style: str | None = None) -> None:
    """A line."""
    out.print(text, style=style, markup=False, soft_wrap=True)


def indented(text: str, left: int = 2, style: str | None = None) -> None:
    """A paragraph, set in."""
    goes_on = "  " if text.startswith("- ") else ""
    wide = max(out.width - left, 20)
    lines = textwrap.wrap(text, wide, subsequent_indent=goes_on, break_on_hyphens=False)
    for line in lines or [""]:
        say(" " * left + line, style)


def names(harness: Harness, texts: Iterable[str], left: int = 2) -> None:
    """What the parts and wires are that some texts name, and where they sit."""
    from circuitcheck.plan.phrases import names_in  # noqa: PLC0415

    known = [one for one in names_in(harness, texts) if not one.startswith(f"{harness.supply.battery} ")]
    if known:
        indented(f"Names: {'; '.join(known)}.", left)


def harnesses(rows: Sequence[Mapping[str, Any]]) -> None:
    """The shipped library."""
    table = plain_table(
        "name", "volts", "parts", "wires", "tests", "title", right=("volts", "parts", "wires", "tests")
    )
    for row in rows:
        table.add_row(
            row["name"],
            str(row["volts"]),
            str(row["parts"]),
            str(row["wires"]),
            str(len(row["tests"])),
            row["title"],
        )
    out.print(table)
    sheets = {row["name"]: [Path(path) for path in row["readings"]] for row in rows}
    first = next(path for paths in sheets.values() for path in paths)
    say("\nSample readings, each with its fault named in the file, in")
    say(f"  {first.parent.parent}")
    for name, paths in sheets.items():
        indented(f"{name}/: {', '.join(path.name for path in paths)}", 2)
    say(f"\n  circuitcheck locate {first.parent.name} {first}")


def faults(rows: Sequence[Mapping[str, Any]]) -> None:
    """Every fault mode."""
    table = plain_table("fault", "replace or repair", "weight", "what it is", right=("weight",))
    for row in rows:
        table.add_row(row["spec"], row["replace"], f"{row['weight']:g}", row["words"])
    out.print(table)


class Cautioned(Protocol):
    """Something to do that has cautions."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind."""
        ...


def cautions(tests: Iterable[Cautioned], paper: Paper | None = None) -> None:
    """The cautions of some tests, each once, on standard error.

    :param paper: a sheet that is carried to the vehicle, and takes its cautions with it
    """
    for text in together(one.cautions for one in tests):
        caution(text, paper)


def expected(loom: Loom, result: Expectation, twin: Twin | None = None) -> None:
    """Expected readings, test by test."""
    cautions(result)
    if not result.tests:
        say(f"{loom.harness.title} ({loom.harness.name}) has no tests: describe some under 'tests:'.")
        return
    say(f"{loom.harness.title} ({loom.harness.name})", "bold")
    say(f"with {' and '.join(result.faults)}" if result.faults else "as a sound circuit gives them")
    for fuse in result.blown:
        say(f"{fuse} has blown in use, before any of these tests")
    if any(spec.endswith("comes and goes") for spec in result.faults):
        say("what comes and goes is shown as while it is there; --spread draws when it is")
    for one in result:
        say()
        indented(f"{one.title}  [{one.test}]", 0, "bold")
        setup = loom.harness.tests[one.test].setup
        indented(", ".join(setup_lines(setup, loom.harness.volts)))
        if one.lead:
            indented(f"jumper lead: {one.lead.words}")
        if one.lead_blows:
            indented("the fuse of the lead blows: what follows is read after that")
        for name in one.buzzing:
            indented(f"{name}: never comes to rest, it buzzes")
        table = plain_table("reading", "where", "expected", "95 % between", right=("expected",))
        observations = loom.harness.tests[one.test].observe
        for reading in one.readings:
            place = " to ".join(observations[reading.name].points)
            table.add_row(reading.name, place, reading.shown, reading.band)
        out.print(Padding(table, (0, 0, 0, 2)))
        if twin:
            _second_opinion(twin[one.test])


def _second_opinion(rows: Sequence[tuple[str, float, float]]) -> None:
    worst = max((abs(ours - exact) for _, ours, exact in rows), default=0.0)
    for name, ours, exact in rows:
        indented(f"second opinion, {name}: {ours:.6g} here, {exact:.6g} in exact arithmetic", 4)
    if rows:
        indented(f"largest difference {worst:.1e}", 4)


def verdict(loom: Loom, result: Verdict) -> None:
    """Readings, verdict, suspects, reasons."""
    _readings(loom, result.readings)
    say()
    shown = suspects(result)
    if result.verdict != "sound":
        names(loom.harness, (one.spec for one in shown), 0)


def suspects(result: Verdict, *, hint: bool = True) -> list[SuspectResult]:
    """Verdict, suspects, reasons.

    :param hint: whether to point to ``next``, which parts suspects
    :return: the suspects that are shown
    """
    say(f"Verdict: {result.verdict}", "bold")
    indented(result.summary)
    shown = [one for one in result.suspects if one.probability >= _SPOKEN_OF or one.group == 1][:12]
    say()
    table = plain_table(
        "group", "chance", "suspect", "estimate", "replace or repair", right=("group", "chance")
    )
    for one in shown:
        table.add_row(
            str(one.group), percent_of(one.probability), one.spec, estimate_of(one.estimate), one.replace
        )
    out.print(table)
    if len(result.suspects) > len(shown):
        say(f"and {len(result.suspects) - len(shown)} more, with --json")
    if " + " in shown[0].spec:
        _culprits(result.culprits)
    if hint and sum(one.group == 1 for one in shown) > 1:
        say("Suspects of one group cannot be told apart by these readings.")
        if len({one.replace for one in shown if one.group == 1}) > 1:
            say("'circuitcheck next' with the same sheet says whether another test is worth it.")
    if result.verdict != "unexplained":
        _reasons(shown)
    caution("Before you buy a part: check plugs and crimps at it, and prove it after the repair.")
    return shown


def _culprits(found: Sequence[Culprit]) -> None:
    """Of several faults at once each by itself, with all that it may be."""
    say()
    table = plain_table("chance", "fault: any one of", "replace or repair", right=("chance",))
    for one in found[:_CULPRITS]:
        if one.chance >= _SPOKEN_OF:
            table.add_row(percent_of(one.chance), ", ".join(one.faults), ", ".join(one.replace))
    out.print(table)


def _reasons(shown: Sequence[SuspectResult]) -> None:
    leader = shown[0]
    if not leader.reasons:
        return
    say()
    say(f"Why {leader.spec}", "bold")
    for text in leader.reasons:
        indented(f"- {text}")
    if leader.remedy:
        indented(f"What to do: {leader.remedy}.")


def _readings(loom: Loom, rows: Sequence[ReadingResult]) -> None:
    table = plain_table(
        "test", "reading", "measured", "a sound circuit", "", right=("measured", "a sound circuit")
    )
    last = ""
    for one in rows:
        mark = "" if one.fits else "<- off"
        if one.misread > 0.5:
            mark = "<- repeat"
        table.add_row("" if one.test == last else one.test, one.name, one.shown, sound_of(one), mark)
        last = one.test
    say(f"{loom.harness.title} ({loom.harness.name})", "bold")
    out.print(table)


def sound_of(one: ReadingResult) -> str:
    """What a sound circuit gives, as a word or a band."""
    if one.expected_word:
        return one.expected_word
    if one.low is None or one.high is None:
        return ""
    return f"{number(one.low)} to {number(one.high)} {one.unit}"


def estimate_of(estimate: Estimate | None) -> str:
    """An estimate with its range."""
    if estimate is None:
        return ""
    low, high = number(estimate.low), number(estimate.high)
    return f"{number(estimate.value)} {estimate.unit} ({low} to {high})"


def percent_of(chance: float) -> str:
    """A chance as a person would say it."""
    return "<1 %" if chance < 0.01 else f"{min(chance, 0.999):.0%}".replace("%", " %")


def demo_head(loom: Loom, sheet: Sheet) -> None:
    """What the demo is about."""
    say("A demonstration. Vehicle, values and readings are invented.")
    indented(f"{loom.harness.title}: {sheet.title}.", 0)
    tests = loom.expect()
    cautions(tests)
    say()


def demo_tail(harness: str, path: Path) -> None:
    """Where to go from here."""
    say()
    say("Next, try:")
    say(f"  circuitcheck expect {harness}")
    say(f"  circuitcheck locate {harness} {path}")
    say(f"  circuitcheck next {harness} --symptom 'right fan dead on low'")
    say("  circuitcheck list")
