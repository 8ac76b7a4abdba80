"""Steps as a reader sees them: the formula, the numbers put in with units, the result."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from circuitcheck.learn.algebra import sympy
from circuitcheck.learn.worksheet import Step, Worksheet

_PREFIXES = {
    "V": ((1.0, "V"), (1e-3, "mV"), (1e-6, "uV")),
    "A": ((1.0, "A"), (1e-3, "mA"), (1e-6, "uA")),
    "ohm": ((1e6, "Mohm"), (1e3, "kohm"), (1.0, "ohm"), (1e-3, "mohm"), (1e-6, "uohm")),
    "W": ((1.0, "W"), (1e-3, "mW"), (1e-6, "uW")),
}
DIGITS = 4
LONGEST_DERIVATIVE = 30
"""Operations beyond which a derivative tells a reader nothing; a choice of presentation."""


@dataclass(frozen=True, slots=True)
class Line:
    """A step in words and formulas.

    :param left: the symbol it defines
    :param formula: as text; ``numbers`` the same with values and units put in
    :param equations: node equations it is solved from, and ``also`` what they give besides
    :param latex: left and formula in LaTeX; ``mathml`` the same in MathML (W3C)
    """

    left: str
    formula: str
    numbers: str
    value: float
    unit: str
    how: str
    why: str
    latex: str
    mathml: str
    equations: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    @property
    def result(self) -> str:
        """The value with its unit."""
        return quantity(self.value, self.unit)


def quantity(value: float, unit: str) -> str:
    """Four digits and a unit with the prefix that suits it.

    >>> quantity(0.01434, "ohm"), quantity(10e6, "ohm"), quantity(11.6, "A"), quantity(0.25, "ohm")
    ('14.34 mohm', '10 Mohm', '11.6 A', '0.25 ohm')
    """
    steps = _PREFIXES.get(unit, ((1.0, unit),))
    size = abs(value)
    scale, name = next(
        (one for one in steps if size >= 0.1 * one[0] * (10 if one[0] > 1 else 1)),
        steps[-1] if size else (1.0, unit),
    )
    return f"{plain(value / scale)} {name}".strip()


def plain(value: float) -> str:
    """Four significant digits without an exponent where that stays short."""
    if value and not 1e-6 < abs(value) < 1e6:
        return f"{value:.{DIGITS - 1}e}"
    text = f"{value:.{DIGITS}g}"
    if "e" in text:
        text = f"{value:.10f}".rstrip("0") if abs(value) < 1 else f"{value:.0f}"
    return text


def written(sheet: Worksheet) -> tuple[Line, ...]:
    """All steps that a reader needs to see."""
    return tuple(_line(sheet, step) for step in sheet.steps if step.shown)


def _line(sheet: Worksheet, step: Step) -> Line:
    if step.formula is not None:
        return line_of(sheet, step.symbol, step.formula, step.unit, step.how, step.why)
    algebra = sympy()
    value = float(step.value)
    shown = [algebra.Eq(algebra.Integer(0), one, evaluate=False) for one in step.equations]
    latex = r" \\ ".join(_latex(one) for one in shown)
    latex = rf"\begin{{gathered}} {latex} \end{{gathered}}"
    mathml = "".join(_mathml(one) for one in shown)
    also = tuple(
        f"{one} = {quantity(float(sheet.values[one]), step.unit)}"
        for one in step.together
        if one != step.symbol
    )
    return Line(
        str(step.symbol),
        "",
        "",
        value,
        step.unit,
        step.how,
        step.why,
        latex,
        mathml,
        tuple(f"0 = {text(one)}" for one in step.equations),
        also,
    )


def line_of(sheet: Worksheet, symbol: Any, formula: Any, unit: str, how: str, why: str) -> Line:
    """One formula for a symbol, with its numbers."""
    algebra = sympy()
    formula = algebra.sympify(formula)
    equation = algebra.Eq(symbol, formula, evaluate=False)
    return Line(
        str(symbol),
        text(formula),
        with_numbers(sheet, formula),
        float(sheet.value(formula)),
        unit,
        how,
        why,
        _latex(equation),
        _mathml(equation),
    )


def derivative_line(sheet: Worksheet, answer: Any, name: str) -> Line | None:
    """The derivative of the answer by one given symbol, as far as its own formula shows it."""
    algebra = sympy()
    symbol = sheet.given[name].symbol
    step = next((one for one in sheet.steps if one.symbol == answer), None)
    if step is None or step.formula is None:
        return None
    if symbol not in step.formula.free_symbols:
        return None
    slope = algebra.together(algebra.diff(step.formula, symbol))
    if slope.count_ops() > LONGEST_DERIVATIVE:
        return None
    left = algebra.Symbol(f"d{answer}/d{name}")
    equation = algebra.Eq(algebra.Derivative(answer, symbol), slope, evaluate=False)
    return Line(
        str(left),
        text(slope),
        with_numbers(sheet, slope),
        float(sheet.value(slope)),
        _per(sheet.units[answer], sheet.given[name].unit),
        "derivative",
        "all other symbols of the formula held; in the table they follow",
        _latex(equation),
        _mathml(equation),
    )


def _per(unit: str, by: str) -> str:
    return f"{unit or '1'}/{by}"


@cache
def _printers() -> tuple[Any, Any, Any]:
    """Plain text, LaTeX and MathML, each with what is added before what is taken away."""
    from sympy.printing.latex import LatexPrinter  # noqa: PLC0415
    from sympy.printing.mathml import MathMLPresentationPrinter  # noqa: PLC0415
    from sympy.printing.str import StrPrinter  # noqa: PLC0415

    class Ordered:
        def _as_ordered_terms(self, expr: Any, order: Any = None) -> list[Any]:
            return sorted(expr.args, key=lambda one: (one.could_extract_minus_sign(), str(one)))

    made = (
        type(f"Ordered{kind.__name__}", (Ordered, kind), {})
        for kind in (StrPrinter, LatexPrinter, MathMLPresentationPrinter)
    )
    plain_text, latex, mathml = (kind() for kind in made)
    return plain_text, latex, mathml


def text(formula: Any) -> str:
    """A formula in one line."""
    return str(_printers()[0].doprint(formula)).replace("**", "^")


def _latex(formula: Any) -> str:
    return str(_printers()[1].doprint(formula))


def with_numbers(sheet: Worksheet, formula: Any) -> str:
    """The formula with every symbol's value and unit in its place."""
    found = {
        str(one): quantity(float(sheet.values[one]), sheet.units[one]) for one in formula.free_symbols
    }
    names = sorted(found, key=len, reverse=True)
    if not names:
        return ""
    pattern = re.compile(rf"(?<!\w)({'|'.join(map(re.escape, names))})(?!\w)(\^?)")
    return pattern.sub(lambda match: _bracketed(found[match[1]], match[2]), text(formula))


def _bracketed(value: str, power: str) -> str:
    return f"({value}){power}" if value.startswith("-") or power else value


def _mathml(formula: Any) -> str:
    found = _printers()[2].doprint(formula)
    return f"<math xmlns='http://www.w3.org/1998/Math/MathML' display='block'>{found}</math>"
