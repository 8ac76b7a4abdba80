"""An explanation for a terminal: plain text in a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from circuitcheck.learn.document import Block, Formula, Heading, Rows, Sentence
from circuitcheck.learn.written import Line

WIDTH = 80


def text_of(blocks: Iterable[Block], width: int = WIDTH) -> str:
    """The document as lines no wider than ``width`` columns."""
    lines: list[str] = []
    for one in blocks:
        if isinstance(one, Heading):
            lines += ["", *textwrap.wrap(one.text, width)] if one.level > 1 else [one.text]
        elif isinstance(one, Sentence):
            lines += _wrap(one.text, width)
        elif isinstance(one, Rows):
            lines += _table(one, width)
        else:
            lines += _formula(one, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _wrap(text: str, width: int, indent: str = "  ", more: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=more or indent,
        break_long_words=True,
        break_on_hyphens=False,
    )


def _formula(one: Formula, width: int) -> list[str]:
    line = one.line
    label = f"{one.number}. " if one.number else ""
    lines = _wrap(
        f"{label}{line.how}: {line.why}" if line.why else f"{label}{line.how}", width, "  ", "     "
    )
    if line.equations:
        for equation in line.equations:
            lines += _wrap(equation, width, "       ", "         ")
    if line.formula:
        lines += _wrap(f"{line.left} = {line.formula}", width, "       ", "         ")
    return lines + _numbers(line, width)


def _numbers(line: Line, width: int) -> list[str]:
    """The numbers put in, where they say more than the result."""
    indent = "       "
    if line.formula and not line.numbers:
        return _wrap(f"{' ' * len(line.left)} = {line.result}", width, indent)
    if not line.numbers or line.numbers == line.result:
        told = ", ".join([f"{line.left} = {line.result}", *line.also])
        return _wrap(told, width, indent, indent + "  ")
    pad = " " * len(line.left)
    return [
        *_wrap(f"{pad} = {line.numbers}", width, indent, indent + pad + "   "),
        *_wrap(f"{pad} = {line.result}", width, indent),
    ]


def _table(table: Rows, width: int) -> list[str]:
    """Columns side by side; the widest wordy column gives way until the table fits."""
    rows = [table.columns, *table.rows]
    widths = [max(len(row[n]) for row in rows) for n in range(len(table.columns))]
    wordy = [n for n, name in enumerate(table.columns) if name not in table.right]
    room = width - 2 - 2 * (len(widths) - 1)
    while sum(widths) > room and wordy:
        widest = max(wordy, key=lambda n: widths[n])
        if widths[widest] <= 8:
            break
        widths[widest] -= 1
    if sum(widths) > room:
        return _upright(table, width)
    return [line for row in rows for line in _row(row, widths, table)]


def _row(row: Sequence[str], widths: Sequence[int], table: Rows) -> list[str]:
    cells = [textwrap.wrap(cell, wide) or [""] for cell, wide in zip(row, widths, strict=True)]
    lines = []
    for n in range(max(map(len, cells))):
        words = [cell[n] if n < len(cell) else "" for cell in cells]
        aligned = [
            word.rjust(wide) if name in table.right else word.ljust(wide)
            for word, wide, name in zip(words, widths, table.columns, strict=True)
        ]
        lines.append("  " + "  ".join(aligned))
    return lines


def _upright(table: Rows, width: int) -> list[str]:
    """A table too wide for the page: one row after the other."""
    lines = []
    for row in table.rows:
        told = [f"{name} {cell}" for name, cell in zip(table.columns[1:], row[1:], strict=True) if cell]
        lines += _wrap(f"{row[0]}: {', '.join(told)}", width, "  ", "    ")
    return lines
