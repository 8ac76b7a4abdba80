"""Every reading of a harness under every two of its faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.together import Together, blown_together
from circuitcheck.harness.model import Harness
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index


def every_pair(faults: Sequence[ChosenFault]) -> Index:
    """The numbers of every two faults that are not of one part (pairs, 2)."""
    parts: dict[str, int] = {}
    part = np.array([parts.setdefault(one.mode.where, len(parts)) for one in faults])
    first, second = np.triu_indices(len(faults), 1)
    pairs: Index = np.stack([first, second], axis=1)[part[first] != part[second]]
    return pairs


def sweep_pairs(harness: Harness, tests: Sequence[str] | None = None) -> tuple[Index, dict[str, Array]]:
    """Every reading of some tests under every two faults, each at its typical value.

    :param tests: all of the harness unless told
    :returns: the pairs, numbers in ``lasting_faults(harness)`` (pairs, 2), and for each test its
        readings (pairs, readings), infinite for an open line, NaN where the circuit buzzes
    """
    faults = [
        ChosenFault(one, one.severity.typical if one.severity else 0.0)
        for one in lasting_faults(harness)
    ]
    pairs = every_pair(faults)
    together = Together.pairs(faults, pairs)
    values, blown = {}, _blown(harness, together, faults, pairs)
    for name in tests or harness.tests:
        test = harness.tests[name]
        bench = bench_for(harness, test)
        laid_out = together.on(bench.circuit.branches, test.setup.swap)
        run = bench.run(laid_out.changes, laid_out.counts, blown, together=laid_out.rows)
        values[name] = run.values
    return pairs, values


def _blown(
    harness: Harness, together: Together, faults: Sequence[ChosenFault], pairs: Index
) -> list[frozenset[str]]:
    """For each pair the fuses that it has blown in use: only what overloads them is asked."""
    overloads = np.array([one.mode.overloads for one in faults])
    asked = np.flatnonzero(overloads[pairs].any(axis=1)).tolist()
    found = blown_together(harness, together, asked, np.ones(len(asked)))
    blown = [frozenset[str]()] * len(pairs)
    for row, names in zip(asked, found, strict=True):
        blown[row] = names
    return blown
