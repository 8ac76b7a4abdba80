"""The verbs that choose tests: next, plan, prove."""

from __future__ import annotations

import sys
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, emit, load, mistakes

if TYPE_CHECKING:
    from circuitcheck.harness.readings import Sheet
    from circuitcheck.loom import Loom

ToolsOption = Annotated[
    str | None,
    typer.Option("--toolbox", help="What is at hand, of: meter, clamp, lamp, leads, spares, helper. "
                 "All but spares unless told."),
]  # fmt: skip
PriceOption = Annotated[
    float | None,
    typer.Option("--price", min=0.0, help="Minutes lost by putting right what was not at fault; 45."),
]  # fmt: skip
SkipOption = Annotated[
    list[str] | None, typer.Option("--skip", help="A test that cannot be done; may be given again.")
]
ThoroughOption = Annotated[
    bool, typer.Option("--thorough", help="Before it stops, cheap readings in which a second fault "
                       "would show beside the first.")
]  # fmt: skip
Symptom = Annotated[
    str | None, typer.Option("--symptom", help="What the customer says: 'right fan dead on low'.")
]


class Page(str, Enum):
    """How ``plan`` is written."""

    text = "text"
    markdown = "markdown"


def _options(tools: str | None, price: float | None, skip: list[str] | None = None) -> dict[str, object]:
    from circuitcheck.errors import UnknownName  # noqa: PLC0415
    from circuitcheck.plan.candidates import TOOLS  # noqa: PLC0415

    found: dict[str, object] = {"skip": frozenset(skip or ())}
    if price is not None:
        found["price"] = price
    if tools is not None:
        named = [one.strip() for one in tools.split(",") if one.strip()]
        for one in named:
            if one not in TOOLS:
                raise UnknownName("tool", one, TOOLS)
        found["tools"] = frozenset(named)
    return found


def _sheet(loom: Loom, readings: str) -> Sheet:
    if readings != "-":
        return loom.sheet(Path(readings))
    from circuitcheck.harness.readings import parse_readings  # noqa: PLC0415

    text = sys.stdin.buffer.read(2_000_001).decode("utf-8", errors="replace")
    return parse_readings(loom.harness, text, "standard input")


@app.command("next")
def next_(
    harness: HarnessArgument,
    readings: Annotated[str | None, typer.Argument(metavar="[READINGS]", help="What was found so far; "
                                                   "- for standard input.")] = None,
    symptom: Symptom = None, toolbox: ToolsOption = None, price: PriceOption = None,
    skip: SkipOption = None, thorough: ThoroughOption = False, as_json: JsonOption = False,
) -> None:  # fmt: skip
    """The test to do now: where, how, what it should read, and what it would settle.

    Examples:  circuitcheck next twin-fan-switch my-readings.yaml

    circuitcheck next twin-fan-switch --symptom "right fan dead on low"
    """
    from circuitcheck.cli import planning_tables  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        options = _options(toolbox, price, skip)
        sheet = _sheet(loom, readings) if readings else None
        if symptom:
            from circuitcheck.plan.symptom import (  # noqa: PLC0415
                symptom_sheet,
                understood,
                with_symptom,
            )

            told = symptom_sheet(loom.harness, symptom)
            typer.echo(f"understood: {understood(told)}", err=True)
            sheet = with_symptom(told, sheet)
        result = loom.next(sheet, thorough=thorough, **options)
        emit(as_json, result.to_dict, lambda: planning_tables.next_test(result))


@app.command()
def plan(
    harness: HarnessArgument, symptom: Symptom = None, toolbox: ToolsOption = None,
    price: PriceOption = None,
    put_right: Annotated[list[str] | None, typer.Option("--put-right", help="A unit that was put right "
                                                        "already; may be given again.")] = None,
    depth: Annotated[int | None, typer.Option("--depth", min=1, help="Tests one after the other at the "
                                              "most.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="Every branch that is not rare, however many "
                                             "pages; slower.")] = False,
    as_: Annotated[Page, typer.Option("--as", help="Plain text, or Markdown.")] = Page.text,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """The whole order of tests from a symptom, as one page.

    Example:  circuitcheck plan twin-fan-switch --symptom "right fan dead on low"
    """
    from circuitcheck.plan.page import page  # noqa: PLC0415
    from circuitcheck.plan.symptom import symptom_sheet, understood  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        if symptom:
            typer.echo(f"understood: {understood(symptom_sheet(loom.harness, symptom))}", err=True)
        result = loom.plan(symptom, put_right=put_right or (), depth=depth, everything=everything,
                           **_options(toolbox, price))  # fmt: skip
        emit(as_json, result.to_dict,
             lambda: typer.echo(page(result, markdown=as_ is Page.markdown), nl=False))


@app.command()
def prove(
    harness: HarnessArgument,
    readings: Annotated[str, typer.Argument(metavar="READINGS", help="What led to the repair.")],
    after: Annotated[str | None, typer.Argument(metavar="[AFTER]", help="What was read after it; "
                                                "- for standard input.")] = None,
    toolbox: ToolsOption = None, as_json: JsonOption = False,
) -> None:  # fmt: skip
    """After the repair: the shortest set of readings that shows the circuit sound again.

    Example:  circuitcheck prove twin-fan-switch before.yaml after.yaml
    """
    from circuitcheck.cli import planning_tables, tables  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        judged = _sheet(loom, after) if after else None
        result = loom.prove(_sheet(loom, readings), judged, **_options(toolbox, None))

        def show() -> None:
            planning_tables.proof(result)
            if result.judgement is not None:
                typer.echo("\nThe readings taken after the repair\n")
                tables.verdict(loom, result.judgement)
                planning_tables.still_missing(result)

        emit(as_json, result.to_dict, show)
