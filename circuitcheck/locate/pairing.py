"""Which two faults are worth solving together: each pair judged from what its two do alone.

Nothing is solved here. In a reading the fault that disturbs it more decides, or, where both only
shift it, their shifts add up (superposition, which holds for linear circuits and small changes). The
best of the pairs so judged are then solved as they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.locate.alike import representatives
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import deviations, rough_logs
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

PARTIAL = 0.3
"""Chance of a wrong reading when a fault is asked to explain only some of them."""
_BETWEEN = 4
"""Values looked at from one coarse value to the next, taken as straight between them."""
_VALUES = 3
"""Values of an unknown one that are kept: those that explain most readings better than sound."""
_FAR = 1e3
"""Standard uncertainties by which a line that opens, or a relay that buzzes, disturbs a reading."""


@dataclass(frozen=True)
class Pair:
    """Two single faults by their numbers, each with the value at which the two go together best."""

    one: int
    other: int
    value_of_one: float
    value_of_other: float


@dataclass(frozen=True)
class Alone:
    """What every kind of single fault does alone, at a few values each.

    :param suspect: number of the suspect of each row (rows,)
    :param values: of its unknown (rows,)
    :param predicted: readings (rows, readings)
    :param logs: log chance of each reading, any one of which it need not explain (rows, readings)
    :param sound: readings of the sound circuit (readings,)
    :param kinds: for each suspect that stands for others, all that read like it at every value
    """

    suspect: Index
    values: Array
    predicted: Array
    logs: Array
    sound: Array
    kinds: dict[int, list[int]]


def alone(evidence: Evidence, coarse: Coarse) -> Alone:
    """Single faults laid out for pairing; ``coarse`` has sound first."""
    alive = np.ones(len(coarse.suspects), dtype=bool)
    plain, valued = zip(*(coarse.values(bench, alive) for bench in evidence.benches), strict=True)
    flat, block = np.concatenate(plain, axis=-1), np.concatenate(valued, axis=-1)
    kinds: dict[int, list[int]] = {}
    for numbers, values in ((coarse.plain, flat[:, None]), (coarse.valued, block)):
        for number, first in zip(numbers, representatives(evidence, values), strict=True):
            kinds.setdefault(numbers[int(first)], []).append(number)
    sound = flat[coarse.plain.index(0)]
    pieces = [
        (n, np.zeros(1), flat[place][None])
        for place, n in enumerate(coarse.plain)
        if n in kinds and coarse.suspects[n].faults
    ]
    pieces += [
        (n, *between(coarse.logs[place], block[place]))
        for place, n in enumerate(coarse.valued)
        if n in kinds
    ]
    suspect = np.repeat([n for n, _, _ in pieces], [len(values) for _, values, _ in pieces])
    predicted = np.concatenate([rows for _, _, rows in pieces])
    logs = rough_logs(evidence, predicted, deviations(evidence, predicted), PARTIAL)
    flat_logs = rough_logs(evidence, sound[None], deviations(evidence, sound[None]), PARTIAL)[0]
    kept = np.concatenate(
        [_telling(np.flatnonzero(suspect == n), logs, flat_logs) for n, _, _ in pieces]
    )
    values = np.exp(np.concatenate([values for _, values, _ in pieces]))
    return Alone(suspect[kept], values[kept], predicted[kept], logs[kept], sound, kinds)


def between(logs: Array, block: Array) -> tuple[Array, Array]:
    """Logs of values closer than those tried, and the readings there (values, readings).

    :param logs: of the values tried (tried,)
    :param block: readings there (tried, readings)
    """
    share = (np.arange(_BETWEEN) / _BETWEEN)[None, :, None]
    with np.errstate(invalid="ignore"):
        rows = np.where(
            share == 0, block[:-1, None], block[:-1, None] + share * (block[1:, None] - block[:-1, None])
        )
    closer = logs[:-1, None] + share[..., 0] * np.diff(logs)[:, None]
    return (
        np.append(closer.reshape(-1), logs[-1]),
        np.concatenate([rows.reshape(-1, block.shape[1]), block[-1:]]),
    )


def _telling(rows: Index, logs: Array, sound: Array) -> Index:
    """The row that explains most readings better than sound, and those that explain most of the rest."""
    best, chosen = sound, []
    for _ in range(min(_VALUES, len(rows))):
        gain = np.maximum(logs[rows] - best, 0.0).sum(axis=1)
        chosen.append(int(rows[int(np.argmax(gain))]))
        best = np.maximum(best, logs[chosen[-1]])
    return np.array(list(dict.fromkeys(chosen)), dtype=np.intp)


def likely_pairs(evidence: Evidence, suspects: Sequence[Suspect], known: Alone, most: int) -> list[Pair]:
    """The best pairs of faults on different parts, best first: as many as asked for in each of two ways.

    Once with the disturbances put together, once with whatever either of them explains.
    """
    together, either = _scores(evidence, known)
    chance = np.log([max(suspects[n].weight, 1e-12) for n in known.suspect.tolist()])
    found: dict[tuple[int, int], Pair] = {}
    for scores in (together, either):
        wanted = len(found) + most
        for pair in _in_order(suspects, known, scores + chance + chance[:, None]):
            found.setdefault((pair.one, pair.other), pair)
            if len(found) >= wanted:
                break
    return list(found.values())


def _scores(evidence: Evidence, known: Alone) -> tuple[Array, Array]:
    """Rough log-likelihood of every two rows (rows, rows), in the two ways."""
    u = deviations(evidence, known.predicted)
    with np.errstate(invalid="ignore"):
        shift = known.predicted - known.sound
    straight = np.isfinite(shift) & np.isfinite(evidence.measured)
    far = np.where(np.isfinite(shift), np.abs(shift) / u, _FAR)
    same = (known.predicted == known.sound) | (np.isnan(known.predicted) & np.isnan(known.sound))
    far = np.where(same, 0.0, far)
    shift = np.where(straight, shift, 0.0)
    wild = evidence.wild
    together, either = (np.empty((len(u), len(u))) for _ in range(2))
    for row, logs in enumerate(known.logs):
        both = np.where(straight & straight[row], known.predicted + shift[row], 0.0)
        width = np.hypot(u, u[row])
        z = (evidence.measured - both) / width
        right = np.exp(-0.5 * np.minimum(z**2, 1400.0)) / (np.sqrt(2 * np.pi) * width)
        added = np.where(straight & straight[row], (1 - PARTIAL) * right + PARTIAL * wild, 1e-300)
        stronger = np.where(far[row] > far, logs, known.logs)
        together[row] = np.maximum(stronger, np.log(added)).sum(axis=1)
        either[row] = np.maximum(logs, known.logs).sum(axis=1)
    return together, either


def _in_order(suspects: Sequence[Suspect], known: Alone, scores: Array) -> Iterator[Pair]:
    """Pairs of suspects on different parts, best first, each once."""
    numbers, count = known.suspect, len(known.suspect)
    first, second = np.triu_indices(count, 1)
    order = np.argsort(-scores[first, second], kind="stable")
    met: set[tuple[int, int]] = set()
    for pair in zip(first[order].tolist(), second[order].tolist(), strict=True):
        a, b = sorted(pair, key=lambda row: int(numbers[row]))
        key = (int(numbers[a]), int(numbers[b]))
        if key in met or _where(suspects[key[0]]) == _where(suspects[key[1]]):
            continue
        met.add(key)
        yield Pair(*key, float(known.values[a]), float(known.values[b]))


def _where(suspect: Suspect) -> str:
    return suspect.faults[0].where
