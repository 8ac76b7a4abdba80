"""Readings on which a verdict rests alone: if one of them was misread, something else is likelier.

No reading is left out and nothing is solved again: how likely each reading is to be wrong under each
suspect is known from the weighing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.repair import by_unit
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Hinge

_MOST = 2
_SUSPICIOUS = 0.5
"""Chance of a misreading from which a reading is to be repeated anyway."""


def hinges(evidence: Evidence, standings: Sequence[Standing], unit: str) -> tuple[Hinge, ...]:
    """The readings that alone decide what to put right, the most doubtful first.

    The chance of suspect s and reading r misread is the chance of s times that of a misreading given
    s; over all s it says what would be likeliest if r were wrong (theorem of total probability).

    :param unit: what the verdict says should be put right
    """
    logs = np.array([one.log_weight for one in standings])
    wrong = np.array([one.misread for one in standings])
    joint = np.exp(logs - logs.max())[:, None] * wrong
    total = joint.sum(axis=0)
    doubt = total / np.exp(logs - logs.max()).sum()
    found = []
    for column in np.argsort(-doubt, kind="stable"):
        if not 0 < doubt[column] < _SUSPICIOUS:
            continue
        units = by_unit(standings, joint[:, column] / total[column])
        other = max(units, key=lambda one: units[one])
        if other != unit:
            reading = evidence.seen[column].reading
            found.append(Hinge(reading.test, reading.name, other, round(units[other], 4)))
    return tuple(found[:_MOST])
