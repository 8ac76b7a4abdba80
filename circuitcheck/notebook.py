"""Results as HTML tables, for notebooks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


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
