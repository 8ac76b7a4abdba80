"""A sheet of readings as a table: columns ``test,name,reading``.

A row whose test is ``put_right`` or ``symptom`` and that names no reading is not of a test: its third
column is a unit that was put right before, or what the customer says; so is ``meter,input,1 Mohm``.
"""

from __future__ import annotations

import csv
import io
import re

from circuitcheck.errors import Problem
from circuitcheck.harness.model import Harness
from circuitcheck.harness.sheet_reader import METER, METER_KEYS, PUT_RIGHT, SYMPTOM, SheetReader
from circuitcheck.harness.tree import Path_, Tree

_HEAD = ("test", "name", "reading")


def is_csv_head(line: str) -> bool:
    """Whether a first line is the header of such a table."""
    cells = [one.strip().casefold() for one in line.replace(";", ",").split(",")]
    return len(cells) >= 2 and cells[0] == "test"


def from_csv(harness: Harness, text: str, file: str) -> SheetReader:
    """What a table says, and its problems."""
    tree = Tree(file)
    reader = SheetReader(harness, tree)
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
                tree.problems.append(
                    Problem(file, line, "", f"columns {', '.join(cells)}", f"must be {', '.join(_HEAD)}")
                )
                return reader
            continue
        if len(cells) > len(header):
            tree.problems.append(
                Problem(
                    file,
                    line,
                    "",
                    f"{len(cells)} columns, '{cells[-1]}' last",
                    f"must be {len(header)}, with a decimal point",
                )
            )
            continue
        by_name = dict(zip(header, cells, strict=False))
        test, name, value = (by_name.get(one, "") for one in _HEAD)
        if separator == ";":  # a spreadsheet that writes these writes decimal commas too
            value = re.sub(r"(?<=\d),(?=\d)", ".", value)
        path: Path_ = (test, name or value)
        tree.lines[path] = tree.lines[(test,)] = line
        if test == PUT_RIGHT and not name:
            reader.take_put_right(value, path)
        elif test == SYMPTOM and not name:
            reader.take_symptom(value, path)
        elif test == METER and name in METER_KEYS:
            reader.take_meter(name, value, path)
        else:
            reader.take(test, name, value, path)
    return reader
