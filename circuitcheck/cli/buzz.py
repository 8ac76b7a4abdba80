"""The verb for the unpowered loom: its continuity sheet, and what was wired wrong."""

from __future__ import annotations

import sys
from collections.abc import Callable
from enum import Enum
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, emit, load, mistakes

if TYPE_CHECKING:
    from circuitcheck.inspect.continuity.buzz import BuzzResult, ContinuitySheet


class Sheet(str, Enum):
    """How a sheet is printed."""

    table = "table"
    csv = "csv"


@app.command()
def buzz(
    harness: HarnessArgument,
    sheet: Annotated[
        str | None,
        typer.Argument(
            metavar="SHEET",
            help="The filled sheet, CSV or YAML; - for "
            "standard input. Without it, the sheet to fill in.",
        ),
    ] = None,
    as_: Annotated[
        Sheet,
        typer.Option("--as", help="A table; or CSV to fill in, after a sheet with its next checks."),
    ] = Sheet.table,
    fitted: Annotated[
        bool, typer.Option("--fitted", help="The loom is in the vehicle, ground points bolted.")
    ] = False,
    one_by_one: Annotated[
        bool,
        typer.Option(
            "--one-by-one",
            help="Each net against all others: more checks, but they name an extra joint at once.",
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """The fewest checks that prove an unpowered loom; or, from the filled sheet, what is wired wrong.

    Examples:  circuitcheck buzz first-fan --as csv > sheet.csv

    circuitcheck buzz first-fan sheet.csv
    """
    from circuitcheck.cli import buzz_tables  # noqa: PLC0415
    from circuitcheck.inspect.continuity.buzz import continuity_sheet, read_file  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        if sheet is None:
            found = continuity_sheet(loom.harness, fitted=fitted, one_by_one=one_by_one)
            _print(as_, as_json, found, lambda: buzz_tables.sheet(found))
            return
        if fitted or one_by_one:
            raise ValueError("--fitted and --one-by-one are for an empty sheet; a filled one says it")
        given = None
        if sheet == "-":
            given = sys.stdin.buffer.read(2_000_001).decode("utf-8", errors="replace")
        result = read_file(loom.harness, "standard input" if sheet == "-" else sheet, given)
        _print(as_, as_json, result, lambda: buzz_tables.result(result))


def _print(
    as_: Sheet, as_json: bool, found: ContinuitySheet | BuzzResult, table: Callable[[], None]
) -> None:
    """As JSON, CSV or table."""
    if as_ is Sheet.csv and not as_json:
        typer.echo(found.to_csv(), nl=False)
    else:
        emit(as_json, found.to_dict, table)
