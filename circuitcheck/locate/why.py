"""The whole ledger of a verdict: what each reading speaks for and against each suspect.

In tenths of a decade against the sound circuit: +10 is ten to one for the suspect, +20 a hundred to
one, -10 ten to one against it. On this scale evidence adds up (I. J. Good, *Probability and the
Weighing of Evidence*, 1950; from memory): chance beforehand, every reading on its own, and what is
left when they are taken together come to the odds afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from circuitcheck.locate.conclude import conclude, merged
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.ledger import Ledger
from circuitcheck.locate.reasons import show
from circuitcheck.locate.repair import unit_of
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Verdict
from circuitcheck.notebook import text_table
from circuitcheck.physics.branch import Array

TENTHS = 10 / math.log(10)
"""Tenths of a decade in one step of the natural log."""
_TOLD = 3.0
"""Tenths of a decade, two to one, from which ``print`` shows a reading."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What one reading says of one suspect.

    :param gives: what the suspect would give, as it would be noted; ``sound`` what a sound circuit would
    :param speaks: for the suspect against the sound circuit [tenths of a decade]
    :param misread: chance that the reading is wrong, if this suspect it is
    """

    test: str
    name: str
    read: str
    gives: str
    sound: str
    speaks: float
    misread: float

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "test": self.test,
            "name": self.name,
            "read": self.read,
            "gives": self.gives,
            "sound": self.sound,
            "speaks": round(self.speaks, 1),
            "misread": round(self.misread, 4),
        }


@dataclass(frozen=True, slots=True)
class Account:
    """How one suspect comes to its chance; the figures add up to ``total``.

    :param beforehand: its chance before any reading; ``start`` the same against sound
    :param together: what is left when the readings are taken together: those with a common cause
        count once, an unknown value that had to be fitted costs what it could have been instead, and
        two misreadings in one sheet are hardly believed
    :param total: odds against sound afterwards; all four in tenths of a decade
    :param chance: afterwards, against everything
    """

    spec: str
    replace: str
    group: int
    value: str
    beforehand: float
    start: float
    entries: tuple[Entry, ...]
    together: float
    total: float
    chance: float

    @property
    def readings(self) -> float:
        """What the readings speak, each on its own, in sum."""
        return sum(one.speaks for one in self.entries)

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "spec": self.spec,
            "replace": self.replace,
            "group": self.group,
            "value": self.value,
            "beforehand": round(self.beforehand, 6),
            "start": round(self.start, 1),
            "readings": [one.to_dict() for one in self.entries],
            "together": round(self.together, 1),
            "total": round(self.total, 1),
            "probability": round(self.chance, 6),
        }


@dataclass(frozen=True)
class Why:
    """A verdict with the account of every suspect that is listed in it, most likely first."""

    verdict: Verdict
    accounts: tuple[Account, ...]

    def __str__(self) -> str:
        rows = [
            (each.spec, one.test, one.name, one.read, one.gives, one.sound, f"{one.speaks:+.0f}")
            for each in self.accounts
            for one in each.entries
            if abs(one.speaks) >= _TOLD
        ]
        columns = ("suspect", "test", "reading", "read", "with it", "sound", "speaks")
        return (
            f"{self.verdict}\n\nspeaks: for the suspect against sound, in tenths of a decade\n"
            f"{text_table(columns, rows)}"
        )

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {**self.verdict.to_dict(), "why": [one.to_dict() for one in self.accounts]}


def why(evidence: Evidence, standings: Sequence[Standing]) -> Why:
    """The verdict from all standings, with its ledger."""
    verdict = conclude(evidence, standings)
    known = {one.suspect.spec: one for one in merged(standings)}
    sound = known["sound"]
    listed = [one for one in verdict.suspects if one.spec != "sound"]
    ledger = Ledger(evidence, [sound, *(known[one.spec] for one in listed)], sound)
    accounts = []
    for row, result in enumerate(listed, start=1):
        standing = ledger.standings[row]
        speaks = TENTHS * (ledger.logs[row] - ledger.logs[0])
        start = TENTHS * math.log(standing.suspect.weight / sound.suspect.weight)
        evidence_for = TENTHS * (standing.log_evidence - sound.log_evidence)
        accounts.append(
            Account(
                result.spec,
                unit_of(standing),
                result.group,
                _value(standing),
                standing.suspect.weight,
                start,
                _entries(ledger, row, speaks),
                evidence_for - float(speaks.sum()),
                start + evidence_for,
                result.probability,
            )
        )
    return Why(verdict, tuple(accounts))


def _entries(ledger: Ledger, row: int, speaks: Array) -> tuple[Entry, ...]:
    found = []
    for column, seen in enumerate(ledger.evidence.seen):
        gives, sound = (
            show(ledger.evidence, float(ledger.predicted[one, column]), column) for one in (row, 0)
        )
        found.append(
            Entry(
                seen.reading.test,
                seen.reading.name,
                seen.reading.shown,
                gives,
                sound,
                float(speaks[column]),
                float(ledger.standings[row].misread[column]),
            )
        )
    return tuple(found)


def _value(standing: Standing) -> str:
    unknown = standing.suspect.unknown
    if unknown is None or unknown.severity is None:
        return ""
    return f"{standing.value:.3g} {unknown.severity.unit}"
