"""Results as tables: in HTML for notebooks, in plain text for ``print``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def text_table(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Columns side by side.

    >>> print(text_table(["unit", "chance"], [["E1", "71 %"], ["left fan", "2 %"]]))
    unit      chance
    E1        71 %
    left fan  2 %
    """
    cells = [[str(cell) for cell in row] for row in (columns, *rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in cells
    ]
    return "\n".join(line.rstrip() for line in lines)


def html_table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A plain table; every cell is escaped.

    >>> html_table("c", ["a"], [["<"]])
    '<table><caption>c</caption><tr><th>a</th></tr><tr><td>&lt;</td></tr></table>'
    """
    head = "".join(f"<th>{escape(one)}</th>" for one in columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table><caption>{escape(caption)}</caption><tr>{head}</tr>{body}</table>"
