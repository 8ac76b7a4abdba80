"""A derivation under way: symbols that are given, steps that define new ones, exact values, slopes.

Every step's formula is in symbols that stand above it. Values are put in exactly; derivatives go
from step to step by the chain rule, each factor the symbolic derivative of one formula.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from circuitcheck.learn.algebra import exact, sympy


@dataclass(frozen=True)
class Given:
    """A symbol with its value from the description or the operating point."""

    symbol: Any
    value: Any
    unit: str
    words: str


@dataclass(frozen=True)
class Step:
    """One line of the derivation.

    :param formula: in symbols above it
    :param how: the rule in two words: series, parallel, divider, ...
    :param why: one sentence
    :param shown: whether a reader needs to see it
    :param equations: node equations ``0 = ...`` that define it instead
    :param together: the unknowns that those define
    """

    symbol: Any
    formula: Any
    value: Any
    unit: str
    how: str
    why: str
    shown: bool = True
    equations: tuple[Any, ...] = ()
    together: tuple[Any, ...] = ()


class Worksheet:
    """Symbols, values and steps, in order."""

    def __init__(self) -> None:
        self.given: dict[str, Given] = {}
        self.steps: list[Step] = []
        self.values: dict[Any, Any] = {}
        self.units: dict[Any, str] = {}
        self._slopes: dict[Any, dict[Any, float]] = {}

    def give(self, name: str, value: Fraction, unit: str, words: str) -> Any:
        """A symbol with a value of its own."""
        symbol = sympy().Symbol(name, real=True)
        if name not in self.given:
            self.given[name] = Given(symbol, exact(value), unit, words)
            self.values[symbol] = exact(value)
            self.units[symbol] = unit
            self._slopes[symbol] = {symbol: 1.0}
        return symbol

    def free_name(self, wanted: str) -> str:
        """A name that no symbol has yet: ``I_M1``, ``I_M1x2``."""
        taken, name, number = {str(one) for one in self.values}, wanted, 2
        while name in taken:
            name, number = f"{wanted}x{number}", number + 1
        return name

    def step(self, name: str, formula: Any, unit: str, how: str, why: str, *, shown: bool = True) -> Any:
        """A new symbol that stands for a formula."""
        symbol = sympy().Symbol(name, real=True)
        value = self.value(formula)
        self.steps.append(Step(symbol, formula, value, unit, how, why, shown))
        self._put(symbol, value, unit, self.slopes(formula))
        return symbol

    def solve_nodes(
        self, unknowns: list[Any], equations: list[Any], unit: str, how: str, why: str
    ) -> None:
        """Unknowns of linear equations ``0 = equation``, solved together."""
        algebra = sympy()
        matrix, right = algebra.linear_eq_to_matrix(equations, unknowns)
        numbers = matrix.xreplace(self.values)
        found = list(numbers.LUsolve(right.xreplace(self.values)))
        values = dict(zip(unknowns, found, strict=True))
        inverse = numbers.inv()
        # 0 = f(x, p): dx/dp = -(df/dx)^-1 df/dp, one equation after the other.
        put_in = {**self.values, **values}
        partial: dict[Any, list[float]] = {}
        for row, equation in enumerate(equations):
            for symbol in equation.free_symbols - set(unknowns):
                slope = float(equation.diff(symbol).xreplace(put_in))
                for base, own in self._slopes[symbol].items():
                    partial.setdefault(base, [0.0] * len(equations))[row] += slope * own
        for place, symbol in enumerate(unknowns):
            slopes = {
                base: -sum(float(inverse[place, row]) * by for row, by in enumerate(column))
                for base, column in partial.items()
            }
            self.steps.append(
                Step(
                    symbol,
                    None,
                    values[symbol],
                    unit,
                    how,
                    why,
                    shown=place == 0,
                    equations=tuple(equations),
                    together=tuple(unknowns),
                )
            )
            self._put(symbol, values[symbol], unit, slopes)

    def _put(self, symbol: Any, value: Any, unit: str, slopes: dict[Any, float]) -> None:
        if symbol in self.values:
            raise ValueError(f"symbol {symbol} is taken")
        self.values[symbol], self.units[symbol] = value, unit
        self._slopes[symbol] = slopes

    def value(self, formula: Any) -> Any:
        """A formula with every symbol's exact value put in."""
        found = sympy().sympify(formula).xreplace(self.values)
        return found if found.is_Rational else sympy().Rational(str(found.evalf(30)))

    def slopes(self, formula: Any) -> dict[Any, float]:
        """Its derivative by every given symbol, through all steps above (chain rule)."""
        total: dict[Any, float] = {}
        formula = sympy().sympify(formula)
        for symbol in formula.free_symbols:
            own = float(formula.diff(symbol).xreplace(self.values))
            for base, slope in self._slopes[symbol].items():
                total[base] = total.get(base, 0.0) + own * slope
        return total

    def whole(self, formula: Any, keep: frozenset[Any] = frozenset()) -> Any:
        """A formula with all steps put into it, down to what is given."""
        for step in reversed(self.steps):
            if step.formula is not None and step.symbol not in keep:
                formula = formula.subs(step.symbol, step.formula)
        return formula
