"""What a rule is: an id, how grave a breach is, where its limit comes from, and one function.

Finding and showing are apart: a rule yields findings, and the command line lays them out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from circuitcheck.inspect.design import Design


class Severity(IntEnum):
    """How grave a finding is; the largest is the worst."""

    note = 0
    doubtful = 1
    serious = 2


@dataclass(frozen=True, slots=True)
class Finding:
    """One breach of one rule at one place.

    :param rule: the id of the rule
    :param place: the part, wire or terminal
    :param words: what was found and what to do, for a person
    :param value: what was worked out, in ``unit``, where there is one number
    :param limit: what it is held against, in ``unit``
    :param path: terminals that the current passes, in order, where that is the point
    :param accepted: why a person lives with it; empty if nobody has said so
    """

    rule: str
    place: str
    severity: Severity
    words: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    path: tuple[str, ...] = ()
    accepted: str = ""

    @property
    def key(self) -> str:
        """How it is named to accept it: ``fuse-over-wire W6``."""
        return f"{self.rule} {self.place}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "rule": self.rule,
            "place": self.place,
            "severity": self.severity.name,
            "words": self.words,
            "value": rounded(self.value),
            "limit": rounded(self.limit),
            "unit": self.unit,
            "path": list(self.path),
            "accepted": self.accepted or None,
        }


def rounded(value: float | None) -> float | None:
    """Four significant digits, for programs; None for none and for infinite."""
    if value is None or value in (float("inf"), float("-inf")):
        return None
    return float(f"{value:.4g}")


Check = Callable[["Design"], Iterable[Finding]]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    :param id: plain words with hyphens
    :param severity: the worst it can report
    :param what: one line for the documentation
    :param source: where its limit comes from
    :param limits: names of the limits a person may set for it
    """

    id: str
    severity: Severity
    what: str
    source: str
    limits: tuple[str, ...]
    check: Check

    def findings(self, design: Design) -> Iterator[Finding]:
        """Every breach in a design."""
        yield from self.check(design)


RULES: dict[str, Rule] = {}
"""Every rule by its id, in the order of the files; filled by :func:`rule`."""


def rule(
    id: str, severity: Severity, what: str, *, source: str, limits: tuple[str, ...] = ()
) -> Callable[[Check], Check]:
    """Put a function on the list of rules.

    :raises ValueError: if the id is taken
    """

    def enter(check: Check) -> Check:
        if id in RULES:
            raise ValueError(f"two rules are called '{id}'")
        RULES[id] = Rule(id, severity, what, source, limits, check)
        return check

    return enter
