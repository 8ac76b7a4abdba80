"""The student's verbs: why a reading is what it is, and practice with a hidden fault."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import FaultOption, HarnessArgument, JsonOption, app, emit, load, mistakes

if TYPE_CHECKING:
    from circuitcheck.learn.explanation import Explanation


class ExplainAs(str, Enum):
    """How an explanation is written."""

    text = "text"
    markdown = "markdown"
    html = "html"


@app.command()
def explain(
    harness: HarnessArgument,
    test: Annotated[str, typer.Option("--test", "-t", help="Which test.")],
    fault: FaultOption = None,
    observe: Annotated[
        str | None, typer.Option("--observe", "-o", help="One observation of the test; else what "
                                 "the battery delivers.")
    ] = None,
    as_: Annotated[
        ExplainAs, typer.Option("--as", help="Text, or a page with formulas.")
    ] = ExplainAs.text,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Why a reading is what it is: the circuit, each step with its reason, the numbers put in.

    Examples:  circuitcheck explain first-fan --test fan-direct

    circuitcheck explain twin-fan-switch --test low-at-the-plug --observe left --as html > left.html
    """
    with mistakes():
        told = load(harness).explain(test, *(fault or []), observe=observe)
        emit(as_json, told.to_dict, lambda: _show(told, as_))


def _show(told: Explanation, as_: ExplainAs) -> None:
    from circuitcheck.learn.as_html import page  # noqa: PLC0415
    from circuitcheck.learn.as_markdown import markdown_of  # noqa: PLC0415
    from circuitcheck.learn.as_text import text_of  # noqa: PLC0415
    from circuitcheck.learn.document import document  # noqa: PLC0415

    blocks = document(told)
    for caution in told.cautions:
        typer.echo(f"! {caution}", err=True)
    if as_ is ExplainAs.html:
        typer.echo(page(blocks, told.question), nl=False)
    elif as_ is ExplainAs.markdown:
        typer.echo(markdown_of(blocks), nl=False)
    else:
        typer.echo(text_of(blocks), nl=False)
