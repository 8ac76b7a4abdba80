"""Where results and cautions are printed."""

from __future__ import annotations

import textwrap
from typing import Any, NoReturn

from rich.console import Console


class Paper(Console):
    """Standard output; no blanks at the ends of lines where it goes to a file or a pipe."""

    def __init__(self) -> None:
        super().__init__(highlight=False)

    def print(self, *objects: Any, **options: Any) -> None:
        """As :meth:`rich.console.Console.print`."""
        if self.is_terminal:
            super().print(*objects, **options)
            return
        with self.capture() as caught:
            super().print(*objects, **options)
        self.file.write("\n".join(line.rstrip() for line in caught.get().split("\n")))


class _Aside(Console):
    """Standard error; that nobody reads it is told as for any other stream."""

    def on_broken_pipe(self) -> NoReturn:
        """:raises BrokenPipeError: always"""
        raise BrokenPipeError


_err = _Aside(stderr=True, highlight=False)


def caution(text: str, paper: Paper | None = None) -> None:
    """A caution on standard error, set in under its mark.

    :param paper: a sheet that is carried to the vehicle, and takes its cautions with it
    """
    to = paper or _err
    lines = textwrap.wrap(text, max(to.width, 40), initial_indent="! ", subsequent_indent="  ")
    for line in lines:
        to.print(line, markup=False, soft_wrap=True)
