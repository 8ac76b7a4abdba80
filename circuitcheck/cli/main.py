"""The verbs. Each parses, calls, prints, and sets the exit status; nothing is worked out here."""

from __future__ import annotations

import json
import sys
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.main import get_command_name
from typer.models import CommandInfo

from circuitcheck.cli import buzz, inspect, learn, planning, powerup, practise, resistor, wire
from circuitcheck.cli.app import (
    FaultOption,
    HarnessArgument,
    JsonOption,
    NeededTest,
    TestOption,
    app,
    emit,
    load,
    mistakes,
    needed,
    sheet_of,
)

if TYPE_CHECKING:
    from circuitcheck.expect.expected import Expectation
    from circuitcheck.loom import Loom

DEMO_HARNESS, DEMO_READINGS = "twin-fan-switch", "slow-on-low"


class Sheet(str, Enum):
    """How ``expect`` is printed."""

    table = "table"
    csv = "csv"


class As(str, Enum):
    """What ``whatif`` prints."""

    expected = "expected"
    readings = "readings"


class To(str, Enum):
    """What ``export`` writes."""

    spice = "spice"


class What(str, Enum):
    """Which file format."""

    harness = "harness"
    readings = "readings"


def _version(wanted: bool) -> None:
    if wanted:
        from circuitcheck import __version__  # noqa: PLC0415

        typer.echo(f"circuitcheck {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


@app.command("list")
def list_harnesses(as_json: JsonOption = False) -> None:
    """The shipped harnesses.

    Example:  circuitcheck list
    """
    from circuitcheck.cli import tables  # noqa: PLC0415
    from circuitcheck.shipped import harness_files, readings_files  # noqa: PLC0415

    with mistakes():
        looms = [load(name).harness for name in harness_files()]
        rows = [
            {
                "name": one.name,
                "title": one.title,
                "volts": one.volts,
                "parts": len(one.parts),
                "wires": len(one.wires),
                "tests": list(one.tests),
                "readings": [str(path) for path in readings_files(one.name).values()],
            }
            for one in looms
        ]
        emit(as_json, lambda: rows, lambda: tables.harnesses(rows))


@app.command()
def demo() -> None:
    """The main job on a shipped harness: expected against measured, verdict, reasons."""
    from circuitcheck.cli import tables  # noqa: PLC0415
    from circuitcheck.shipped import readings_files  # noqa: PLC0415

    with mistakes():
        loom = load(DEMO_HARNESS)
        path = readings_files(DEMO_HARNESS)[DEMO_READINGS]
        sheet = loom.sheet(path)
        tables.demo_head(loom, sheet)
        tables.verdict(loom, loom.locate(sheet))
        tables.demo_tail(DEMO_HARNESS, path)


@app.command()
def faults(
    harness: HarnessArgument,
    part: Annotated[
        list[str] | None,
        typer.Option("--part", help="Only those of this part or wire; may be given again."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", help="Only those that ask for this to be put right.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="Only those of this kind: open, short, welded ...")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Every fault that can be told to whatif and found by locate.

    Examples:  circuitcheck faults twin-fan-switch

    circuitcheck faults twin-fan-switch --part W20 --kind short
    """
    from circuitcheck.cli import tables  # noqa: PLC0415

    with mistakes():
        rows = [
            {
                "spec": one.spec,
                "where": one.where,
                "fault": one.mode,
                "replace": one.replace,
                "weight": one.weight,
                "words": one.words,
                "source": one.source,
                "range": None
                if one.severity is None
                else {"low": one.severity.low, "high": one.severity.high, "unit": one.severity.unit},
            }
            for one in load(harness).faults_of(part or (), unit, kind)
        ]
        emit(as_json, lambda: rows, lambda: tables.faults(rows))


@app.command()
def expect(
    harness: HarnessArgument,
    test: TestOption = None,
    as_: Annotated[
        Sheet, typer.Option("--as", help="A table; or CSV, a sheet to fill in for locate.")
    ] = Sheet.table,
    as_json: JsonOption = False,
    second_opinion: Annotated[
        bool, typer.Option("--second-opinion", help="Solve again in exact arithmetic and compare.")
    ] = False,
) -> None:
    """What each test should read in a sound circuit, with its lead and its cautions.

    Examples:  circuitcheck expect twin-fan-switch --test low-at-the-plug

    circuitcheck expect twin-fan-switch --as csv > sheet.csv
    """
    with mistakes():
        loom = load(harness)
        if as_ is Sheet.csv and not as_json:  # of a sheet's tests only the harness's own have a name
            typer.echo(_sheet_to_fill_in(loom, loom.expect(test)), nl=False)
            return
        loom = loom.knowing(test)
        _expected(loom, loom.expect(test), as_json=as_json, second_opinion=second_opinion)


def _sheet_to_fill_in(loom: Loom, result: Expectation) -> str:
    """A row for each reading, its value left out; the columns that ``locate`` passes over last."""
    import csv  # noqa: PLC0415
    import io  # noqa: PLC0415

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("test", "name", "reading", "where", "expected"))
    for one in result:
        observe = loom.harness.tests[one.test].observe
        for reading in one.readings:
            where = " to ".join(observe[reading.name].points)
            band = f"{reading.band.replace(' and ', ' to ')} {reading.unit}" if reading.band else ""
            expected = reading.word or band or reading.shown
            writer.writerow((one.test, reading.name, "", where, expected))
    return out.getvalue()


def _expected(loom: Loom, result: Expectation, *, as_json: bool, second_opinion: bool = False) -> None:
    from circuitcheck.cli import tables  # noqa: PLC0415

    twin = None
    if second_opinion:
        from circuitcheck.expect.second_opinion import second_opinion_of_test  # noqa: PLC0415

        twin = {one.test: second_opinion_of_test(loom.harness, one.test) for one in result}

    def data() -> dict[str, Any]:
        found = result.to_dict()
        if twin is not None:
            found["second_opinion"] = {
                test: [{"name": name, "ours": ours, "exact": exact} for name, ours, exact in rows]
                for test, rows in twin.items()
            }
        return found

    emit(as_json, data, lambda: tables.expected(loom, result, twin))


@app.command()
def whatif(
    harness: HarnessArgument,
    fault: FaultOption = None,
    test: TestOption = None,
    as_: Annotated[As, typer.Option("--as", help="A table, or a readings file.")] = As.expected,
    spread: Annotated[
        int | None, typer.Option("--spread", min=0, help="Seed that draws one vehicle and meter.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """What each test reads with some faults; or a readings file of one such vehicle.

    Examples:  circuitcheck whatif twin-fan-switch --fault "R1 open"

    circuitcheck whatif first-fan --fault "E2 high resistance=0.8 ohm" --spread 7 --as readings
    """
    with mistakes():
        loom, specs = load(harness), fault or []
        if as_ is As.readings or spread is not None:
            if test is not None:
                loom.tests(test)  # of a sheet's tests only the harness's own have a name
            from circuitcheck.harness.readings import sheet_text  # noqa: PLC0415

            seed = 0 if spread is None else spread
            written = loom.written(*specs, spread=seed, test=test)
            title = f"drawn vehicle, seed {seed}" + (f", {' + '.join(specs)}" if specs else "")
            emit(
                as_json,
                lambda: {"harness": loom.harness.name, "tests": written},
                lambda: typer.echo(sheet_text(loom.harness.name, written, title), nl=False),
            )
            return
        loom = loom.knowing(test)
        _expected(loom, loom.whatif(*specs, test=test), as_json=as_json)


@app.command()
def locate(
    harness: HarnessArgument,
    readings: Annotated[
        str, typer.Argument(metavar="READINGS", help="YAML or CSV; - for standard input.")
    ],
    why: Annotated[
        bool,
        typer.Option(
            "--why", help="The whole ledger: what each reading speaks for and against each suspect."
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """What is wrong, from the readings.

    Example:  circuitcheck locate twin-fan-switch my-readings.csv
    """
    from circuitcheck.cli import tables  # noqa: PLC0415

    with mistakes():
        loom = load(harness)
        sheet = sheet_of(loom, readings)
        if why:
            from circuitcheck.cli import why_tables  # noqa: PLC0415

            ledger = loom.why(sheet)
            emit(as_json, ledger.to_dict, lambda: why_tables.why(loom, ledger))
            return
        result = loom.locate(sheet)
        emit(as_json, result.to_dict, lambda: tables.verdict(loom, result))


@app.command()
def export(
    harness: HarnessArgument,
    test: NeededTest = None,
    fault: FaultOption = None,
    to: Annotated[To, typer.Option("--to", help="The format.")] = To.spice,
) -> None:
    """A test as a deck for general-purpose circuit simulators.

    Run in batch it prints one line 'reading NAME VALUE' for each observation.

    Example:  circuitcheck export first-fan --test fan-direct --to spice > fan.cir
    """
    with mistakes():
        loom = load(harness)
        test = needed(loom, test)
        loom = loom.knowing(test)
        (name,) = loom.tests(test)
        from circuitcheck.expect.second_opinion import deck  # noqa: PLC0415

        assert to is To.spice
        typer.echo(deck(loom.harness, name, loom.fault(*(fault or []))), nl=False)


@app.command()
def schema(what: Annotated[What, typer.Argument(help="Which file format.")]) -> None:
    """The JSON Schema of a file format, for editors that check while you type.

    Example:  circuitcheck schema harness > harness.schema.json
    """
    from circuitcheck.harness import schema as schemas  # noqa: PLC0415

    found = schemas.harness_schema() if what is What.harness else schemas.readings_schema()
    typer.echo(json.dumps(found, indent=2, sort_keys=True, ensure_ascii=False))


#: Verbs that live in files of their own; importing them has put them on the application.
TOPICS = (buzz, inspect, learn, planning, powerup, practise, resistor, wire)


def run() -> None:
    """The entry point. To make a verb ready takes some milliseconds: only the one asked for is."""
    asked = [one for one in app.registered_commands if _name(one) in sys.argv[1:2]]
    app.registered_commands = asked or app.registered_commands
    app()


def _name(verb: CommandInfo) -> str:
    """What is typed for a verb."""
    assert verb.callback is not None
    return verb.name or get_command_name(verb.callback.__name__)
