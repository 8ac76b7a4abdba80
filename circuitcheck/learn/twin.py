"""The same lumped circuit given to lcapy, which knows nothing of our steps."""

from __future__ import annotations

from circuitcheck.learn.algebra import exact
from circuitcheck.learn.elements import Element
from circuitcheck.solve.twin import _lcapy as lcapy_library

MOST_SYMBOLIC = 9
"""Elements up to which lcapy solves in symbols; beyond, in exact fractions. Its time in symbols
grows steeply: from 0.1 s for 7 elements to 5 s for 12, as measured."""


def netlist(elements: list[Element], *, symbols: bool) -> tuple[str, dict[str, int]]:
    """The lumped circuit for lcapy, and the number of each node; the first node met last is 0."""
    nodes: dict[str, int] = {}
    for one in elements:
        for node in (one.head, one.tail):
            nodes.setdefault(node, len(nodes))
    inner = len(nodes)
    lines = []
    for number, one in enumerate(elements, 1):
        tail, head = nodes[one.tail], nodes[one.head]
        ohm = one.ohm_name if symbols else one.ohm
        if not one.emf_name:
            lines.append(f"R{number} {tail} {head} {{{ohm}}}")
            continue
        emf = one.emf
        if symbols:
            emf = one.emf_name if one.emf > 0 else f"-{one.emf_name}"  # type: ignore[assignment]
        lines.append(f"R{number} {tail} {inner} {{{ohm}}}")
        lines.append(f"V{number} {inner} {head} dc {{{emf}}}")
        inner += 1
    return "\n".join(lines), nodes


def lcapy_amps(elements: list[Element], target: Element) -> tuple[float, bool]:
    """The target's current as lcapy finds it, tail to head [A], and if it was found in symbols."""
    symbolic = len(elements) <= MOST_SYMBOLIC
    text, _ = netlist(elements, symbols=symbolic)
    (part,) = lcapy_library().Circuit(text).sub.values()
    number = 1 + next(n for n, one in enumerate(elements) if one.members == target.members)
    formula = part.mna.Idict[f"R{number}"].sympy
    values = {}
    for one in elements:
        values[one.ohm_name] = exact(one.ohm)
        if one.emf_name:
            values[one.emf_name] = exact(abs(one.emf))
    put_in = {symbol: values[str(symbol)] for symbol in formula.free_symbols}
    return float(formula.xreplace(put_in)), symbolic
