"""The verb ``resistor``: a series resistor sized for a slow fan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from circuitcheck.cli.app import (
    HarnessArgument,
    JsonOption,
    app,
    emit,
    load,
    mistakes,
    quantity,
)

if TYPE_CHECKING:
    from circuitcheck.learn.resistor.answer import Sizing
    from circuitcheck.parts.quantity import Unit


def _text(name: str, help_: str) -> Any:
    return typer.Option(f"--{name}", help=help_)


@app.command()
def resistor(
    harness: HarnessArgument,
    rpm: Annotated[str | None, _text("rpm", "Wanted speed, such as 1500.")] = None,
    share: Annotated[
        str | None, _text("share", "Wanted speed as a share of full speed, such as '60 %'.")
    ] = None,
    amps: Annotated[str | None, _text("amps", "Wanted current of the fan, such as '8 A'.")] = None,
    motor: Annotated[
        str | None, _text("motor", "The fan that this is wanted of; the first one unless told.")
    ] = None,
    which: Annotated[
        list[str] | None,
        typer.Option(
            "--resistor",
            help="The one to be sized; those of the slowest speed unless told; may be given again.",
        ),
    ] = None,
    into: Annotated[str | None, _text("in", "Put a new one into this wire, such as W4.")] = None,
    one: Annotated[
        bool, typer.Option("--one", help="One resistor for all fans that run slowly together.")
    ] = False,
    outside: Annotated[
        bool, typer.Option("--outside", help="New ones outside the fans, where their own have failed.")
    ] = False,
    take: Annotated[
        str | None,
        _text("take", "The ohms to take, such as '0.5 ohm'; the nearest standard value unless told."),
    ] = None,
    margin: Annotated[
        float | None,
        typer.Option(
            "--margin",
            min=1.0,
            max=10.0,
            help="Times the watts while running that it is rated for; 2 unless told.",
        ),
    ] = None,
    thermal: Annotated[
        float | None,
        typer.Option(
            "--thermal",
            min=0.01,
            max=100.0,
            help="Degrees that its surface rises for each watt, from its data sheet.",
        ),
    ] = None,
    ambient: Annotated[str | None, _text("ambient", "Air around it, such as '80 degC'.")] = None,
    cut_out: Annotated[
        str | None, _text("cut-out", "It has a thermal cut-out that opens at, such as '150 degC'.")
    ] = None,
    write: Annotated[
        Path | None,
        typer.Option(
            "--write",
            metavar="FILE",
            help="Write the changed harness, inspect it, and tell what changes.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """The series resistor for a slow fan: ohms, watts, heat, and what it does to fuse and switch.

    Without a wanted speed or current it is sized for the speed that the fan has now.

    Example:  circuitcheck resistor twin-fan-switch --share "60 %"

    circuitcheck resistor twin-fan-switch --outside --write retrofit.yaml
    """
    from circuitcheck.cli import resistor_tables  # noqa: PLC0415
    from circuitcheck.parts.quantity import AMP, CELSIUS, OHM, RPM, Unit  # noqa: PLC0415

    of_full = Unit("a share of full speed", "'60 %'", {"%": 0.01, "": 0.01}, low=0.01, high=1.0)
    with mistakes():
        told = {
            "rpm": _read("rpm", RPM, rpm),
            "share": _read("share", of_full, share),
            "amps": _read("amps", AMP, amps),
            "take": _read("take", OHM, take),
            "ambient": _read("ambient", CELSIUS, ambient),
            "cut_out": _read("cut-out", CELSIUS, cut_out),
        }
        given = {"margin": margin, "thermal": thermal, **told}
        found = load(harness).resistor(
            motor=motor,
            resistors=tuple(which or ()),
            into=into,
            one=one,
            outside=outside,
            **{key: value for key, value in given.items() if value is not None},
        )
        if write is not None:
            _write(write, found)
        resistor_tables.cautions()
        emit(as_json, lambda: _data(found, write), lambda: resistor_tables.sizing(found, write))


def _read(option: str, unit: Unit, given: str | None) -> float | None:
    return None if given is None else quantity(option, unit, given)


def _write(file: Path, found: Sizing) -> None:
    """Write the changed harness.

    :raises ValueError: if it cannot be written
    """
    from circuitcheck.harness.write import to_yaml  # noqa: PLC0415

    try:
        file.write_text(to_yaml(found.changed), encoding="utf-8")
    except OSError as error:
        raise ValueError(f"cannot write {file}: {error.strerror}") from None


def _data(found: Sizing, write: Path | None) -> dict[str, Any]:
    data = found.to_dict()
    if write is not None:
        data |= {"file": str(write), "inspected": found.inspected.to_dict()}
    return data
