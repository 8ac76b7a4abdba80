"""Two designs held against each other by the rules of ``inspect``."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from circuitcheck.harness.model import Harness
from circuitcheck.inspect.inspection import inspect_harness
from circuitcheck.inspect.rule import Finding

MOVED = 0.05
"""Share by which a number of a finding must have moved to be told; a choice of presentation."""


@dataclass(frozen=True)
class Compared:
    """Findings of the old and the new design.

    :param gone: of the old one, found no more
    :param come: of the new one, not found before
    :param moved: found in both, more or less grave or by another number, as the new one has it
    :param same: how many are as they were
    """

    gone: tuple[Finding, ...]
    come: tuple[Finding, ...]
    moved: tuple[Finding, ...]
    same: int

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""

        def told(findings: Iterable[Finding]) -> list[dict[str, Any]]:
            return [one.to_dict() for one in findings]

        return {
            "gone": told(self.gone),
            "come": told(self.come),
            "moved": told(self.moved),
            "same": self.same,
        }


def compare(old: Harness, new: Harness) -> Compared:
    """Inspect both with the usual limits."""
    before = {one.key: one for one in inspect_harness(old).findings}
    after = {one.key: one for one in inspect_harness(new).findings}
    both = [key for key in after if key in before]
    moved = tuple(after[key] for key in both if _moved(before[key], after[key]))
    return Compared(
        tuple(one for key, one in before.items() if key not in after),
        tuple(one for key, one in after.items() if key not in before),
        moved,
        len(both) - len(moved),
    )


def _moved(one: Finding, other: Finding) -> bool:
    """Whether a finding is another matter than it was."""
    if one.severity is not other.severity or one.value is None or other.value is None:
        return one.severity is not other.severity
    if math.isinf(one.value) or math.isinf(other.value):
        return one.value != other.value
    return abs(one.value - other.value) > MOVED * abs(one.value)
