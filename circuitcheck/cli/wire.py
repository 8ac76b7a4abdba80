"""The verb ``wire``: wire and fuse for a current, and the jumper lead of a test."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import JsonOption, TestOption, app, load, mistakes, quantity

if TYPE_CHECKING:
    from circuitcheck.inspect.sizing import Need


@app.command()
def wire(
    amps: Annotated[
        str | None, typer.Option("--amps", help="Continuous current, such as '15 A'.")
    ] = None,
    length: Annotated[
        str,
        typer.Option(
            "--length",
            help="Wire that the current passes, such as '3 m'; there and back if both are this wire.",
        ),
    ] = "1 m",
    drop: Annotated[
        str | None, typer.Option("--drop", help="Volts that may be lost in it, such as '0.3 V'.")
    ] = None,
    ambient: Annotated[
        str | None, typer.Option("--ambient", help="Air around it, such as '80 degC'.")
    ] = None,
    wire_temperature: Annotated[
        str | None,
        typer.Option(
            "--wire-temperature", help="What its insulation stands continuously, such as '105 degC'."
        ),
    ] = None,
    bundle: Annotated[
        int | None, typer.Option("--bundle", min=1, max=100, help="Equally loaded wires side by side.")
    ] = None,
    harness: Annotated[
        str | None, typer.Option("--harness", "-H", help="The jumper lead for a test of this harness.")
    ] = None,
    test: TestOption = None,
    as_json: JsonOption = False,
) -> None:
    """Wire and fuse for a current; or with --harness the jumper lead to make up for a test.

    Example:  circuitcheck wire --amps 15 --length "6 m" --drop "0.5 V"

    circuitcheck wire --harness twin-fan-switch --test low-at-the-plug
    """
    from circuitcheck.cli import wire_tables  # noqa: PLC0415

    with mistakes():
        if harness is not None:
            if amps is not None:
                raise ValueError("found --amps and --harness; must be one of them")
            expected = load(harness).expect(test)
            if as_json:
                rows = {one.test: asdict(one.lead) if one.lead else None for one in expected}
                typer.echo(json.dumps(rows, indent=2))
            else:
                wire_tables.leads(expected)
            return
        if amps is None or test is not None:
            raise ValueError("must be given --amps, such as --amps 15, or --harness with --test")
        from circuitcheck.inspect.sizing import choose  # noqa: PLC0415

        choice = choose(_need(amps, length, drop, ambient, wire_temperature, bundle))
        if as_json:
            typer.echo(json.dumps(choice.to_dict(), indent=2))
        else:
            wire_tables.choice(choice)


def _need(
    amps: str,
    length: str,
    drop: str | None,
    ambient: str | None,
    wire_temperature: str | None,
    bundle: int | None,
) -> Need:
    """The need in base units; what is not given is as for ``inspect``."""
    from circuitcheck.inspect.limits import Limits  # noqa: PLC0415
    from circuitcheck.inspect.sizing import Need  # noqa: PLC0415
    from circuitcheck.parts.quantity import AMP, CELSIUS, METRE, VOLT  # noqa: PLC0415

    usual = Limits()
    return Need(
        amps=quantity("amps", AMP, amps),
        metres=quantity("length", METRE, length),
        drop=None if drop is None else quantity("drop", VOLT, drop),
        ambient=usual["ambient"] if ambient is None else quantity("ambient", CELSIUS, ambient),
        wire_celsius=usual["wire-temperature"]
        if wire_temperature is None
        else quantity("wire-temperature", CELSIUS, wire_temperature),
        bundle=usual["bundle"] if bundle is None else float(bundle),
    )
