"""The whole order of tests as one page: numbered tests, and where each outcome leads."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from circuitcheck.plan.tree import Node, Plan, Step

_WIDTH = 80


def page(result: Plan, *, markdown: bool = False) -> str:
    """The plan in plain text or in Markdown, to be printed."""
    symptom = result.symptom or "where to begin"
    lines = [f"{'# ' if markdown else ''}{result.title}: {symptom}", ""]
    lines += _wrapped(_what_it_is(result), "")
    steps = _numbered(result.root)
    for text in dict.fromkeys(text for one in steps for text in one.cautions):
        lines += _wrapped(text, "  ", "- " if markdown else "! ")
    if not steps:
        lines += ["", *_wrapped(f"No test: {_verdict(result.root)}.", "")]
    numbers = {id(one): number for number, one in enumerate(steps, 1)}
    for one in steps:
        lines += ["", *_block(one, numbers, markdown)]
    return "\n".join(lines) + "\n"


def _what_it_is(result: Plan) -> str:
    share = f"{result.settled:.0%}".replace("%", " %")
    return (f"{result.minutes:.0f} minutes of tests on average. In {share} of all cases this ends in a "
            "verdict; where it says 'next', write down what was read and run 'circuitcheck next'.")


def _numbered(node: Node) -> list[Step]:
    """The tests in the order of the page."""
    if not isinstance(node, Step):
        return []
    return [node, *(step for _, _, then in node.branches for step in _numbered(then))]


def _block(one: Step, numbers: dict[int, int], markdown: bool) -> Iterator[str]:
    """One test: what to do, what to read, where it leads."""
    number = numbers[id(one)]
    head = f"{one.title} [{one.name}], {one.minutes:g} min"
    if markdown:
        yield from (f"## {number}. {head}", "")
    else:
        yield from _wrapped(head, "    ", f"{number:2}. ")
    indent = "" if markdown else "    "
    opening = f"open {', '.join(one.access)}; " if one.access else ""
    lead = f"; lead {one.lead.size_mm2:g} mm2, {one.lead.fuse_a:g} A fuse" if one.lead else ""
    yield from _wrapped(f"{opening}{'; '.join(one.setup)}{lead}", indent)
    yield from _wrapped(f"read: {'; '.join(one.readings)}", indent)
    if markdown:
        yield ""
    for label, chance, then in one.branches:
        share = f"{chance:.0%}".replace("%", " %") if chance >= 0.005 else "<1 %"
        leads = f"go to {numbers[id(then)]}" if isinstance(then, Step) else _verdict(then)
        yield from _wrapped(f"{label} ({share}): {leads}", indent + "    ", indent + "- ")


def _verdict(node: Node) -> str:
    return "" if isinstance(node, Step) else node.why


def _wrapped(text: str, indent: str, first: str | None = None) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent if first is None else first,
                         subsequent_indent=indent)  # fmt: skip
