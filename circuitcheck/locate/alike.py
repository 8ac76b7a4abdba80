"""Suspects that predict the same for every reading of a sheet, value for value.

A sound sheet leaves dozens of them: a cracked pin of a plug reads like the wire behind it, and what
the tests never touch reads like nothing at all. One of each kind is weighed; the rest share its
likelihood and differ by their chances beforehand only.
"""

from __future__ import annotations

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

_SAME = 0.1
"""Share of the meter's standard uncertainty below which two readings are one."""


def representatives(evidence: Evidence, predicted: Array) -> Index:
    """For each suspect the number of the first one that predicts what it predicts.

    :param predicted: (suspects, values, readings); suspects with the same values to try
    """
    count = len(predicted)
    if not count:
        return np.zeros(0, dtype=np.intp)
    width = evidence.meter_uncertainty(predicted).reshape(count, -1)
    # An open line and a relay that buzzes are like themselves only.
    marked = np.nan_to_num(predicted, nan=1e12, posinf=1e15).reshape(count, -1)
    first = np.full(count, -1, dtype=np.intp)
    for number in range(count):
        if first[number] < 0:
            left = np.flatnonzero(first < 0)
            apart = np.abs(marked[left] - marked[number]) > _SAME * width[number]
            first[left[~apart.any(axis=1)]] = number
    return first
