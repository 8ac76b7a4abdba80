"""Every two faults at once: two rows of single faults put together, and what they blow in use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import build_circuit, lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in, service_setups
from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import Branches, Change
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index


@dataclass(frozen=True)
class Paired:
    """The changes of some faults, and which two of them make each pair.

    :param changes: of each fault by itself; then of the pairs that alter the same branch, the second
        acting on what the first has left
    :param rows: of ``changes`` that act at once (pairs, 2), the second -1 for none
    """

    changes: list[Change]
    rows: Index


def every_pair(faults: Sequence[ChosenFault]) -> Index:
    """The numbers of every two faults that are not of one part (pairs, 2)."""
    parts: dict[str, int] = {}
    part = np.array([parts.setdefault(one.mode.where, len(parts)) for one in faults])
    first, second = np.triu_indices(len(faults), 1)
    pairs: Index = np.stack([first, second], axis=1)[part[first] != part[second]]
    return pairs


def paired(
    faults: Sequence[ChosenFault], pairs: Index, branches: Branches, swapped: Sequence[str] = ()
) -> Paired:
    """Pairs of faults as changes of one circuit.

    :param pairs: numbers of the faults (pairs, 2)
    :param swapped: parts replaced by known good ones
    """
    changes = [combined([one], branches, swapped) for one in faults]
    keys: dict[str, int] = {}
    alters = [
        (number, keys.setdefault(key, len(keys)))
        for number, change in enumerate(changes)
        for key in change
    ]
    altered = np.zeros((len(changes), len(keys)), dtype=np.float32)
    if alters:
        altered[tuple(np.array(alters).T)] = 1
    rows = pairs.copy()
    meet = (altered @ altered.T)[pairs[:, 0], pairs[:, 1]] > 0
    for row in np.flatnonzero(meet).tolist():
        both = [faults[one] for one in pairs[row].tolist()]
        rows[row] = len(changes), -1
        changes.append(combined(both, branches, swapped))
    return Paired(changes, rows)


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
    risky = np.array([one.mode.overloads for one in faults])[pairs].any(axis=1)
    blown = _blown(harness, faults, pairs, np.flatnonzero(risky))
    values = {}
    for name in tests or harness.tests:
        test = harness.tests[name]
        bench = bench_for(harness, test)
        both = paired(faults, pairs, bench.circuit.branches, test.setup.swap)
        values[name] = bench.run(both.changes, blown=blown, together=both.rows).values
    return pairs, values


def _blown(
    harness: Harness, faults: Sequence[ChosenFault], pairs: Index, asked: Index
) -> list[frozenset[str]]:
    """For each pair the fuses that it has blown in use; those not asked blow none."""
    found: list[set[str]] = [set() for _ in asked]
    for setup in service_setups(harness):
        circuit = build_circuit(harness, setup)
        both = paired(faults, pairs[asked], circuit.branches)
        blown = blown_in(circuit, both.changes, [1] * len(both.changes), np.ones(len(asked)), both.rows)
        for known, more in zip(found, blown, strict=True):
            known.update(more)
    every = [frozenset[str]()] * len(pairs)
    for row, names in zip(asked.tolist(), found, strict=True):
        every[row] = frozenset(names)
    return every
