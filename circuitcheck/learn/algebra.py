"""sympy, imported only when something is derived; and exact numbers on the way in and out."""

from __future__ import annotations

from fractions import Fraction
from typing import Any


def sympy() -> Any:
    """The library; half a second that the other verbs save."""
    import sympy as library  # noqa: PLC0415

    return library


def exact(value: Fraction) -> Any:
    """A fraction as sympy holds it."""
    return sympy().Rational(value.numerator, value.denominator)
