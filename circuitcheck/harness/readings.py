"""A sheet of readings: what somebody found, test by test. YAML or CSV.

    readings: Right fan dead on low
    harness: twin-fan-switch
    tests:
      low-at-the-plug: {left: slow, right: off, amps: 8.1 A}
    also:
      - {test: low-at-the-plug, volts: [X2.1a, G1.-], read: 11.2 V}

In CSV the columns are ``test,name,reading``; a name such as ``volts X2.1a G1.-`` adds a reading that
the test does not list. ``-`` or an empty reading is one that was not taken.

A sheet is of the vehicle as it stands. Once something has been put right a new one begins, which says
so (``put_right: [K1]``); readings from before are of a vehicle with one fault more.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from circuitcheck.errors import ReadingsError
from circuitcheck.harness.model import Harness, Test
from circuitcheck.harness.reading import BUZZES, RUNS, Reading, parse_reading
from circuitcheck.harness.sheet_csv import from_csv, is_csv_head
from circuitcheck.harness.sheet_reader import PUT_RIGHT, SYMPTOM, Symptom
from circuitcheck.harness.sheet_yaml import from_yaml
from circuitcheck.harness.tree import read_text
from circuitcheck.harness.write import flow
from circuitcheck.notebook import text_table

__all__ = [
    "BUZZES",
    "PUT_RIGHT",
    "RUNS",
    "SYMPTOM",
    "Reading",
    "Sheet",
    "Symptom",
    "load_readings",
    "parse_reading",
    "parse_readings",
    "sheet_text",
]


@dataclass(frozen=True)
class Sheet:
    """All readings of one vehicle as it stands, and the set-ups they were taken in.

    :param put_right: units that were put right before any of these readings was taken
    :param symptom: what the customer says; a reading too, once it is understood
    :param meter_ohm: input of the voltmeter [ohm]; None for a usual one
    :param meter_within: share of a number by which the meter may be off; None for a usual one
    """

    title: str
    readings: tuple[Reading, ...]
    setups: dict[str, Test]
    put_right: tuple[str, ...] = ()
    symptom: Symptom | None = None
    meter_ohm: float | None = None
    meter_within: float | None = None

    def __str__(self) -> str:
        rows = [(one.test, one.name, one.shown) for one in self.readings]
        return f"{self.title}\n\n{text_table(('test', 'reading', 'read'), rows)}"


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
    reader = from_csv(harness, text, file) if is_csv_head(first) else from_yaml(harness, text, file)
    says = reader.found or reader.put_right or reader.symptom
    if not (reader.tree.problems or says):
        reader.tree.report((), "no readings", "must have at least one reading that was taken")
    if reader.tree.problems:
        raise ReadingsError(sorted(reader.tree.problems, key=lambda one: one.line), reader.symptom)
    title = reader.tree.data.get("readings", "") if isinstance(reader.tree.data, dict) else ""
    put_right = tuple(dict.fromkeys(reader.put_right))
    return Sheet(
        str(title),
        tuple(reader.found),
        reader.setups,
        put_right,
        reader.symptom,
        reader.meter_ohm,
        reader.meter_within,
    )


def sheet_text(
    harness: str,
    readings: Mapping[str, Mapping[str, Any]],
    title: str = "",
    put_right: Sequence[str] = (),
) -> str:
    """A readings file (YAML) from plain values, test by test."""
    lines = [f"readings: {title or 'readings'}", f"harness: {harness}"]
    if put_right:
        lines.append(f"{PUT_RIGHT}: {flow(put_right)}")
    lines.append("tests:")
    for test, values in readings.items():
        lines.append(f"  {test}:")
        lines += [f"    {name}: {value}" for name, value in values.items()]
    return "\n".join(lines) + "\n"
