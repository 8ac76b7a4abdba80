"""The student's verbs: why a reading is what it is, and practice with a hidden fault."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import (
    FaultOption,
    HarnessArgument,
    JsonOption,
    NeededTest,
    app,
    emit,
    load,
    mistakes,
    needed,
)

if TYPE_CHECKING:
    from circuitcheck.learn.explanation import Explanation
    from circuitcheck.loom import Loom


class ExplainAs(str, Enum):
    """How an explanation is written."""

    text = "text"
    markdown = "markdown"
    html = "html"


@app.command()
def explain(
    harness: HarnessArgument,
    test: NeededTest = None,
    fault: FaultOption = None,
    observe: Annotated[
        str | None,
        typer.Option(
            "--observe", "-o", help="One observation of the test; else what the battery delivers."
        ),
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            help="A section alone; may be given again: way, "
            "circuit, steps, answer, crossing, power, hangs-on.",
        ),
    ] = None,
    as_: Annotated[
        ExplainAs, typer.Option("--as", help="Text, or a page with formulas.")
    ] = ExplainAs.text,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE", help="Draw a picture into an .svg or .png file."),
    ] = None,
    picture: Annotated[
        str,
        typer.Option(
            "--picture",
            help="With --plot: staircase (volts along the way, sound "
            "beside faulty), crossing (fan and motor), supply, resistor.",
        ),
    ] = "staircase",
    as_json: JsonOption = False,
) -> None:
    """Why a reading is what it is: the circuit, each step with its reason, the numbers put in.

    Examples:  circuitcheck explain first-fan --test fan-direct

    circuitcheck explain twin-fan-switch --test low-at-the-plug --observe left --as html > left.html

    circuitcheck explain twin-fan-switch --test high-at-the-plug --fault "E1 high resistance=0.8 ohm"
    --plot ground.svg --picture staircase
    """
    with mistakes():
        loom = load(harness)
        test = needed(loom, test)
        if plot is not None:
            _draw(loom, plot, picture, test, fault or [], observe, as_json=as_json)
            return
        told = loom.explain(test, *(fault or []), observe=observe)
        emit(as_json, told.to_dict, lambda: _show(told, as_, only or []))


_AT_THE_VEHICLE = "  'circuitcheck expect' has all that is to be minded before a test is made."
"""Nothing is done here, so that the cautions of the test stand with the test."""


def _draw(
    loom: Loom,
    file: Path,
    name: str,
    test: str,
    specs: list[str],
    observe: str | None,
    *,
    as_json: bool,
) -> None:
    from circuitcheck.learn.plots import check_ending, save  # noqa: PLC0415
    from circuitcheck.learn.subject import point_of  # noqa: PLC0415

    check_ending(file)
    loom = loom.knowing(test)
    (chosen,) = loom.tests(test)
    through = point_of(loom.harness, chosen, observe) if observe else None
    save(loom.picture(name, test, *specs, through=through), file)
    emit(as_json, lambda: {"picture": name, "file": str(file)}, lambda: typer.echo(str(file)))


def _show(told: Explanation, as_: ExplainAs, only: list[str]) -> None:
    from circuitcheck.learn.as_html import page  # noqa: PLC0415
    from circuitcheck.learn.as_markdown import markdown_of  # noqa: PLC0415
    from circuitcheck.learn.as_text import text_of  # noqa: PLC0415
    from circuitcheck.learn.document import document  # noqa: PLC0415

    blocks = document(told, only)
    if told.cautions:
        from circuitcheck.expect.cautions import FANS  # noqa: PLC0415

        typer.echo(f"! {FANS}\n{_AT_THE_VEHICLE}", err=True)
    if as_ is ExplainAs.html:
        typer.echo(page(blocks, told.question), nl=False)
    elif as_ is ExplainAs.markdown:
        typer.echo(markdown_of(blocks), nl=False)
    else:
        typer.echo(text_of(blocks), nl=False)
