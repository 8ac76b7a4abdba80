"""The readings to take, added to a sheet as blanks: at its end, so that nothing in it is touched."""

from __future__ import annotations

import csv
import io
import textwrap

from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import SYMPTOM
from circuitcheck.harness.sheet_csv import is_csv_head
from circuitcheck.plan.asked import NextTest

_WIDTH = 78


def with_blanks(harness: Harness, text: str, test: NextTest) -> str:
    """The text of a sheet with the readings of a test to be filled in; an empty text begins one.

    Blanks that stand there already are not added again.

    :raises ValueError: if the sheet has no place for them
    """
    first = next((line for line in text.splitlines() if line.strip()), "")
    if first and is_csv_head(first):
        return _rows_added(harness, text, test)
    if first.lstrip().startswith("{"):
        raise ValueError(
            "lines can be added to a sheet only where each key begins a line; this one is "
            "written in braces"
        )
    symptom, blanks = _parted(test.to_write)
    if blanks in text:
        return text
    head = _ended(text) or f"harness: {harness.name}\n"
    return f"{head}{symptom}\n{_told(test)}\n{blanks}\n"


def _ended(text: str) -> str:
    return f"{text.rstrip()}\n" if text.strip() else ""


def _parted(to_write: str) -> tuple[str, str]:
    """The line of a symptom, which stands by itself, and what follows it."""
    if not to_write.startswith(f"{SYMPTOM}:"):
        return "", to_write
    symptom, _, rest = to_write.partition("\n")
    return f"{symptom}\n", rest


def _told(test: NextTest) -> str:
    """What to do, as a remark above the blanks."""
    opening = f"open {', '.join(test.access)}; " if test.access else ""
    what = f"{test.title}: {opening}{'; '.join(test.setup)}"
    return "\n".join(
        textwrap.wrap(
            what, _WIDTH, initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False
        )
    )


def _rows_added(harness: Harness, text: str, test: NextTest) -> str:
    """The same in a table, which has no place for a set-up of its own."""
    if test.name not in harness.tests:
        raise ValueError(
            f"'{test.title}' is no test of the harness, and a table has no place for a "
            "set-up; keep the sheet as YAML"
        )
    separator = ";" if ";" in text.splitlines()[0] else ","
    header = [one.strip().casefold() for one in text.splitlines()[0].split(separator)]
    known = {tuple(row[:2]) for row in csv.reader(io.StringIO(text), delimiter=separator)}
    symptom, _ = _parted(test.to_write)
    said = symptom.partition(":")[2].strip().strip('"')
    rows = [{"test": SYMPTOM, "name": "", "reading": said}] if said else []
    rows += [
        {"test": test.name, "name": one.sound.name, "reading": "-"}
        for one in test.readings
        if (test.name, one.sound.name) not in known
    ]
    out = io.StringIO()
    writer = csv.DictWriter(out, header, delimiter=separator, lineterminator="\n", extrasaction="ignore")
    writer.writerows(rows)
    return _ended(text) + out.getvalue()
