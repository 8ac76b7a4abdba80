"""The whole order of tests as one page, to be printed: numbered tests, and where each reading leads."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from circuitcheck.expect.cautions import together
from circuitcheck.plan.before import Before
from circuitcheck.plan.tree import Branch, Leaf, Plan, Step, numbered

_WIDTH = 80
_WHOLE = 0.97
"""Chance of a verdict from which what is left is not spoken of."""
_HOW = (
    "Begin at 1: take its readings (a sound circuit gives what stands in brackets), then take the first "
    "line that fits them, to another step or to what to repair or renew. No line fits: write down what "
    "was read and run 'circuitcheck next'."
)
_BEFORE = (
    "Before a repair take what stands behind 'first': it reads what the brackets say, or there is a "
    "second fault, and 'circuitcheck next' goes on."
)


def page(result: Plan, *, markdown: bool = False) -> str:
    """The plan in plain text or in Markdown, to be printed."""
    symptom = result.symptom or "where to begin"
    lines = [f"{'# ' if markdown else ''}{result.title}: {symptom}", ""]
    steps = result.steps
    careful = [_BEFORE] if result.befores else []
    lines += _wrapped(" ".join([_in_figures(result), _HOW, *careful]), "")
    if markdown:
        lines.append("")
    lines += _cautions([*steps, *result.befores], markdown)
    if isinstance(result.root, Leaf):
        lines += ["", *_wrapped(f"No test: {result.root.why}.", "")]
    numbers = numbered(steps)
    for one in steps:
        lines += ["", *_block(one, numbers, markdown)]
    if result.names:
        lines += ["", *_wrapped(f"Names: {'; '.join(result.names)}.", "")]
    return "\n".join(lines) + "\n"


def _in_figures(result: Plan) -> str:
    share = f"{result.settled:.0%}".replace("%", " %")
    rest = (
        "" if result.settled > _WHOLE else "; for the others 'circuitcheck next' goes on from the sheet"
    )
    return f"{result.minutes:.0f} minutes on average; {share} of cases end in a verdict here{rest}."


def _cautions(steps: Sequence[Step | Before], markdown: bool) -> Iterator[str]:
    """Each once."""
    for text in together(one.cautions for one in steps):
        yield from _wrapped(text, "  ", "- " if markdown else "! ")


def _block(one: Step, numbers: dict[int, int], markdown: bool) -> Iterator[str]:
    """One test: what to do, what to read, where it leads."""
    head = f"{one.title} [{one.name}], {one.minutes:g} min"
    indent = "" if markdown else "    "
    if markdown:
        yield from (f"## {numbers[id(one)]}. {head}", "")
    else:
        yield from _wrapped(head, indent, f"{numbers[id(one)]:2}. ")
    opening = f"open {', '.join(one.access)}; " if one.access else ""
    lead = f"; lead {one.lead.size_mm2:g} mm2, {one.lead.fuse_a:g} A fuse" if one.lead else ""
    reads = "; ".join(f"{look.words} ({look.sound})" for look in one.readings)
    yield from _wrapped(f"{opening}{'; '.join(one.setup)}{lead}. Read: {reads}", indent)
    if markdown:
        yield ""
    for branch in one.branches:
        if isinstance(branch.then, Leaf) and branch.then.open:
            continue  # 'next' weighs what was read
        for outcome in branch.outcomes:
            yield from _wrapped(f"{outcome} -> {_leads(branch, numbers)}", f"{indent}  ", f"{indent}- ")


def _leads(branch: Branch, numbers: dict[int, int]) -> str:
    then = branch.then
    if isinstance(then, Step):
        return f"step {numbers[id(then)]}"
    first = f"; first {then.before.words}" if then.before else ""
    return ", then ".join(then.likeliest) + first


def _wrapped(text: str, indent: str, first: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
