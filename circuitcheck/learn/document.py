"""An explanation laid out: headings, sentences, tables and formulas, however they are shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace

from circuitcheck.errors import UnknownName
from circuitcheck.learn.explanation import Drawn, Explanation
from circuitcheck.learn.fan import Crossing
from circuitcheck.learn.way import place_of
from circuitcheck.learn.written import Line, plain, quantity


@dataclass(frozen=True, slots=True)
class Heading:
    """A title or a section."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Sentence:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Rows:
    """A table; columns named in ``right`` hold numbers."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Formula:
    """A step of the derivation."""

    number: int
    line: Line


Block = Heading | Sentence | Rows | Formula
MOST_SENSITIVE = 6
"""Rows of the table of what the answer hangs on; a choice of presentation."""


def document(told: Explanation, only: Collection[str] = ()) -> list[Block]:
    """The whole explanation in its order, or some of its sections below the question.

    :param only: names out of ``SECTIONS``
    :raises UnknownName: if there is no such section
    """
    for name in only:
        if name not in SECTIONS:
            raise UnknownName("section", name, SECTIONS)
    chosen = [lay_out for name, lay_out in SECTIONS.items() if not only or name in only]
    return [*_head(told), *(block for lay_out in chosen for block in lay_out(told))]


def _head(told: Explanation) -> Iterator[Block]:
    yield Heading(f"{told.question}", 1)
    condition = f"with {' and '.join(told.faults)}" if told.faults else "sound"
    yield Sentence(f"{told.title} ({told.harness}), {condition}. Test {told.test}: {told.test_title}.")


def _way(told: Explanation) -> Iterator[Block]:
    if not told.way:
        return
    yield Heading("The way of the current")
    yield Sentence("From battery plus to battery minus; at a fork, along the strongest branch.")
    yield Rows(
        ("from", "to", "symbol", "through", "current"),
        tuple(
            (place_of(one.start), place_of(one.end), one.symbol, one.words, quantity(one.amps, "A"))
            for one in told.way
        ),
        ("current",),
    )


def _circuit(told: Explanation) -> Iterator[Block]:
    if not told.drawn:
        return
    yield Heading("The circuit, drawn simply")
    yield Sentence(
        "Each run of wires and joints is one resistance. What hangs on by one end only, "
        "and so carries nothing, is left out."
    )
    yield Rows(
        ("symbol", "value", "what it is", "between"),
        tuple(row for one in told.drawn for row in _drawn_rows(one)),
        ("value",),
    )
    lumped = [one for one in told.drawn if len(one.members) > 1]
    if lumped:
        yield Sentence(
            "Lumped: " + "; ".join(f"{one.symbol} = {' + '.join(one.members)}" for one in lumped) + "."
        )
    for note in told.notes:
        yield Sentence(note)


def _drawn_rows(one: Drawn) -> Iterator[tuple[str, ...]]:
    yield one.symbol, quantity(one.ohm, "ohm"), one.words, f"{place_of(one.tail)}, {place_of(one.head)}"
    if one.emf_symbol:
        yield one.emf_symbol, quantity(abs(one.emf), "V"), f"emf of {one.words}", ""


def _steps(told: Explanation) -> Iterator[Block]:
    if not told.lines:
        return
    yield Heading("Step by step")
    if not told.series_parallel:
        yield Sentence(
            "This circuit is not made of series and parallel branches alone: a branch "
            "bridges two others. What is in series or parallel is taken together, and "
            "node equations do the rest."
        )
    reason = ""
    for number, line in enumerate(told.lines, 1):
        # A reason is told once and not at every step that follows by the same rule.
        yield Formula(number, replace(line, why="") if line.why == reason else line)
        reason = line.why
    if told.whole:
        yield Formula(len(told.lines) + 1, told.whole)


def _answer(told: Explanation) -> Iterator[Block]:
    yield Heading("The answer")
    yield Sentence(
        f"{answer_words(told.value, told.unit, told.word)}. The solver's reading: "
        f"{answer_words(told.solver, told.unit, told.word)}."
    )
    if told.twin is not None and told.amps is not None:
        by = "in symbols" if told.twin_symbolic else "in exact fractions"
        yield Sentence(
            f"lcapy, given the simple drawing, finds {by} that the branch in question "
            f"carries {quantity(abs(told.twin), 'A')}; the steps above give "
            f"{quantity(abs(told.amps), 'A')}."
        )
    if not told.drawn:
        for note in told.notes:
            yield Sentence(note)


def answer_words(value: float | None, unit: str, word: str) -> str:
    """A reading as a number, a word, or both."""
    if value is None or math.isinf(value):
        return word
    amount = f"{value:.0f} rpm" if unit == "rpm" else quantity(value, unit)
    if not unit:
        return f"{word}, {value:.1%} of its rated power".replace("%", " %")
    return f"{word} ({amount})" if word else amount


def _crossings(told: Explanation) -> Iterator[Block]:
    if not told.crossings:
        return
    yield Heading("Where the fan's line and the motor's line cross")
    yield Sentence(
        "Torque that the motor offers: from its value at rest it falls in a straight line "
        "to nothing at its no-load speed. Torque that the fan takes: friction, and the "
        "square of the speed. The fan runs where they meet."
    )
    yield Rows(
        ("motor", "emf", "behind", "held", "no-load", "runs at", "torque", "current", "back EMF"),
        tuple(_crossing_row(one) for one in told.crossings),
        ("emf", "behind", "held", "no-load", "runs at", "torque", "current", "back EMF"),
    )


def _crossing_row(one: Crossing) -> tuple[str, ...]:
    return (
        one.motor,
        f"{one.emf:.2f} V",
        quantity(one.ohm, "ohm"),
        f"{one.stall:.2f} N m",
        f"{one.free:.0f} rpm",
        f"{one.rpm:.0f} rpm",
        f"{one.torque:.2f} N m",
        f"{one.amps:.2f} A",
        f"{one.back_emf:.2f} V",
    )


def _power(told: Explanation) -> Iterator[Block]:
    if not any(one.amps for one in told.drawn):
        return
    yield Heading("Power")
    rows = []
    for one in told.drawn:
        source = one.power < 0
        delivered = quantity(-one.power, "W") if source else ""
        work = quantity(one.power, "W") if one.emf_symbol and not source else ""
        rows.append(
            (
                one.symbol,
                one.words,
                quantity(abs(one.amps), "A"),
                quantity(one.heat, "W"),
                work,
                delivered,
            )
        )
    yield Rows(
        ("symbol", "what it is", "current", "heat", "work", "delivered"),
        tuple(rows),
        ("current", "heat", "work", "delivered"),
    )
    out = sum(-one.power for one in told.drawn if one.power < 0)
    taken = sum(one.heat + max(one.power, 0.0) for one in told.drawn)
    yield Sentence(
        f"Delivered {quantity(out, 'W')}, taken {quantity(taken, 'W')}: heat is I^2 R, "
        "work is what a motor hands its shaft, E I."
    )


def _hangs_on(told: Explanation) -> Iterator[Block]:
    if not told.sensitivities:
        return
    yield Heading("What the answer hangs on")
    first = told.sensitivities[0]
    yield Sentence(
        f"Most on {first.symbol}, {first.words}: 1 % more of it makes the answer "
        f"{first.share:+.2f} %. From the derivatives of the steps above, every back EMF "
        "following its fan."
    )
    unit = told.unit
    yield Rows(
        ("symbol", "what it is", "1 % more", "10 mohm more"),
        tuple(
            (
                one.symbol,
                one.words,
                f"{one.share:+.3f} %",
                "" if one.per_step is None else _change(one.per_step, unit),
            )
            for one in told.sensitivities[:MOST_SENSITIVE]
        ),
        ("1 % more", "10 mohm more"),
    )
    if told.derivative:
        yield Formula(0, told.derivative)


def _change(change: float, unit: str) -> str:
    if unit == "rpm":
        return f"{change:+.1f} rpm"
    sign = "+" if change >= 0 else "-"
    return sign + (quantity(abs(change), unit) if unit else plain(abs(change)))


SECTIONS: dict[str, Callable[[Explanation], Iterator[Block]]] = {
    "way": _way,
    "circuit": _circuit,
    "steps": _steps,
    "answer": _answer,
    "crossing": _crossings,
    "power": _power,
    "hangs-on": _hangs_on,
}
