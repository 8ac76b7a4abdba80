"""A sheet of readings: what somebody found, test by test. YAML or CSV.

    readings: Right fan dead on low
    harness: twin-fan-switch
    tests:
      low-at-the-plug: {left: slow, right: off, amps: 8.1 A}
    also:
      - {test: low-at-the-plug, volts: [X2.1a, G1.-], read: 11.2 V}

In CSV the columns are ``test,name,reading``; a name such as ``volts X2.1a G1.-`` adds a reading that
the test does not list. ``-`` or an empty reading is one that was not taken.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from circuitcheck.errors import Problem, ReadingsError, nearest
from circuitcheck.harness.convert import build
from circuitcheck.harness.model import (
    KINDS_OF_OBSERVATION,
    Harness,
    Observation,
    Setup,
    Test,
)  # fmt: skip
from circuitcheck.harness.rules import check_observation, check_setup
from circuitcheck.harness.tree import Path_, Tree, parse, read_text
from circuitcheck.parts.quantity import AMP, OHM, RPM, VOLT, Unit

WORDS = {
    "speed": ("off", "slow", "fast"), "lamp": ("dark", "dim", "bright"),
    "click": ("silent", "clicks"),
}  # fmt: skip
ALSO_SAID = {
    "speed": {"stopped": "off", "stops": "off", "stands": "off", "still": "off", "not turning": "off",
              "slowly": "slow", "full": "fast", "full speed": "fast"},
    "lamp": {"off": "dark", "out": "dark", "unlit": "dark", "glows": "dim", "glow": "dim",
             "glowing": "dim", "glimmers": "dim", "full": "bright", "fully lit": "bright"},
    "click": {"click": "clicks", "clicked": "clicks", "no click": "silent", "quiet": "silent"},
}  # fmt: skip
"""What people write for the same, by the kind of reading."""
NOT_TAKEN = ("", "-", "--", "\u2013", "\u2014", "not taken", "not done")
_LONE_DASH = re.compile(r"(?<=:) +(-{1,2})(?=\s*(?:[,}]|$|\s#))", re.MULTILINE)
"""A dash as the whole value of a key. YAML sees a list begin, which it cannot there."""
OPEN_LINE = "OL"
BUZZES = "buzzes"
RUNS = "runs"
"""A fan that turns, nobody having said how fast."""
CHATTERS = (BUZZES, "buzz", "buzzing", "chatters", "chatter", "chattering", "flickers", "flickering")

_UNITS: dict[str, Unit] = {
    kind: replace(unit, spellings={**unit.spellings, "": 1.0}, low=low, high=high)
    for kind, unit, low, high in (
        ("volts", VOLT, -1000.0, 1000.0),
        ("drop", VOLT, -1000.0, 1000.0),
        ("amps", AMP, -5000.0, 5000.0),
        ("ohms", OHM, -1.0, math.inf),
        ("speed", RPM, -1.0, math.inf),
    )
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as taken.

    :param test: the test it was taken in; a made-up name for a set-up of its own
    :param name: its name in that test
    :param value: number in the base unit (infinite for an open line), or NaN if it is a word
    :param word: the word, for looked-at readings
    """

    test: str
    name: str
    observation: Observation
    value: float
    word: str = ""

    @property
    def shown(self) -> str:
        """As a person would write it."""
        if self.word:
            return self.word
        if math.isinf(self.value):
            return OPEN_LINE
        units = {"volts": "V", "drop": "V", "amps": "A", "ohms": "ohm", "speed": "rpm"}
        return f"{self.value:g} {units.get(self.observation.kind, '')}".strip()


@dataclass(frozen=True)
class Sheet:
    """All readings of one vehicle, and the set-ups they were taken in."""

    title: str
    readings: tuple[Reading, ...]
    setups: dict[str, Test]


