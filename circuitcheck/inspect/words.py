"""Numbers and lists as a person says them."""

from __future__ import annotations

import math
from collections.abc import Sequence


def number(value: float) -> str:
    """Three digits, never in powers of ten.

    >>> number(23.17), number(0.1), number(1234.0)
    ('23.2', '0.1', '1234')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def seconds(value: float) -> str:
    """A length of time.

    >>> seconds(0.25), seconds(12.3), seconds(600.0)
    ('0.25 s', '12 s', '10 min')
    """
    if value >= 120:
        return f"{value / 60:.0f} min"
    return f"{value:.0f} s" if value >= 10 else f"{value:.2g} s"


def until(opens: float) -> str:
    """When a fuse opens, given the time by which it must have [s].

    >>> until(float("inf")), until(30.0)
    ('no fuse is sure to open', 'a fuse may take 30 s')
    """
    return "no fuse is sure to open" if math.isinf(opens) else f"a fuse may take {seconds(opens)}"


def listed(names: Sequence[str]) -> str:
    """``F1``, ``F1 and F2``, ``F1, F2 and F3``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
