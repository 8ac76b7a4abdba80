"""All rules put to one design, and what a person has said to live with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Harness
from circuitcheck.inspect import (
    coils,
    contacts,
    feeds,
    grounds,
    motors,
    paths,
    wires,
)
from circuitcheck.inspect.design import Design
from circuitcheck.inspect.limits import LIMITS, Limits
from circuitcheck.inspect.rule import RULES, Finding, Rule, Severity
from circuitcheck.notebook import html_table

MODULES = (feeds, wires, motors, contacts, coils, grounds, paths)
"""The files of rules; each rule enters itself on the list as its file is read. Told in this order."""
LEAST_REASON = 8
"""Letters that a reason must have at the least: 'ok' is no reason. Common practice, no source."""


@dataclass(frozen=True)
class Inspection:
    """What the rules found, the worst first; accepted findings stand apart.

    :param stale: acceptances that no finding answers to any more
    :param rules: those that were put
    """

    harness: Harness
    limits: Limits
    findings: tuple[Finding, ...]
    stale: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()

    @property
    def standing(self) -> list[Finding]:
        """The findings that nobody has accepted."""
        return [one for one in self.findings if not one.accepted]

    @property
    def accepted(self) -> list[Finding]:
        """The findings that somebody lives with."""
        return [one for one in self.findings if one.accepted]

    def counts(self) -> dict[str, int]:
        """Standing findings by severity, the worst first."""
        return {
            one.name: sum(found.severity is one for found in self.standing)
            for one in sorted(Severity, reverse=True)
        }

    def __str__(self) -> str:
        counted = ", ".join(f"{count} {name}" for name, count in self.counts().items() if count)
        lines = [
            f"{one.severity.name}, {one.rule}, {one.place}: {one.words}"
            + (f" Accepted: {one.accepted}" if one.accepted else "")
            for one in self.findings
        ]
        return "\n".join([f"{self.harness.name}, design: {counted or 'nothing found'}", *lines])

    def _repr_html_(self) -> str:
        rows = [
            (one.severity.name, one.rule, one.place, one.words, one.accepted) for one in self.findings
        ]
        return html_table(
            f"{self.harness.name}: design", ["severity", "rule", "place", "finding", "accepted"], rows
        )

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "harness": self.harness.name,
            "title": self.harness.title,
            "counts": self.counts(),
            "limits": {name: self.limits[name] for name in LIMITS},
            "changed_limits": sorted(self.limits.given),
            "findings": [one.to_dict() for one in self.findings],
            "rules": [rule.id for rule in self.rules],
            "stale_acceptances": list(self.stale),
        }


def all_rules() -> list[Rule]:
    """Every rule, in the order in which they are told."""
    names = [module.__name__ for module in MODULES]
    return sorted(RULES.values(), key=lambda one: names.index(one.check.__module__))


def rules_named(names: Iterable[str]) -> list[Rule]:
    """Some rules by their ids, in the order in which they are told; all if none are named.

    :raises UnknownName: if there is no such rule
    """
    wanted = set(names)
    for name in wanted:
        if name not in RULES:
            raise UnknownName("rule", name, RULES)
    return [one for one in all_rules() if not wanted or one.id in wanted]


def inspect_harness(
    harness: Harness,
    limits: Limits | None = None,
    accepted: Mapping[str, str] | None = None,
    rules: Iterable[str] | None = None,
) -> Inspection:
    """Judge a harness by every rule, or by some.

    :param limits: those that a person has set
    :param accepted: the reason for each finding that a person lives with, by ``rule place``
    :param rules: ids of the rules to put; all of them if none are given
    :raises UnknownName: if there is no such rule
    """
    chosen = rules_named(rules or ())
    limits, reasons = limits or Limits(), dict(accepted or {})
    design = Design(harness, limits)
    found = [one for rule in chosen for one in rule.findings(design)]
    order = {rule.id: number for number, rule in enumerate(all_rules())}
    marked = [replace(one, accepted=reasons.get(one.key, "")) for one in found]
    marked.sort(key=lambda one: (-one.severity, order[one.rule]))
    put = {rule.id for rule in chosen}
    keys = {one.key for one in found}
    stale = tuple(key for key in reasons if key not in keys and key.split(" ")[0] in put)
    return Inspection(harness, limits, tuple(marked), stale, tuple(chosen))


def read_acceptances(lines: Iterable[str], file: str = "") -> dict[str, str]:
    """What a person lives with, one a line: ``fuse-over-wire W6: why that will do``.

    Empty lines and those that begin with ``#`` are passed over. There is no way to accept a whole
    rule, and none without a reason: who accepts has looked at each.

    :param file: where the lines come from, to be named with the line's number
    :raises ValueError: for a line of another form, an unknown rule, or too short a reason
    """
    found: dict[str, str] = {}
    for number, raw in enumerate(lines, start=1):
        line = raw.strip()
        if line and not line.startswith("#"):
            try:
                found.update(_acceptance(line))
            except (ValueError, UnknownName) as error:
                raise ValueError(f"{file}:{number}: {error}" if file else str(error)) from None
    return found


def _acceptance(line: str) -> dict[str, str]:
    """One line, as rule with place, and reason."""
    key, _, reason = (one.strip() for one in line.partition(":"))
    rule, _, place = key.partition(" ")
    if not place:
        raise ValueError(
            f"found '{line}'; must be RULE PLACE: REASON, such as "
            "'fuse-over-wire W6: inside the fan, 15 cm long'"
        )
    if rule not in RULES:
        raise UnknownName("rule", rule, RULES)
    if len(reason) < LEAST_REASON:
        raise ValueError(f"'{key}': found the reason '{reason}'; must say why that will do")
    return {key: reason}