@dataclass
class _Reader:
    """Collects readings of one source, and the problems on the way."""

    harness: Harness
    tree: Tree
    found: list[Reading] = field(default_factory=list)
    setups: dict[str, Test] = field(default_factory=dict)

    def take(self, test: str, name: str, text: Any, path: Path_) -> None:
        """A reading that a test lists."""
        known = self.harness.tests.get(test)
        if known is None:
            self.tree.report(path[:-1] or path, f"no test '{test}'", "must be a test of the harness",
                             nearest(test, self.harness.tests))  # fmt: skip
            return
        observation = known.observe.get(name)
        if observation is None:
            observation = self._added(name)
        if observation is None:
            self.tree.report(path, f"no reading '{name}' in test '{test}'",
                             f"must be one of {', '.join(known.observe)}",
                             nearest(name, known.observe))  # fmt: skip
            return
        self.setups[test] = known
        self.add(test, name, observation, text, path)

    def _added(self, name: str) -> Observation | None:
        """``volts S1.2 G1.-`` as an observation."""
        kind, *points = name.split() or [""]
        if kind not in KINDS_OF_OBSERVATION or not points:
            return None
        target: Any = points[0] if len(points) == 1 else points
        try:
            return Observation.model_validate({kind: target})
        except ValidationError:
            return None

    def add(self, test: str, name: str, observation: Observation, text: Any, path: Path_) -> None:
        """A reading with its value."""
        before = len(self.tree.problems)
        check_observation(self.harness, self.tree, self.setups[test], path, observation)
        if len(self.tree.problems) > before:
            return
        if isinstance(text, dict | list):
            self.tree.report(path, "a list or mapping", "must be one value, such as 12.4 V")
            return
        try:
            parsed = parse_reading(observation.kind, str(text))
        except PydanticCustomError as error:
            context = error.context or {}
            self.tree.report(path, f"'{context['found']}'", str(context["must"]))
            return
        if parsed is not None:
            self.found.append(Reading(test, name, observation, *parsed))


def parse_reading(kind: str, text: str) -> tuple[float, str] | None:
    """Value and word of a reading; None if it was not taken.

    :raises PydanticCustomError: if it is neither a word nor a quantity of this kind
    """
    text = text.strip()
    said = text.casefold()
    if said in NOT_TAKEN:
        return None
    if said in CHATTERS:
        return math.nan, BUZZES
    words = WORDS.get(kind, ())
    said = ALSO_SAID.get(kind, {}).get(said, said)
    if said in words:
        return math.nan, said
    if kind == "ohms" and text.upper() in (OPEN_LINE, "OPEN", "INFINITE"):
        return math.inf, ""
    if kind in _UNITS:
        try:
            return _UNITS[kind].parse(text), ""
        except PydanticCustomError as error:
            if not words:
                raise
            found = (error.context or {}).get("found", text)
            must = f"must be {', '.join(words)}, or {_UNITS[kind].example}"
            raise PydanticCustomError("quantity", "{must}", {"must": must, "found": found}) from None
    near = nearest(text, words)
    must = f"must be {' or '.join(words)}" + (f" (nearest: {near})" if near else "")
    raise PydanticCustomError("quantity", "{must}", {"must": must, "found": text})


def load_readings(harness: Harness, source: str | Path | io.TextIOBase) -> Sheet:
    """A sheet from a path or an open stream; YAML or CSV, told by its content.

    :raises ReadingsError: with every problem
    """
    if isinstance(source, str | Path):
        text, problems = read_text(Path(source))
        if problems:
            raise ReadingsError(problems)
        return parse_readings(harness, text, str(source))
    return parse_readings(harness, source.read(), "standard input")


def parse_readings(harness: Harness, text: str, file: str = "<text>") -> Sheet:
    """A sheet that is already in memory.

    :raises ReadingsError: with every problem
    """
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = (
        _from_csv(harness, text, file) if _is_csv_head(first) else _from_yaml(harness, text, file)
    )
    if not reader.tree.problems and not reader.found:
        reader.tree.report((), "no readings", "must have at least one reading that was taken")
    if reader.tree.problems:
        raise ReadingsError(sorted(reader.tree.problems, key=lambda one: one.line))
    title = reader.tree.data.get("readings", "") if isinstance(reader.tree.data, dict) else ""
    return Sheet(str(title), tuple(reader.found), reader.setups)


_HEAD = ("test", "name", "reading")


def _is_csv_head(line: str) -> bool:
    cells = [one.strip().casefold() for one in line.replace(";", ",").split(",")]
    return len(cells) >= 2 and cells[0] == "test"


def _from_csv(harness: Harness, text: str, file: str) -> _Reader:
    tree = Tree(file)
    reader = _Reader(harness, tree)
    first = text.lstrip("\ufeff\r\n ").splitlines()[0]
    separator = ";" if ";" in first else ","
    rows = csv.reader(io.StringIO(text.lstrip("\ufeff")), delimiter=separator)
    header: list[str] | None = None
    for row in rows:
        line = rows.line_num
        cells = [cell.strip() for cell in row]
        if not any(cells):
            continue
        if header is None:
            header = [cell.casefold() for cell in cells]
            missing = [name for name in _HEAD if name not in header]
            if missing:
                tree.problems.append(Problem(file, line, "", f"columns {', '.join(cells)}",
                                             f"must be {', '.join(_HEAD)}"))  # fmt: skip
                return reader
            continue
        if len(cells) > len(header):
            tree.problems.append(Problem(file, line, "", f"{len(cells)} columns, '{cells[-1]}' last",
                                         f"must be {len(header)}, with a decimal point"))  # fmt: skip
            continue
        by_name = dict(zip(header, cells, strict=False))
        test, name, value = (by_name.get(one, "") for one in _HEAD)
        if separator == ";":  # a spreadsheet that writes these writes decimal commas too
            value = re.sub(r"(?<=\d),(?=\d)", ".", value)
        path: Path_ = (test, name)
        tree.lines[path] = tree.lines[(test,)] = line
        reader.take(test, name, value, path)
    return reader


