"""The two things asked of this room: the sheet of a loom, and what a filled sheet says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from circuitcheck.harness.model import Harness
from circuitcheck.inspect.continuity.checks import Line, least, part_of, sheet_lines
from circuitcheck.inspect.continuity.mistakes import Exchange, Library, Mistake
from circuitcheck.inspect.continuity.ohms import ANYTHING, CONDUCTS, OPEN, Band, Check, Predictor, meets
from circuitcheck.inspect.continuity.parting import Group, grouped, parting_checks
from circuitcheck.inspect.continuity.proof import Missing, missing, never_read
from circuitcheck.inspect.continuity.search import Found, Search
from circuitcheck.inspect.continuity.sheet import AS_FOUND, Filled, csv_text, read_sheet
from circuitcheck.inspect.continuity.wiring import Wiring, as_drawn
from circuitcheck.notebook import html_table, text_table

_COLUMNS = ("check", "at", "from", "to", "wires", "expected")
_WAYS = ("way", "mistake", "in words")

JOIN = " + "


def expected_words(band: Band, check: Check) -> str:
    """What a person should see on the meter."""
    if band == ANYTHING:
        return "no matter"
    if band == OPEN:
        return "OL"
    if band == CONDUCTS:
        return "conducts"
    if check.diode:
        return f"{max(band[0], 0):.2f} to {band[1]:.2f} V"
    low = f"{max(band[0], 0.0):.1f}"
    return f"{low} to {band[1]:.1f} ohm" if band[1] < 100 else f"{band[0]:.0f} to {band[1]:.0f} ohm"


def nominal(band: Band) -> float | None:
    """The middle of a band in its unit; None where there is no number."""
    return None if math.isinf(band[1]) or band == CONDUCTS else (band[0] + band[1]) / 2


@dataclass(frozen=True)
class ContinuitySheet:
    """The checks of a loom, in the order in which hands move least."""

    drawn: Wiring
    lines: tuple[Line, ...]

    @cached_property
    def predictor(self) -> Predictor:
        """What the loom as drawn gives in each check."""
        return Predictor(self.drawn, [line.check for line in self.lines])

    @property
    def least(self) -> tuple[int, int]:
        """The least number of checks, for continuity and for separation."""
        return least(self.drawn)

    @cached_property
    def not_provable(self) -> tuple[str, ...]:
        """Wires that an ohmmeter cannot prove, since another way runs beside them."""
        return never_read(self.predictor, [line.check for line in self.lines])

    def rows(self) -> list[dict[str, Any]]:
        """One dict a check."""
        return [
            {
                "check": number + 1,
                "piece": line.piece,
                "at": line.plug,
                "purpose": line.purpose,
                "meter": meter_of(line.check),
                "from": list(line.check.red),
                "to": list(line.check.black),
                "wires": wires_between(self.drawn, line.check),
                "expected": expected_words(band, line.check),
                "value": nominal(band),
                "low": None if math.isinf(band[1]) else band[0],
                "high": None if math.isinf(band[1]) else band[1],
            }
            for number, (line, band) in enumerate(zip(self.lines, self.predictor.sound, strict=True))
        ]

    def to_dict(self) -> dict[str, Any]:
        """The sheet as plain values; ohms in ohm, diode readings in V."""
        through, apart = self.least
        return {
            "harness": self.drawn.harness.name,
            "loom": "fitted" if self.drawn.fitted else "bench",
            "count": len(self.lines),
            "least": through + apart,
            "least_through": through,
            "least_apart": apart,
            "not_provable": list(self.not_provable),
            "checks": self.rows(),
        }

    def __str__(self) -> str:
        return f"{self._caption}\n\n{text_table(_COLUMNS, self._cells())}"

    def _repr_html_(self) -> str:
        return html_table(self._caption, _COLUMNS, self._cells())

    @property
    def _caption(self) -> str:
        return f"{self.drawn.harness.title}: {len(self.lines)} checks, the least is {sum(self.least)}"

    def _cells(self) -> list[tuple[object, ...]]:
        return [
            (
                row["check"],
                row["at"],
                JOIN.join(row["from"]),
                JOIN.join(row["to"]),
                row["wires"],
                row["expected"],
            )
            for row in self.rows()
        ]

    def to_csv(self) -> str:
        """The sheet to fill in."""
        return csv_text(
            [
                [
                    str(row["check"]),
                    row["piece"],
                    row["at"],
                    row["meter"],
                    JOIN.join(row["from"]),
                    JOIN.join(row["to"]),
                    row["wires"],
                    row["expected"],
                    "",
                ]
                for row in self.rows()
            ],
            self.drawn.fitted,
        )


def continuity_sheet(
    harness: Harness, *, fitted: bool = False, one_by_one: bool = False
) -> ContinuitySheet:
    """The sheet of a loom.

    :param fitted: in the vehicle, its ground points bolted to the body
    :param one_by_one: separation net by net against all the rest, not by halves
    """
    drawn = as_drawn(harness, fitted)
    return ContinuitySheet(drawn, tuple(sheet_lines(drawn, one_by_one=one_by_one)))


def wires_between(drawn: Wiring, check: Check) -> str:
    """The wires on the way of a check between two points, with their colours."""
    if check.clipped:
        return ""
    keys = _way(drawn, check.red[0], check.black[0])
    wires = drawn.harness.wires
    return ", ".join(
        f"{key} {wires[key].colour}" if wires[key].colour else key for key in keys if key in wires
    )


def _way(drawn: Wiring, start: str, end: str) -> list[str]:
    """The elements on the shortest way from one node to another."""
    came: dict[str, tuple[str, str]] = {start: ("", "")}
    front = [start]
    while front and end not in came:
        onward = []
        for node in front:
            for key in drawn.at[node]:
                one = drawn.elements[key]
                other = one.head if one.tail == node else one.tail
                if other not in came:
                    came[other] = (node, key)
                    onward.append(other)
        front = onward
    found: list[str] = []
    node = end if end in came else start
    while node != start:
        node, key = came[node]
        found.append(key)
    return found[::-1]


@dataclass(frozen=True)
class BuzzResult:
    """What a filled sheet says.

    :param status: ``sound``, ``sound so far``, ``found``, ``narrowed`` or ``not explained``
    :param groups: the explanations, most usual first; those of one group no check can tell apart
    :param parting: checks that part the groups
    :param missing: what the sheet has not proven, taken with the first explanation
    :param unexplained: checks that the first explanation does not account for
    """

    drawn: Wiring
    filled: Filled
    predictor: Predictor
    status: str
    groups: tuple[Group, ...]
    best: Found
    parting: tuple[Check, ...]
    missing: Missing
    unexplained: tuple[int, ...]

    @property
    def off(self) -> list[int]:
        """The checks that do not read as drawn."""
        return [
            number
            for number, read in enumerate(self.filled.readings)
            if read is not None and not meets(read, self.predictor.sound[number])
        ]

    @property
    def closest(self) -> tuple[Mistake, ...]:
        """Where nothing explains every reading: the mistakes that explain the most of them."""
        return self.best.mistakes if self.status == "not explained" else ()

    @property
    def next_checks(self) -> tuple[Check, ...]:
        """What to measure next: what parts the explanations, else what proves the rest."""
        if self.parting:
            return self.parting
        filled = self.filled
        known = {
            check.points
            for check, read in zip(filled.checks, filled.readings, strict=True)
            if read is not None
        }
        return tuple(check for check in self.missing.checks if check.points not in known)

    def as_it_is(self, check: Check) -> Band:
        """What a next check should read of the loom as it is, before anything is put right."""
        return self.predictor.band(check, self.best.overlay)

    def expected_next(self, check: Check) -> str:
        """The same in words; nothing where the check is to part explanations that differ on it."""
        if self.parting:
            return AS_FOUND
        words = expected_words(self.as_it_is(check), check)
        return (
            words
            if words == expected_words(self.predictor.band(check, {}), check)
            else (f"{words} {AS_FOUND}")
        )

    @property
    def put_right(self) -> bool:
        """Whether anything is to be put right before the battery goes on."""
        return self.status not in ("sound", "sound so far")

    def __str__(self) -> str:
        rows = self._cells()
        return f"{self.status}: {self.summary}" + (f"\n\n{text_table(_WAYS, rows)}" if rows else "")

    def _repr_html_(self) -> str:
        return html_table(f"{self.status}: {self.summary}", _WAYS, self._cells())

    def _cells(self) -> list[tuple[object, ...]]:
        return [
            (number + 1, one.spec, one.words)
            for number, group in enumerate(self.groups)
            for one in group.first.mistakes
        ]

    def to_csv(self) -> str:
        """The checks that were done, and the next ones to fill in."""
        filled = self.filled
        done = [number for number, read in enumerate(filled.readings) if read is not None]
        rows = [
            _csv_row(
                self,
                place + 1,
                filled.checks[number],
                expected_words(self.predictor.sound[number], filled.checks[number]),
                filled.written[number],
            )
            for place, number in enumerate(done)
        ]
        rows += [
            _csv_row(self, len(rows) + number + 1, check, self.expected_next(check), "")
            for number, check in enumerate(self.next_checks)
        ]
        return csv_text(rows, self.drawn.fitted, f"{filled.leads:g} ohm")

    @property
    def summary(self) -> str:
        """The result in a sentence or two."""
        return _summary(self)

    def to_dict(self) -> dict[str, Any]:
        """The result as plain values."""

        def check(one: Check) -> dict[str, Any]:
            return {
                "from": list(one.red),
                "to": list(one.black),
                "meter": meter_of(one),
                "expected": expected_words(self.as_it_is(one), one),
            }

        return {
            "harness": self.drawn.harness.name,
            "loom": "fitted" if self.drawn.fitted else "bench",
            "status": self.status,
            "summary": self.summary,
            "checks_done": sum(one is not None for one in self.filled.readings),
            "off": [
                {
                    **check(self.filled.checks[number]),
                    "reading": self.filled.written[number],
                    "expected": expected_words(self.predictor.sound[number], self.filled.checks[number]),
                }
                for number in self.off
            ],
            "explanations": [
                {
                    "mistakes": [{"spec": one.spec, "words": one.words} for one in group.first.mistakes],
                    "alike": [[one.spec for one in found.mistakes] for found in group.members[1:]],
                }
                for group in self.groups
            ],
            "closest": [{"spec": one.spec, "words": one.words} for one in self.closest],
            "unexplained": [check(self.filled.checks[number]) for number in self.unexplained],
            "not_proven": {
                "wires": list(self.missing.wires),
                "through": [list(pair) for pair in self.missing.through],
                "apart": [list(pair) for pair in self.missing.apart],
            },
            "next": [check(one) for one in self.next_checks],
        }


def _csv_row(result: BuzzResult, number: int, check: Check, expected: str, reading: str) -> list[str]:
    drawn = result.drawn
    return [
        str(number),
        drawn.pieces[check.red[0]],
        part_of(check.red[0]),
        meter_of(check),
        JOIN.join(check.red),
        JOIN.join(check.black),
        wires_between(drawn, check),
        expected,
        reading,
    ]


def meter_of(check: Check) -> str:
    """The range of the meter, as the sheet calls it."""
    return "diode" if check.diode else "ohms"


def _summary(result: BuzzResult) -> str:
    done = sum(one is not None for one in result.filled.readings)
    if result.status == "sound":
        return (
            f"Wired as drawn: {done} checks read as they should, every wire is through and every "
            "net is apart from the others."
        )
    if result.status == "sound so far":
        return f"Nothing is off in the {done} checks that were done; not everything is proven yet."
    if result.status == "not explained":
        return (
            "No set of known mistakes explains all of these readings. Measure again what is not "
            "accounted for; then go plug by plug with the drawing."
        )
    size = len(result.best.mistakes)
    count = "One mistake explains" if size == 1 else f"{size} mistakes together explain"
    if result.status == "found":
        turn = " Some share a terminal: take them in the order told." if in_turn(result.best) else ""
        return f"{count} every reading; no smaller set was found.{turn}"
    ways = f"{count} every reading, in {len(result.groups)} ways"
    if result.parting:
        return f"{ways} that more checks can part."
    return f"{ways} too much alike for a common meter; look at the places named."


def in_turn(found: Found) -> bool:
    """Whether two of the mistakes exchange what is at one terminal, so that their order matters."""
    ends = [
        end
        for one in found.mistakes
        for edit in one.edits
        if isinstance(edit, Exchange)
        for end in (edit.one, edit.other)
    ]
    return len(set(ends)) < len(ends)


def read_file(harness: Harness, path: Path | str, text: str | None = None) -> BuzzResult:
    """What a filled sheet says, from a file or from text that is in memory.

    :raises ReadingsError: with every problem of the sheet
    """
    filled = read_sheet(as_drawn(harness), path, text)
    return read_result(filled, as_drawn(harness, filled.fitted))


def read_result(filled: Filled, drawn: Wiring) -> BuzzResult:
    """What a filled sheet says of a loom.

    :param drawn: the loom as drawn, on the bench or fitted as the sheet has it
    """
    predictor = Predictor(drawn, filled.checks)
    done = [(check, read) for check, read in zip(filled.checks, filled.readings, strict=True) if read]
    search = Search(Library(drawn), predictor, filled.readings)
    whole, partial = search.smallest()
    groups = grouped(predictor, whole) if whole and whole[0].mistakes else []
    best = groups[0].first if groups else (whole or partial)[0]
    lacking = missing(predictor, done, best.overlay)
    if not whole:
        status = "not explained"
    elif not groups:
        status = "sound so far" if lacking else "sound"
    else:
        status = "found" if len(groups) == 1 else "narrowed"
    wrong = search.wrong(best)
    return BuzzResult(
        drawn,
        filled,
        predictor,
        status,
        tuple(groups),
        best,
        tuple(parting_checks(groups, (check for check, _ in done))),
        lacking,
        tuple(number for number in range(len(filled.checks)) if wrong >> number & 1),
    )
