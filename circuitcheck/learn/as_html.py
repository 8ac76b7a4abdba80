"""An explanation as one HTML page: formulas in MathML (W3C), no script, nothing fetched."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from circuitcheck.learn.document import Block, Formula, Heading, Rows, Sentence

STYLE = (
    "body{font:16px/1.5 serif;max-width:52em;margin:2em auto;padding:0 1em}"
    "table{border-collapse:collapse;margin:1em 0}td,th{border-bottom:1px solid #888;"
    "padding:.2em .7em;text-align:left}.n{text-align:right}"
    ".step{margin:1em 0;break-inside:avoid}math{margin:.4em 0}.v{font-family:monospace}"
)


def page(blocks: Iterable[Block], title: str) -> str:
    """A page that stands alone."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        f"{fragment(blocks)}</body>\n</html>\n"
    )


def fragment(blocks: Iterable[Block]) -> str:
    """The same without the frame, for notebooks."""
    return "".join(_block(one) + "\n" for one in blocks)


def _block(one: Block) -> str:
    if isinstance(one, Heading):
        return f"<h{one.level}>{escape(one.text)}</h{one.level}>"
    if isinstance(one, Sentence):
        return f"<p>{escape(one.text)}</p>"
    if isinstance(one, Rows):
        return _table(one)
    return _formula(one)


def _table(table: Rows) -> str:
    marks = [' class="n"' if name in table.right else "" for name in table.columns]
    head = "".join(f"<th{m}>{escape(c)}</th>" for c, m in zip(table.columns, marks, strict=True))
    body = "".join(
        "<tr>" + "".join(f"<td{m}>{escape(c)}</td>" for c, m in zip(row, marks, strict=True)) + "</tr>\n"
        for row in table.rows
    )
    return f"<table>\n<tr>{head}</tr>\n{body}</table>"


def _formula(one: Formula) -> str:
    line = one.line
    number = f"{one.number}. " if one.number else ""
    why = f": {escape(line.why)}" if line.why else ""
    numbers = f"{escape(line.numbers)} = " if line.numbers else ""
    return (
        f'<div class="step"><p>{number}<b>{escape(line.how)}</b>{why}</p>\n{line.mathml}\n'
        f'<p class="v">{escape(line.left)} = {numbers}{escape(line.result)}'
        f"{escape(', '.join(['', *line.also]))}</p></div>"
    )
