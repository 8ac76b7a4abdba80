"""Practice with a hidden fault: in a terminal, from a pipe, or from a script."""

from __future__ import annotations

import secrets
import sys
import textwrap
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from circuitcheck.cli.app import HarnessArgument, JsonOption, app, emit, load, mistakes

if TYPE_CHECKING:
    from prompt_toolkit.completion import CompleteEvent
    from prompt_toolkit.document import Document

    from circuitcheck.learn.beside import Ahead
    from circuitcheck.learn.debrief import Debrief
    from circuitcheck.learn.session import Session

LONGEST_SCRIPT = 100_000
"""Bytes of a script; nobody does so much to one vehicle."""
PROMPT = "> "
NOT_ENDED = (
    "Not ended, so what it was is not told: done ends it, or leave; --seed {seed} brings "
    "the same case back."
)


@app.command()
def practise(
    harness: HarnessArgument,
    level: Annotated[
        int,
        typer.Option(
            "--level",
            "-l",
            min=1,
            max=5,
            help="1 something open, 2 a bad ground, 3 a changed resistance, 4 two faults, 5 a trap.",
        ),
    ] = 1,
    seed: Annotated[
        int | None, typer.Option("--seed", min=0, help="The same case again, on any machine.")
    ] = None,
    play: Annotated[
        Path | None,
        typer.Option("--play", metavar="FILE", help="What to do, one line each; # begins a remark."),
    ] = None,
    quick: Annotated[
        bool,
        typer.Option("--quick", help="Leave out what following 'next' comes to, which takes seconds."),
    ] = False,
    thorough: Annotated[
        bool,
        typer.Option(
            "--thorough", help="Follow 'next --thorough' then, which looks for a second fault."
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """A vehicle with a hidden fault: measure, name it, and hear how it went.

    Examples:  circuitcheck practise twin-fan-switch --level 2

    circuitcheck practise first-fan --level 1 --seed 7 --play homework.txt --json
    """
    from circuitcheck.learn.case import draw_case  # noqa: PLC0415
    from circuitcheck.learn.debriefed import debrief_lines  # noqa: PLC0415
    from circuitcheck.learn.session import Session  # noqa: PLC0415

    with mistakes():
        number = secrets.randbelow(10_000) if seed is None else seed
        script = None if play is None else _script(play)
        session = Session(draw_case(load(harness).harness, level, number))
        typed = script is None and sys.stdin.isatty() and sys.stdout.isatty()
        ahead = _begin_ahead(harness, level, number, thorough) if typed and not quick else None
        _say((f"! {one}" for one in session.cautions()), aside=True)
        _say(session.greeting(), aside=as_json)
        for line in _lines(session, script, aside=as_json):
            _say(session.feed(line), aside=as_json)
            if session.over:
                break
        if not session.over:
            emit(
                as_json,
                lambda: {
                    "ended": False,
                    "minutes": session.workshop.minutes,
                    "mistakes": session.mistakes,
                },
                lambda: _say([NOT_ENDED.format(seed=number)], aside=False),
            )
            return
        found = _debrief(session, ahead, quick=quick, thorough=thorough)
        emit(
            as_json,
            lambda: {**found.to_dict(), "mistakes": session.mistakes},
            lambda: _say(debrief_lines(found), aside=False),
        )


def _begin_ahead(harness: str, level: int, seed: int, thorough: bool) -> Ahead:
    """Begin to work out what following ``next`` comes to, while the student is at work."""
    from circuitcheck.learn.beside import Ahead  # noqa: PLC0415

    return Ahead(harness, level, seed, thorough=thorough)


def _debrief(session: Session, ahead: Ahead | None, *, quick: bool, thorough: bool) -> Debrief:
    """The debrief; the longer part of it may be broken off."""
    if not quick:
        typer.echo("Working out what following 'next' comes to; Ctrl-C leaves it out ...", err=True)
        try:
            return session.debrief(beside_next=True, ahead=ahead, thorough=thorough)
        except KeyboardInterrupt:
            pass
    return session.debrief()


def _script(path: Path) -> list[str]:
    """The lines of a script.

    :raises ValueError: if it cannot be read
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise ValueError(f"cannot read {path}: {error.strerror}") from None
    if len(raw) > LONGEST_SCRIPT:
        raise ValueError(f"{path} is longer than {LONGEST_SCRIPT} bytes")
    return raw.decode("utf-8", errors="replace").splitlines()


def _say(lines: Iterable[str], *, aside: bool) -> None:
    """Lines no wider than 80 columns; aside on standard error, so that JSON stands alone."""
    for line in lines:
        lead = " " * (len(line) - len(line.lstrip()))
        wrapped = textwrap.wrap(
            line,
            80,
            initial_indent="",
            subsequent_indent=lead + "  ",
            drop_whitespace=True,
            replace_whitespace=False,
        ) or [""]
        for piece in wrapped:
            typer.echo(piece, err=aside)


def _lines(session: Session, script: list[str] | None, *, aside: bool) -> Iterator[str]:
    """From the script, from a terminal with history and completion, or plainly from a pipe."""
    if script is not None:
        for line in script:
            if line.split("#")[0].strip():
                typer.echo(f"{PROMPT}{line.strip()}", err=aside)
                yield line
    elif sys.stdin.isatty() and sys.stdout.isatty():
        yield from _asked(session)
    else:
        yield from sys.stdin


def _asked(session: Session) -> Iterator[str]:
    """Lines typed at a prompt that tells the minutes."""
    from prompt_toolkit import PromptSession  # noqa: PLC0415
    from prompt_toolkit.completion import Completer, Completion  # noqa: PLC0415

    from circuitcheck.learn.completion import completions  # noqa: PLC0415

    class Fitting(Completer):
        """What may come next in the line."""

        def get_completions(self, document: Document, event: CompleteEvent) -> Iterator[Completion]:
            found, letters = completions(session, document.text_before_cursor)
            return (Completion(one, start_position=-letters) for one in found)

    prompt: PromptSession[str] = PromptSession(completer=Fitting(), complete_while_typing=False)
    while not session.over:
        try:
            yield prompt.prompt(f"{session.workshop.minutes:.0f} min {PROMPT}")
        except (EOFError, KeyboardInterrupt):
            return
