"""The sheet as a file: written to be filled in, and read back. CSV, or YAML.

CSV has the columns ``from,to,reading`` and any others; points clipped together are joined by ``+``.
A line ``loom`` says bench or fitted, a line ``leads`` what the probes read on each other, which is
taken off every reading. In YAML:

    checks: [{from: S1.2, to: X1.1b, reads: 0.2 ohm}]
    leads: 0.2 ohm
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from pydantic_core import PydanticCustomError

from circuitcheck.errors import Problem, ReadingsError, nearest
from circuitcheck.harness.tree import Tree, parse, read_text
from circuitcheck.inspect.continuity.ohms import ANYTHING, Band, Check, Predictor
from circuitcheck.inspect.continuity.wiring import OPEN_FROM, Wiring, as_drawn
from circuitcheck.parts.quantity import OHM, VOLT

COLUMNS = ("check", "piece", "at", "meter", "from", "to", "wires", "expected", "reading")
NOT_DONE = ("", "-", "not done", "not taken")
OPEN_WORDS = ("ol", "o.l.", "o.l", "0l", "open", "infinite", "infinity")
OK_WORDS = ("ok", "o.k.", "okay")
BEEP_WORDS = ("beeps", "beep", "buzzes", "buzz")
AS_FOUND = "as found"
"""Marks an expected reading of the loom as it is, mistakes and all; ``ok`` means as drawn, and so will
not do for such a line."""
BEEPS: Band = (-1.0, 100.0)
"""What a buzzer sounds at [ohm]: meters stop somewhere from 20 to 100; common practice, no source."""
LEADS_MOST = 5.0
"""Leads that read more on each other are bad leads [ohm]; common practice, no source."""

_OHM = replace(OHM, spellings={**OHM.spellings, "": 1.0}, low=-1.0, high=math.inf, low_allowed=True)
_VOLT = replace(VOLT, spellings={**VOLT.spellings, "": 1.0}, low=-5.0, low_allowed=True)


@dataclass(frozen=True)
class Filled:
    """A sheet as filled in.

    :param readings: for each check its band and what was written; None for one not done
    :param leads: what the probes read on each other [ohm]
    """

    fitted: bool
    leads: float
    checks: tuple[Check, ...]
    readings: tuple[Band | None, ...]
    written: tuple[str, ...]


@dataclass
class _Reader:
    """Collects lines, and the problems on the way."""

    drawn: Wiring
    file: str
    problems: list[Problem] = field(default_factory=list)
    leads: float = 0.0
    rows: dict[Check, tuple[int, str]] = field(default_factory=dict)
    texts: list[tuple[Check, str, int]] = field(default_factory=list)

    def report(self, line: int, name: str, found: str, must: str, near: str = "") -> None:
        """Add a problem."""
        self.problems.append(Problem(self.file, line, name, found, must, near))

    def points(self, line: int, name: str, text: str) -> tuple[str, ...] | None:
        """``F1.in + F3.in`` as points; a plus clamp is ``G1.+`` and stays whole."""
        found = tuple(one.strip() for one in text.split(" + "))
        for one in found:
            if one not in self.drawn.pieces:
                near = nearest(one, self.drawn.pieces)
                self.report(line, name, f"'{one}'", "must be a terminal that a probe gets at", near)
                return None
        return found

    def take(self, line: int, red: str, black: str, meter: str, reading: str) -> None:
        """One line of the sheet."""
        sides = self.points(line, "from", red), self.points(line, "to", black)
        if sides[0] is None or sides[1] is None:
            return
        if set(sides[0]) & set(sides[1]) or any(len(set(side)) < len(side) for side in sides if side):
            self.report(line, "to", f"'{black}'", "must be other points than those of 'from'")
            return
        if meter not in ("ohms", "diode", ""):
            near = nearest(meter, ["ohms", "diode"])
            self.report(line, "meter", f"'{meter}'", "must be ohms or diode", near)
            return
        check = Check(sides[0], sides[1], meter == "diode")
        if check.diode and check.clipped:
            self.report(line, "meter", "diode with points clipped together", "must be ohms")
            return
        turned = Check(sides[1], sides[0])
        first = self.rows.get(check) or (None if check.diode else self.rows.get(turned))
        if first is not None:
            self.report(
                line,
                "",
                f"{red} to {black} a second time",
                f"must stand once (first on line {first[0]})",
            )
            return
        self.rows[check] = (line, reading)
        self.texts.append((check, reading, line))

    def take_leads(self, line: int, text: str) -> None:
        """What the probes read on each other."""
        value = self._value(line, "leads", text, diode=False)
        if value is None or isinstance(value, str):
            return
        if not 0 <= value <= LEADS_MOST:
            must = f"must be from 0 to {LEADS_MOST:g} ohm; renew the leads"
            self.report(line, "leads", f"'{text}'", must)
            return
        self.leads = value

    def _value(self, line: int, name: str, text: str, *, diode: bool) -> float | str | None:
        """A number in base units, infinite for open, ``ok`` or ``beeps``; None if not done."""
        word = text.strip().casefold()
        if word in NOT_DONE:
            return None
        if word in OPEN_WORDS:
            return math.inf
        if word in OK_WORDS:
            return "ok"
        if word in BEEP_WORDS:
            return "beeps"
        try:
            return (_VOLT if diode else _OHM).parse(text)
        except PydanticCustomError as error:
            context = error.context or {}
            near = nearest(word, ["OL", "open", "ok", "beeps"]) if word.isalpha() else ""
            must = f"{context.get('must')}, or OL, ok, beeps, -"
            self.report(line, name, f"'{context.get('found', text)}'", must, near)
            return None

    def result(self) -> Filled:
        """The sheet.

        :raises ReadingsError: with every problem
        """
        predictor = Predictor(self.drawn, [check for check, _, _ in self.texts])
        bands = [
            self._band(self._value(line, "reading", text, diode=check.diode), check, predictor.sound[n])
            for n, (check, text, line) in enumerate(self.texts)
        ]
        if not self.texts and not self.problems:
            self.report(0, "", "no checks", "must have a line for each check")
        if self.problems:
            raise ReadingsError(sorted(self.problems, key=lambda one: one.line))
        return Filled(
            self.drawn.fitted,
            self.leads,
            tuple(check for check, _, _ in self.texts),
            tuple(bands),
            tuple(text for _, text, _ in self.texts),
        )

    def _band(self, value: float | str | None, check: Check, sound: Band) -> Band | None:
        if value is None:
            return None
        if value == "ok":
            return _as_expected(sound)
        if value == "beeps":
            return BEEPS
        assert isinstance(value, float)
        if check.diode:
            return (value, value) if value < 2.0 else (math.inf, math.inf)
        value -= 0.0 if math.isinf(value) else self.leads
        return (math.inf, math.inf) if value >= OPEN_FROM else (value, value)


def _as_expected(sound: Band) -> Band | None:
    """What ``ok`` stands for: the middle of what the loom as drawn gives."""
    if sound == ANYTHING:
        return None
    if sound[0] >= OPEN_FROM:
        return (math.inf, math.inf)
    return sound if sound[1] >= OPEN_FROM else ((sound[0] + sound[1]) / 2,) * 2


def read_sheet(harness_wiring: Wiring, path: Path | str, text: str | None = None) -> Filled:
    """A filled sheet from a file, or from text that is in memory.

    :param harness_wiring: the loom as drawn, on the bench
    :raises ReadingsError: with every problem, each with file and line
    """
    name = str(path)
    if text is None:
        text, problems = read_text(Path(path))
        if problems:
            raise ReadingsError(problems)
    first = next((line for line in text.lstrip("\ufeff").splitlines() if line.strip()), "")
    cells = [one.strip().strip('"').casefold() for one in first.replace(";", ",").split(",")]
    if "from" in cells and "to" in cells:
        return _from_csv(harness_wiring, text, name).result()
    return _from_yaml(harness_wiring, text, name).result()


def _placed(reader: _Reader, line: int, place: str) -> None:
    """Bench or fitted, which decides whether the body joins the ground points."""
    if place not in ("bench", "fitted"):
        near = nearest(place, ["bench", "fitted"])
        reader.report(line, "loom", f"'{place}'", "must be bench or fitted", near)
    elif (place == "fitted") is not reader.drawn.fitted:
        reader.drawn = as_drawn(reader.drawn.harness, place == "fitted")


def _from_csv(drawn: Wiring, text: str, file: str) -> _Reader:
    reader = _Reader(drawn, file)
    text = text.lstrip("\ufeff")
    first = next(line for line in text.splitlines() if line.strip())
    separator = ";" if ";" in first else ","
    rows = csv.reader(io.StringIO(text), delimiter=separator)
    header: list[str] | None = None
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if header is None:
                header = [cell.casefold() for cell in cells]
                if "reading" not in header:
                    reader.report(
                        rows.line_num,
                        "",
                        f"columns {', '.join(cells)}",
                        "must be from, to, reading and any of the sheet's others",
                    )
                    return reader
                continue
            if len(cells) > len(header):
                reader.report(
                    rows.line_num,
                    "",
                    f"{len(cells)} columns, '{cells[-1]}' last",
                    f"must be {len(header)}, with a decimal point",
                )
                continue
            if separator == ";":  # a spreadsheet that writes these writes decimal commas too
                cells = [re.sub(r"(?<=\d),(?=\d)", ".", cell) for cell in cells]
            _row(reader, rows.line_num, dict(zip(header, cells, strict=False)))
    except csv.Error as error:
        reader.report(rows.line_num, "", str(error), "must be CSV")
    return reader


def _row(reader: _Reader, line: int, cell: dict[str, str]) -> None:
    reading = cell.get("reading", "")
    what = cell.get("check", "").casefold()
    if what == "loom":
        _placed(reader, line, reading.casefold())
    elif what == "leads":
        reader.take_leads(line, reading)
    elif reading.casefold() in OK_WORDS and cell.get("expected", "").endswith(AS_FOUND):
        must = "must be what the meter shows, such as 0.2 ohm or OL"
        reader.report(line, "reading", f"'{reading}'", must)
    else:
        reader.take(line, cell["from"], cell["to"], cell.get("meter", "").casefold(), reading)


def _from_yaml(drawn: Wiring, text: str, file: str) -> _Reader:
    tree = parse(text, file)
    reader = _Reader(drawn, file, problems=tree.problems)
    if not tree.whole:
        return reader
    known = ("harness", "note", "loom", "leads", "checks")
    if not isinstance(tree.data, dict) or not isinstance(tree.data.get("checks"), list):
        must = "must be CSV with the columns from, to, reading, or YAML with a list of checks"
        reader.report(tree.line(()), "", "no 'checks:'", must)
        return reader
    for key in tree.data:
        if key not in known:
            reader.report(
                tree.line((key,)),
                str(key),
                f"unknown key '{key}'",
                f"known here: {', '.join(known)}",
                nearest(str(key), known),
            )
    _placed(reader, tree.line(("loom",)), str(tree.data.get("loom", "bench")))
    if "leads" in tree.data:
        reader.take_leads(tree.line(("leads",)), str(tree.data["leads"]))
    for number, one in enumerate(tree.data["checks"]):
        _entry(reader, tree, number, one)
    return reader


def _entry(reader: _Reader, tree: Tree, number: int, one: object) -> None:
    line = tree.line(("checks", number))
    keys = ("from", "to", "meter", "reads")
    if not isinstance(one, dict) or not {"from", "to"} <= one.keys() or set(one) - set(keys):
        reader.report(line, f"checks.{number}", "no check", "must be {from: A, to: B, reads: 0.2 ohm}")
        return
    if any(not isinstance(value, str) for value in one.values()):
        reader.report(line, f"checks.{number}", "a list or mapping", "must be one value for each key")
        return
    reader.take(line, one["from"], one["to"], one.get("meter", ""), one.get("reads", ""))


def csv_text(rows: Sequence[Sequence[str]], fitted: bool, leads: str = "") -> str:
    """The sheet to fill in: a header, what it is a sheet of, the leads, then the checks."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    blank = [""] * (len(COLUMNS) - 2)
    writer.writerow(["loom", *blank, "fitted" if fitted else "bench"])
    writer.writerow(["leads", *blank[:-1], "probes held together; taken off every reading", leads])
    writer.writerows(rows)
    return out.getvalue()
