"""How often each fault mode occurs: the table ``shared/frequency.csv``, one row a kind and mode."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from circuitcheck.shipped import folder

TABLE = "frequency.csv"


@dataclass(frozen=True, slots=True)
class Frequency:
    """How often a fault mode occurs.

    :param kind: of part: ``relay``, ``wire``; ``pin`` for the contacts of plugs and sockets
    :param mode: with ``contact`` for whichever contact it is: ``contact stuck open``
    :param weight: against the other fault modes of a harness; only ratios count
    :param source: where it comes from
    """

    kind: str
    mode: str
    weight: float
    source: str

    @property
    def name(self) -> str:
        """How a harness speaks of it for all its parts of that kind: ``resistor open``."""
        return f"{self.kind} {self.mode}"


def usual(kind: str, mode: str) -> Frequency:
    """The usual frequency of a fault mode.

    :raises KeyError: if the table has no such row
    """
    return _table()[kind, mode]


@cache
def _table() -> dict[tuple[str, str], Frequency]:
    with (folder("shared") / TABLE).open(encoding="utf-8", newline="") as file:
        rows = [
            Frequency(row["kind"], row["mode"], float(row["weight"]), row["source"])
            for row in csv.DictReader(file)
        ]
    return {(one.kind, one.mode): one for one in rows}
