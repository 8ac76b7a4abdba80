"""The verbs that choose tests: next, plan, prove."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, emit, load, mistakes, sheet_of

if TYPE_CHECKING:
    from circuitcheck.harness.readings import Sheet
    from circuitcheck.loom import Loom
    from circuitcheck.plan.next_test import Next

ToolsOption = Annotated[
    str | None,
    typer.Option(
        "--toolbox",
        help="What is at hand, of: meter, clamp, lamp, leads, spares, helper. "
        "All but spares unless told.",
    ),
]
PriceOption = Annotated[
    float | None,
    typer.Option("--price", min=0.0, help="Minutes lost by putting right what was not at fault; 45."),
]
SkipOption = Annotated[
    list[str] | None, typer.Option("--skip", help="A test that cannot be done; may be given again.")
]
ThoroughOption = Annotated[
    bool,
    typer.Option(
        "--thorough",
        help="Before it stops, cheap readings in which a second fault would show beside the first.",
    ),
]
Symptom = Annotated[
    str | None, typer.Option("--symptom", help="What the customer says: 'right fan dead on low'.")
]


class Page(str, Enum):
    """How ``plan`` is written."""

    text = "text"
    markdown = "markdown"


def _options(tools: str | None, price: float | None, skip: list[str] | None = None) -> dict[str, Any]:
    from circuitcheck.errors import UnknownName  # noqa: PLC0415
    from circuitcheck.plan.candidates import TOOLS  # noqa: PLC0415

    found: dict[str, Any] = {"skip": frozenset(skip or ())}
    if price is not None:
        found["price"] = price
    if tools is not None:
        named = [one.strip() for one in tools.split(",") if one.strip()]
        for one in named:
            if one not in TOOLS:
                raise UnknownName("tool", one, TOOLS)
        found["tools"] = frozenset(named)
    return found


def _begun(loom: Loom, readings: str | None, symptom: str | None) -> Sheet:
    """What is known so far; how a symptom was taken is said on standard error."""
    from circuitcheck.plan.symptom import understood  # noqa: PLC0415

    sheet = loom.begun(sheet_of(loom, readings) if readings else None, symptom)
    if sheet.symptom is not None:
        typer.echo(f"understood: {understood(loom.harness, sheet)}", err=True)
    return sheet


@app.command("next")
def next_(
    harness: HarnessArgument,
    readings: Annotated[
        str | None,
        typer.Argument(metavar="READINGS", help="What was found so far; - for standard input."),
    ] = None,
    symptom: Symptom = None,
    add: Annotated[
        bool,
        typer.Option(
            "--add",
            help="Add the readings to take to READINGS, as blanks to "
            "be filled in; a sheet that is not there yet is begun.",
        ),
    ] = False,
    toolbox: ToolsOption = None,
    price: PriceOption = None,
    skip: SkipOption = None,
    thorough: ThoroughOption = False,
    as_json: JsonOption = False,
) -> None:
    """The test to do now: where, how, what it should read, and what it would settle.

    Examples:  circuitcheck next twin-fan-switch my-readings.yaml

    circuitcheck next twin-fan-switch job.yaml --add --symptom "right fan dead on low"
    """
    from circuitcheck.cli import planning_tables  # noqa: PLC0415

    with mistakes():
        if add and readings in (None, "-"):
            raise ValueError("--add needs the name of a sheet: next HARNESS sheet.yaml --add")
        loom = load(harness)
        options = _options(toolbox, price, skip)
        begins = add and not Path(readings or "").exists()
        sheet = _begun(loom, None if begins else readings, symptom)
        result = loom.next(sheet, thorough=thorough, **options)
        added = add and _add(loom, Path(readings or ""), result)
        emit(
            as_json,
            result.to_dict,
            lambda: planning_tables.next_test(loom.harness, result, readings if added else None),
        )


def _add(loom: Loom, path: Path, result: Next) -> bool:
    """Whether there was a test to add to a sheet."""
    from circuitcheck.plan.adding import with_blanks  # noqa: PLC0415

    if result.test is None:
        return False
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    path.write_text(with_blanks(loom.harness, text, result.test), encoding="utf-8")
    return True


@app.command()
def plan(
    harness: HarnessArgument,
    readings: Annotated[
        str | None,
        typer.Argument(metavar="READINGS", help="What was found already; - for standard input."),
    ] = None,
    symptom: Symptom = None,
    toolbox: ToolsOption = None,
    price: PriceOption = None,
    put_right: Annotated[
        list[str] | None,
        typer.Option("--put-right", help="A unit that was put right already; may be given again."),
    ] = None,
    depth: Annotated[
        int | None, typer.Option("--depth", min=1, help="Tests one after the other at the most.")
    ] = None,
    pages: Annotated[
        int | None,
        typer.Option(
            "--pages", min=1, help="Pages of 64 lines at the most; 2 unless told, both sides of a sheet."
        ),
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Every branch that is not rare, however many pages; slower.")
    ] = False,
    thorough: ThoroughOption = False,
    as_: Annotated[Page, typer.Option("--as", help="Plain text, or Markdown.")] = Page.text,
    as_json: JsonOption = False,
) -> None:
    """The whole order of tests from a symptom, as one sheet to print and carry to the vehicle.

    Example:  circuitcheck plan twin-fan-switch --symptom "right fan dead on low"
    """
    from circuitcheck.plan.page import page  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        sheet = _begun(loom, readings, symptom)
        result = loom.plan(
            given=sheet,
            put_right=put_right or (),
            depth=depth,
            everything=everything,
            thorough=thorough,
            pages=pages,
            **_options(toolbox, price),
        )
        emit(
            as_json,
            result.to_dict,
            lambda: typer.echo(page(result, markdown=as_ is Page.markdown), nl=False),
        )


@app.command()
def prove(
    harness: HarnessArgument,
    readings: Annotated[str, typer.Argument(metavar="READINGS", help="What led to the repair.")],
    after: Annotated[
        str | None,
        typer.Argument(metavar="AFTER", help="What was read after it; - for standard input."),
    ] = None,
    toolbox: ToolsOption = None,
    as_json: JsonOption = False,
) -> None:
    """After the repair: the shortest set of readings that shows the circuit sound again.

    Example:  circuitcheck prove twin-fan-switch before.yaml after.yaml
    """
    from circuitcheck.cli import planning_tables, tables  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        judged = sheet_of(loom, after) if after else None
        result = loom.prove(sheet_of(loom, readings), judged, **_options(toolbox, None))

        def show() -> None:
            if result.judgement is None:
                planning_tables.proof(loom.harness, result)
                return
            typer.echo("The readings taken after the repair\n")
            tables.verdict(loom, result.judgement)
            planning_tables.still_missing(result)
            planning_tables.proof_in_short(result)

        emit(as_json, result.to_dict, show)
