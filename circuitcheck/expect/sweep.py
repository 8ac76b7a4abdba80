"""All readings of many tests under many faults, here or on other cores and machines.

A piece of the work is one test under some of the faults: it needs nothing but the harness, so that any
``concurrent.futures.Executor`` can take it, a pool of processes or a cluster's.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TypeVar

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
_AT_ONCE = 10_000
"""Faults solved together: what they need has to lie in memory."""

Work = TypeVar("Work")
Done = TypeVar("Done")
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


Blown = tuple[frozenset[str], ...]


@dataclass(frozen=True)
class _Piece:
    """One test under some faults, by their numbers: a fault's rule cannot be sent anywhere.

    :param blown: for each row the fuses that its fault has blown in use
    """

    harness: Harness
    test: str
    faults: tuple[int, ...]
    magnitudes: int
    blown: Blown


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
    every = lasting_faults(harness)
    names = [one.spec for one in every]
    wanted = range(len(names)) if faults is None else [
        names.index(_known("fault", one, names)) for one in faults]  # fmt: skip
    chosen = [_known("test", test, harness.tests) for test in (tests or list(harness.tests))]
    size = max(1, -(-len(wanted) // pieces))
    parts = [tuple(wanted[n : n + size]) for n in range(0, len(wanted), size)]
    blown = _after_service(harness, every, parts, magnitudes, executor)
    work = [_Piece(harness, test, part, magnitudes, already)
            for test in chosen for part, already in zip(parts, blown, strict=True)]  # fmt: skip
    done: list[Swept] = []
    for found in _mapped(executor, _swept, work):
        done.append(found)
        if progress is not None:
            progress(len(done), len(work))
    return [_joined([one for one in done if one.test == test]) for test in dict.fromkeys(chosen)]


def _mapped(executor: Executor | None, task: Callable[[Work], Done], work: Sequence[Work]
            ) -> Iterator[Done]:  # fmt: skip
    """What a task makes of each piece of work, in order."""
    if executor is None:
        yield from map(task, work)
    else:
        for one in [executor.submit(task, piece) for piece in work]:
            yield one.result()


def _after_service(
    harness: Harness, every: Sequence[FaultMode], parts: Sequence[tuple[int, ...]],
    magnitudes: int, executor: Executor | None,
) -> list[Blown]:  # fmt: skip
    """For each row of each part the fuses that its fault has blown in use: the same for all tests."""
    listed = [one for part in parts for one in part]
    risky = [one for one in listed if every[one].overloads]
    work = [_Piece(harness, "", tuple(risky[n : n + _AT_ONCE]), magnitudes, ())
            for n in range(0, len(risky), _AT_ONCE)]  # fmt: skip
    asked = [one for found in _mapped(executor, _blown, work) for one in found]
    counts = {one: len(_tried(every[one], magnitudes)) for one in listed}
    blown = {}
    for one in risky:
        blown[one], asked = asked[: counts[one]], asked[counts[one] :]
    return [tuple(already for one in part for already in blown.get(one, [frozenset()] * counts[one]))
            for part in parts]  # fmt: skip


def _blown(piece: _Piece) -> list[frozenset[str]]:
    """The fuses that some faults blow in use."""
    chosen = _chosen(piece)
    rules = [lambda branches, one=one: combined([one], branches) for one in chosen]
    return blown_in_service(piece.harness, rules, [len(np.atleast_1d(one.value)) for one in chosen])


def _chosen(piece: _Piece) -> list[ChosenFault]:
    """The faults of a piece with all values to try."""
    every = lasting_faults(piece.harness)
    return [ChosenFault(every[one], _tried(every[one], piece.magnitudes)) for one in piece.faults]


def _swept(piece: _Piece) -> Swept:
    test = piece.harness.tests[piece.test]
    bench = bench_for(piece.harness, test)
    chosen = _chosen(piece)
    counts = [len(np.atleast_1d(one.value)) for one in chosen]
    first = np.cumsum([0, *counts])
    values = [np.zeros((0, len(test.observe)))]
    for start in range(0, len(chosen), _AT_ONCE):
        here = slice(start, start + _AT_ONCE)
        changes = [combined([one], bench.circuit.branches, test.setup.swap) for one in chosen[here]]
        blown = piece.blown[first[start] : first[min(start + _AT_ONCE, len(chosen))]]
        values.append(bench.run(changes, counts[here], blown).values)
    fault = np.repeat(np.array(piece.faults, dtype=np.intp), counts)
    tried = np.concatenate([np.zeros(0), *(np.atleast_1d(one.value) for one in chosen)])
    return Swept(piece.test, tuple(test.observe), fault, tried, np.concatenate(values))


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
