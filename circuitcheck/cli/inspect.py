"""The verb ``inspect``: the design judged by rules."""

from __future__ import annotations

import json
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, load, mistakes


class Form(str, Enum):
    """What ``inspect`` prints."""

    text = "text"
    sarif = "sarif"
    junit = "junit"


@app.command()
def inspect(
    harness: HarnessArgument,
    as_json: JsonOption = False,
    as_: Annotated[Form, typer.Option("--as", help="Text, SARIF 2.1.0 or JUnit XML.")] = Form.text,
    limit: Annotated[
        list[str] | None,
        typer.Option(
            "--limit",
            "-l",
            metavar="NAME=VALUE",
            help="A limit of your own, such as ambient=80; may be given again. --limits lists them.",
        ),
    ] = None,
    rule: Annotated[
        list[str] | None,
        typer.Option("--rule", "-r", metavar="RULE", help="This rule only; may be given again."),
    ] = None,
    accept: Annotated[
        list[str] | None,
        typer.Option(
            "--accept",
            metavar="'RULE PLACE: REASON'",
            help="A finding you live with, and why; may be given again.",
        ),
    ] = None,
    accepted: Annotated[
        Path | None,
        typer.Option(
            "--accepted",
            metavar="FILE",
            help="The same, one a line, in a file that is kept with the harness.",
        ),
    ] = None,
    show_all: Annotated[
        bool, typer.Option("--all", help="Every finding in full, also where a rule has many.")
    ] = False,
    show_limits: Annotated[
        bool, typer.Option("--limits", help="The limits instead, with their sources.")
    ] = False,
) -> None:
    """The design itself: fuses, wires, motors, contacts, grounds, sneak paths; worst first.

    A finding is no fault of the vehicle: it says where the design asks for one.

    Example:  circuitcheck inspect twin-fan-switch --limit ambient=80
    """
    from circuitcheck.cli import inspect_tables  # noqa: PLC0415
    from circuitcheck.inspect.inspection import inspect_harness, read_acceptances  # noqa: PLC0415
    from circuitcheck.inspect.limits import Limits  # noqa: PLC0415

    with mistakes():
        limits = Limits.of(limit or [])
        if show_limits:
            inspect_tables.limits(limits, as_json=as_json)
            return
        if as_json and as_ is not Form.text:
            raise ValueError(f"found --json and --as {as_.value}; must be one of them")
        reasons = read_acceptances(_lines(accepted), str(accepted)) if accepted else {}
        reasons |= read_acceptances(accept or [])
        result = inspect_harness(load(harness).harness, limits, reasons, rule)
        if as_json:
            typer.echo(json.dumps(result.to_dict(), indent=2, ensure_ascii=False, allow_nan=False))
        elif as_ is Form.text:
            inspect_tables.inspection(result, everything=show_all)
        else:
            typer.echo(_exchanged(harness, as_, result))


def _lines(file: Path) -> list[str]:
    """The lines of a text file.

    :raises ValueError: if it cannot be read
    """
    try:
        return file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "no text in UTF-8"
        raise ValueError(f"{file}: cannot be read ({reason})") from None


def _exchanged(given: str, form: Form, result: object) -> str:
    from circuitcheck import __version__  # noqa: PLC0415
    from circuitcheck.inspect.exchange import junit, sarif  # noqa: PLC0415
    from circuitcheck.inspect.inspection import Inspection  # noqa: PLC0415
    from circuitcheck.shipped import harness_files  # noqa: PLC0415

    assert isinstance(result, Inspection)
    if form is Form.junit:
        return junit(result)
    shipped = harness_files().get(given)
    path = shipped if shipped else Path(given)
    name = f"harnesses/{shipped.name}" if shipped else path.as_posix()
    log = sarif(result, name, path.read_text(encoding="utf-8"), __version__)
    return json.dumps(log, indent=2, ensure_ascii=False)
