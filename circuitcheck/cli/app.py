"""What every verb shares: the application, its arguments, how mistakes and results are told."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

if TYPE_CHECKING:
    from circuitcheck.harness.readings import Sheet
    from circuitcheck.loom import Loom
    from circuitcheck.parts.quantity import Unit


class Quiet(TyperGroup):
    """The verbs; one whose reader has gone away (``| head``) has done its work."""

    def make_context(self, *given: Any, **extra: Any) -> Any:
        """Read what was typed; ``--help`` prints as soon as it is read."""
        with _unread():
            return super().make_context(*given, **extra)

    def invoke(self, ctx: Any) -> Any:
        """Run a verb."""
        with _unread():
            found = super().invoke(ctx)
            sys.stdout.flush()
            return found


@contextmanager
def _unread() -> Iterator[None]:
    """Where nobody reads on, all is done: nothing more is written, not even as the interpreter ends."""
    try:
        yield
    except BrokenPipeError:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for stream in (sys.stdout, sys.stderr):
            os.dup2(nowhere, stream.fileno())
        sys.exit(0)


app = typer.Typer(
    name="circuitcheck",
    cls=Quiet,
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Knows a fan circuit, says what each test should read, and locates the fault.\n\n"
    "Begin with:  circuitcheck demo",
)


def shipped_names(incomplete: str) -> list[str]:
    """Completion of the names of shipped harnesses."""
    from circuitcheck.shipped import harness_files  # noqa: PLC0415

    return [name for name in harness_files() if name.startswith(incomplete)]


HarnessArgument = Annotated[
    str,
    typer.Argument(
        metavar="HARNESS", help="A path, or the name of a shipped harness.", autocompletion=shipped_names
    ),
]
TestOption = Annotated[str | None, typer.Option("--test", "-t", help="One test only.")]
NeededTest = Annotated[str | None, typer.Option("--test", "-t", help="Which test.  [required]")]
FaultOption = Annotated[
    list[str] | None,
    typer.Option(
        "--fault",
        "-f",
        help="'R1 open', or with a value 'E1 high resistance=0.8 ohm'; may be given again.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document, nothing else.")]


@contextmanager
def mistakes() -> Iterator[None]:
    """A mistake in what was given: said in one line each on standard error, exit status 2."""
    from circuitcheck.errors import CircuitcheckError  # noqa: PLC0415

    try:
        yield
    except (CircuitcheckError, ValueError) as error:
        for line in str(error).splitlines():
            typer.echo(f"circuitcheck: {line}", err=True)
        raise typer.Exit(2) from None


def load(harness: str) -> Loom:
    """A loom by path or by the name of a shipped harness."""
    from circuitcheck.loom import load as load_loom  # noqa: PLC0415

    return load_loom(harness)


def needed(loom: Loom, test: str | None) -> str:
    """The test that was asked for.

    :raises ValueError: with those that there are, if none was
    """
    if test is None:
        raise ValueError(f"must be given --test, one of: {', '.join(loom.harness.tests)}")
    return test


def sheet_of(loom: Loom, readings: str) -> Sheet:
    """A sheet of readings from a file, or from standard input."""
    if readings != "-":
        return loom.sheet(Path(readings))
    from circuitcheck.harness.readings import parse_readings  # noqa: PLC0415

    text = sys.stdin.buffer.read(2_000_001).decode("utf-8", errors="replace")
    return loom.understood(parse_readings(loom.harness, text, "standard input"))


def quantity(option: str, unit: Unit, given: str) -> float:
    """The value of an option in base units; a bare number will do, as the option says the unit.

    :raises ValueError: with the option, what was found and what it must be
    """
    from dataclasses import replace  # noqa: PLC0415

    bare = replace(unit, spellings={"": 1.0, **unit.spellings})
    try:
        return bare.parse(given)
    except ValueError as error:
        raise ValueError(f"--{option}: found '{given}'; {error}") from None


def emit(as_json: bool, data: Callable[[], Any], show: Callable[[], None]) -> None:
    """One result, for programs or for people."""
    if as_json:
        typer.echo(json.dumps(data(), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        show()
