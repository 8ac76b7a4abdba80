"""An explanation in Markdown, its formulas in LaTeX between dollar signs."""

from __future__ import annotations

from collections.abc import Iterable

from circuitcheck.learn.document import Block, Formula, Heading, Rows, Sentence


def markdown_of(blocks: Iterable[Block]) -> str:
    """The document as Markdown."""
    return "\n\n".join(_block(one) for one in blocks) + "\n"


def _block(one: Block) -> str:
    if isinstance(one, Heading):
        return f"{'#' * one.level} {_escaped(one.text)}"
    if isinstance(one, Sentence):
        return _escaped(one.text)
    if isinstance(one, Rows):
        return _table(one)
    return _formula(one)


def _table(table: Rows) -> str:
    rule = ["---:" if name in table.right else "---" for name in table.columns]
    rows = [table.columns, rule, *([_escaped(cell) for cell in row] for row in table.rows)]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _formula(one: Formula) -> str:
    line = one.line
    head = f"{one.number}. **{line.how}**" if one.number else f"**{line.how}**"
    parts = [f"{head}: {_escaped(line.why)}" if line.why else head]
    parts.append(f"$$ {line.latex} $$")
    numbers = f"{line.numbers} = " if line.numbers else ""
    told = ", ".join([f"{line.left} = {numbers}{line.result}", *line.also])
    parts.append(f"`{told}`")
    return "\n\n".join(parts)


def _escaped(text: str) -> str:
    """Signs that Markdown would take for its own."""
    for sign in ("\\", "|", "*", "_", "<", "^", "`"):
        text = text.replace(sign, "\\" + sign)
    return text