def _from_yaml(harness: Harness, text: str, file: str) -> _Reader:
    tree = parse(_LONE_DASH.sub(r' "\1"', text), file)
    reader = _Reader(harness, tree)
    if tree.problems:
        return reader
    if not isinstance(tree.data, dict):
        tree.report((), "no keys", "must have 'tests:' with readings, or be CSV with a header")
        return reader
    known = ("readings", "harness", "date", "note", "tests", "also")
    for key in tree.data:
        if key not in known:
            tree.report((key,), f"unknown key '{key}'", f"known here: {', '.join(known)}",
                        nearest(key, known))  # fmt: skip
    of = tree.data.get("harness", harness.name)
    if of != harness.name and Path(str(of)).stem != harness.name:
        tree.report(("harness",), f"readings of '{of}'", f"must be readings of '{harness.name}'")
    tests = tree.data.get("tests", {})
    if not isinstance(tests, dict):
        tree.report(("tests",), "no mapping", "must be 'test: {name: reading}'")
        tests = {}
    for test, readings in tests.items():
        if not isinstance(readings, dict):
            tree.report(("tests", test), "no mapping", "must be '{name: reading}'")
            continue
        if test not in harness.tests:
            tree.report(("tests", test), f"no test '{test}'", "must be a test of the harness",
                        nearest(test, harness.tests))  # fmt: skip
            continue
        for name, value in readings.items():
            reader.take(test, name, value, ("tests", test, name))
    _take_added(reader)
    return reader


def _take_added(reader: _Reader) -> None:
    """Readings with their own points, and perhaps their own set-up; one name for each of these."""
    added = reader.tree.data.get("also", [])
    own: dict[str, str] = {}
    for number, one in enumerate(added if isinstance(added, list) else [added]):
        path: Path_ = ("also", number)
        if not isinstance(one, dict) or "read" not in one or not {"test", "setup"} & one.keys():
            reader.tree.report(path, "no reading", "must be {test: T, volts: [A, B], read: 12 V}, "
                               "or with 'setup' in place of 'test'")  # fmt: skip
            continue
        known = ("test", "setup", *KINDS_OF_OBSERVATION, "read")
        unknown = [key for key in one if key not in known]
        for key in unknown:
            reader.tree.report((*path, key), f"unknown key '{key}'", f"known here: {', '.join(known)}",
                               nearest(key, known))  # fmt: skip
        if unknown:
            continue
        target = {key: value for key, value in one.items() if key in KINDS_OF_OBSERVATION}
        observation = build(Observation, target, reader.tree, path)
        if observation is None:
            continue
        name = " ".join([k if isinstance(v, str) else f"{k} {' '.join(v)}" for k, v in target.items()])
        test = str(one.get("test", ""))
        if "setup" in one:
            setup = build(Setup, one["setup"], reader.tree, (*path, "setup"))
            if setup is None:
                continue
            check_setup(reader.harness, reader.tree, (*path, "setup"), setup)
            test = own.setdefault(repr(setup), f"own set-up {len(own) + 1}")
            before = dict(reader.setups[test].observe) if test in reader.setups else {}
            reader.setups[test] = Test(title=test, setup=setup, observe=before | {name: observation})
        elif test not in reader.harness.tests:
            reader.tree.report((*path, "test"), f"no test '{test}'", "must be a test of the harness",
                               nearest(test, reader.harness.tests))  # fmt: skip
            continue
        else:
            reader.setups[test] = reader.harness.tests[test]
        reader.add(test, name, observation, one["read"], path)


def sheet_text(harness: str, readings: Mapping[str, Mapping[str, Any]], title: str = "") -> str:
    """A readings file (YAML) from plain values, test by test."""
    lines = [f"readings: {title or 'readings'}", f"harness: {harness}", "tests:"]
    for test, values in readings.items():
        lines.append(f"  {test}:")
        lines += [f"    {name}: {value}" for name, value in values.items()]
    return "\n".join(lines) + "\n"
