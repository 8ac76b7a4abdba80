"""All readings of many tests under many faults, here or on other cores and machines.

A piece of the work is one test under some of the faults: it needs nothing but the harness, so that any
``concurrent.futures.Executor`` can take it, a pool of processes or a cluster's.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.errors import UnknownName
from circuitcheck.expect.expected import ChosenFault, bench_for, combined
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

MAGNITUDES = 16
"""Values tried over the range of a fault's unknown one, unless told."""
_AT_ONCE = 1000
"""Faults solved together: what they need has to lie in memory."""

Progress = Callable[[int, int], None]
"""Told how many pieces are done, of how many."""


@dataclass(frozen=True)
class Swept:
    """The readings of one test.

    :param readings: names of the readings
    :param fault: for each row the number of its fault in ``lasting_faults(harness)`` (rows,)
    :param value: of the fault's unknown, 0 where it has none (rows,)
    :param values: infinite for an open line, NaN where the circuit buzzes (rows, readings)
    """

    test: str
    readings: tuple[str, ...]
    fault: Index
    value: Array
    values: Array


@dataclass(frozen=True)
class _Piece:
    """One test under some faults, by their numbers: a fault's rule cannot be sent anywhere."""

    harness: Harness
    test: str
    faults: tuple[int, ...]
    magnitudes: int


def sweep(
    harness: Harness, tests: Sequence[str] | None = None, faults: Sequence[str] | None = None,
    *, magnitudes: int = MAGNITUDES, executor: Executor | None = None, pieces: int = 1,
    progress: Progress | None = None,
) -> list[Swept]:  # fmt: skip
    """Every reading of some tests under every fault, at several values of its unknown.

    Fuses that a fault blows in use are blown before the test. The result is the same with an
    executor as without.

    :param tests: all of the harness unless told
    :param faults: their names; all of ``lasting_faults(harness)`` unless told
    :param pieces: into how many the faults of one test are shared out
    :raises UnknownName: for a test or a fault that is not there
    """
    names = [one.spec for one in lasting_faults(harness)]
    wanted = range(len(names)) if faults is None else [
        names.index(_known("fault", one, names)) for one in faults]  # fmt: skip
    size = max(1, -(-len(wanted) // pieces))
    work = [
        _Piece(harness, _known("test", test, harness.tests), tuple(wanted[n : n + size]), magnitudes)
        for test in (tests or list(harness.tests)) for n in range(0, len(wanted), size)
    ]  # fmt: skip
    done: list[Swept] = []
    waiting: list[Future[Swept]] = [] if executor is None else [
        executor.submit(_swept, piece) for piece in work]  # fmt: skip
    for number, piece in enumerate(work):
        done.append(waiting[number].result() if waiting else _swept(piece))
        if progress is not None:
            progress(number + 1, len(work))
    return [_joined([one for one in done if one.test == test])
            for test in dict.fromkeys(piece.test for piece in work)]  # fmt: skip


def _swept(piece: _Piece) -> Swept:
    test = piece.harness.tests[piece.test]
    bench = bench_for(piece.harness, test)
    every = lasting_faults(piece.harness)
    rows = []
    for start in range(0, len(piece.faults), _AT_ONCE):
        numbers = piece.faults[start : start + _AT_ONCE]
        chosen = [ChosenFault(every[one], _tried(every[one], piece.magnitudes)) for one in numbers]
        tried = [np.atleast_1d(one.value) for one in chosen]
        counts = [len(one) for one in tried]
        changes = [combined([one], bench.circuit.branches, test.setup.swap) for one in chosen]
        values = bench.run(changes, counts, _blown(piece.harness, chosen, counts)).values
        rows.append((np.repeat(np.array(numbers), counts), np.concatenate(tried), values))
    fault, value, values = (np.concatenate(one) for one in zip(*rows, strict=True))
    return Swept(piece.test, tuple(test.observe), fault, value, values)


def _blown(
    harness: Harness, chosen: Sequence[ChosenFault], counts: Sequence[int]
) -> list[frozenset[str]]:
    """For each row the fuses that its fault has blown in use; asked only of those that overload."""
    first = np.cumsum([0, *counts])
    risky = [number for number, one in enumerate(chosen) if one.mode.overloads]
    found = [frozenset[str]()] * int(first[-1])
    if risky:
        rules = [lambda branches, n=n: combined([chosen[n]], branches) for n in risky]
        rows = np.concatenate([np.arange(first[n], first[n + 1]) for n in risky]).tolist()
        blown = blown_in_service(harness, rules, [counts[n] for n in risky])
        for row, already in zip(rows, blown, strict=True):
            found[row] = already
    return found


def _known(what: str, name: str, names: Collection[str]) -> str:
    if name not in names:
        raise UnknownName(what, name, names)
    return name


def _tried(mode: FaultMode, magnitudes: int) -> Array:
    if mode.severity is None:
        return np.zeros(1)
    return np.geomspace(mode.severity.low, mode.severity.high, magnitudes)


def _joined(parts: Sequence[Swept]) -> Swept:
    one = parts[0]
    return Swept(
        one.test, one.readings, np.concatenate([part.fault for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.values for part in parts]),
    )  # fmt: skip
