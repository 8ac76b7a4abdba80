"""The verb for the first power on a rebuilt loom: its steps, and what their readings say."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, emit, load, mistakes
from circuitcheck.cli.buzz import Sheet


@app.command()
def powerup(
    harness: HarnessArgument,
    readings: Annotated[
        str | None,
        typer.Argument(
            metavar="READINGS",
            help="The steps done so far, filled in; - for standard input. Without it, the steps.",
        ),
    ] = None,
    as_: Annotated[
        Sheet, typer.Option("--as", help="The steps as a table; or as CSV to fill in.")
    ] = Sheet.table,
    limited: Annotated[
        bool,
        typer.Option(
            "--limited",
            help="With a current-limited supply in place of the lamp, in the steps that turn no fan.",
        ),
    ] = False,
    step: Annotated[
        str | None, typer.Option("--step", "-s", help="This step only, by its name: 04-F2.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """The first power in steps, each through a lamp; or, from what was read, go on or stop, and why.

    Examples:  circuitcheck powerup first-fan --as csv > first-power.csv

    circuitcheck powerup first-fan first-power.csv
    """
    from circuitcheck.cli import powerup_tables  # noqa: PLC0415
    from circuitcheck.harness.readings import load_readings, parse_readings  # noqa: PLC0415
    from circuitcheck.inspect.powerup.judge import judge  # noqa: PLC0415

    with mistakes():
        if readings is not None and as_ is Sheet.csv:
            raise ValueError("--as csv is for an empty sheet; this one is filled in")
        plan = load(harness).powerup(limited=limited)
        if readings is None:
            if step is not None:
                one = plan[step]
                emit(as_json, one.to_dict, lambda: powerup_tables.alone(one))
            elif as_ is Sheet.csv and not as_json:
                typer.echo(plan.to_csv(), nl=False)
            else:
                emit(as_json, plan.to_dict, lambda: powerup_tables.plan(plan))
            return
        if readings == "-":
            text = sys.stdin.buffer.read(2_000_001).decode("utf-8", errors="replace")
            sheet = parse_readings(plan.harness, text, "standard input")
        else:
            sheet = load_readings(plan.harness, Path(readings))
        result = judge(plan, sheet)
        emit(as_json, result.to_dict, lambda: powerup_tables.result(result))
