"""All readings of many tests under many faults, here or on other cores and machines.

A piece of the work is one test under some of the faults: it needs nothing but the harness, so that any
``concurrent.futures.Executor`` can take it, a pool of processes or a cluster's.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TypeVar
from uuid import uuid4

import numpy as np

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.errors import UnknownName
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in_service, service_setups
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
class _Whole:
    """What all pieces of one sweep share. By its mark a process knows it again."""

    mark: str
    harness: Harness = field(compare=False)
    magnitudes: int = field(compare=False)


@dataclass(frozen=True)
class _Piece:
    """One test under some faults, by their numbers: a fault's rule cannot be sent anywhere.

    :param blown: for each row the fuses that its fault has blown in use
    :param setup: number of the condition of use that is asked for, in place of a test
    """

    whole: _Whole
    test: str
    faults: tuple[int, ...]
    blown: Blown
    setup: int = 0


def sweep(
    harness: Harness,
    tests: Sequence[str] | None = None,
    faults: Sequence[str] | None = None,
    *,
    magnitudes: int = MAGNITUDES,
    executor: Executor | None = None,
    pieces: int = 1,
    progress: Progress | None = None,
) -> list[Swept]:
    """Every reading of some tests under every fault, at several values of its unknown.

    Fuses that a fault blows in use are blown before the test. The result is the same with an
    executor as without.

    :param tests: all of the harness unless told
    :param faults: their names; all of ``lasting_faults(harness)`` unless told
    :param pieces: into how many the faults of one test are shared out
    :raises UnknownName: for a test or a fault that is not there
    """
    whole = _Whole(uuid4().hex, harness, magnitudes)
    names = [one.mode.spec for one in _every(whole)]
    wanted = (
        range(len(names))
        if faults is None
        else [names.index(_known("fault", one, names)) for one in faults]
    )
    chosen = [_known("test", test, harness.tests) for test in (tests or list(harness.tests))]
    size = max(1, -(-len(wanted) // pieces))
    parts = [tuple(wanted[n : n + size]) for n in range(0, len(wanted), size)]
    blown = _after_service(whole, parts, executor)
    work = [
        _Piece(whole, test, part, already)
        for test in chosen
        for part, already in zip(parts, blown, strict=True)
    ]
    done: list[Swept] = []
    for found in _mapped(executor, _swept, work):
        done.append(found)
        if progress is not None:
            progress(len(done), len(work))
    return [_joined([one for one in done if one.test == test]) for test in dict.fromkeys(chosen)]


def _mapped(
    executor: Executor | None, task: Callable[[Work], Done], work: Sequence[Work]
) -> Iterator[Done]:
    """What a task makes of each piece of work, in order."""
    if executor is None:
        yield from map(task, work)
    else:
        for one in [executor.submit(task, piece) for piece in work]:
            yield one.result()


@lru_cache(maxsize=1)
def _every(whole: _Whole) -> list[ChosenFault]:
    """All faults with all values to try."""
    from multiprocessing import parent_process  # noqa: PLC0415  (slow to import)

    found = [ChosenFault(one, _tried(one, whole.magnitudes)) for one in lasting_faults(whole.harness)]
    if parent_process() is not None:
        gc.freeze()  # a process of a pool keeps these to its end: no look for garbage goes through them
    return found


def _counts(chosen: Sequence[ChosenFault]) -> list[int]:
    """How many values of each fault are tried."""
    return [np.size(one.value) for one in chosen]


def _after_service(
    whole: _Whole, parts: Sequence[tuple[int, ...]], executor: Executor | None
) -> list[Blown]:
    """For each row of each part the fuses that its fault has blown in use: the same for all tests."""
    every = _every(whole)
    counts = _counts(every)
    risky = [one for part in parts for one in part if every[one].mode.overloads]
    work = [
        _Piece(whole, "", tuple(risky[n : n + _AT_ONCE]), (), setup)
        for n in range(0, len(risky), _AT_ONCE)
        for setup in range(len(service_setups(whole.harness)))
    ]
    asked: dict[tuple[int, ...], list[frozenset[str]]] = {}
    for piece, found in zip(work, _mapped(executor, _blown, work), strict=True):
        before = asked.get(piece.faults, found)
        asked[piece.faults] = [one | other for one, other in zip(before, found, strict=True)]
    rows = iter([one for found in asked.values() for one in found])
    blown = {one: [next(rows) for _ in range(counts[one])] for one in risky}
    none = [frozenset[str]()]
    return [
        tuple(already for one in part for already in blown.get(one, none * counts[one]))
        for part in parts
    ]


def _blown(piece: _Piece) -> list[frozenset[str]]:
    """The fuses that some faults blow in one condition of use."""
    chosen = [_every(piece.whole)[one] for one in piece.faults]
    rules = [lambda branches, one=one: combined([one], branches) for one in chosen]
    harness = piece.whole.harness
    setups = [service_setups(harness)[piece.setup]]
    return blown_in_service(harness, rules, _counts(chosen), setups=setups)


def _swept(piece: _Piece) -> Swept:
    harness = piece.whole.harness
    test = harness.tests[piece.test]
    bench = bench_for(harness, test)
    chosen = [_every(piece.whole)[one] for one in piece.faults]
    counts = _counts(chosen)
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
    return _between(mode.severity.low, mode.severity.high, magnitudes)


@lru_cache(maxsize=1024)
def _between(low: float, high: float, magnitudes: int) -> Array:
    found = np.geomspace(low, high, magnitudes)
    found.setflags(write=False)
    return found


def _joined(parts: Sequence[Swept]) -> Swept:
    one = parts[0]
    return Swept(
        one.test,
        one.readings,
        np.concatenate([part.fault for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.values for part in parts]),
    )
