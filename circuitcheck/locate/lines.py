"""What suspects predict for a sheet at any values of their unknowns, and how that moves.

A suspect is solved only in those tests, and at those values, that were not solved before: one without
an unknown value not at all, one whose readings of a test run smoothly from one value to the next not
in that test.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.run import Run
from circuitcheck.locate.between import SMOOTH, SMOOTH_IF_FAR, runs_smoothly, told, weights
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.suspects import Predictor, Trial
from circuitcheck.parts.fault import Severity
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

Grids = Mapping[int, Array]
"""By the number of a suspect, logs of its values, evenly spaced; empty where nothing is unknown."""


@dataclass(frozen=True)
class Predicted:
    """Rows of readings, those of one suspect one after the other.

    :param values: (rows, readings)
    :param moves: shift of each reading for each latent of the vehicle (rows, readings, latents)
    :param rows: of each suspect, by its number
    """

    values: Array
    moves: Array
    rows: dict[int, slice]


@dataclass(eq=False)
class _Line:
    """One suspect in one test as it was solved.

    :param grid: logs of its values, evenly spaced; empty where nothing is unknown (values,)
    :param run: what solved it, and ``rows`` where
    :param moves: how its readings move (values, readings, latents), of the values it has been asked for
    """

    grid: Array
    run: Run
    rows: Index

    def __post_init__(self) -> None:
        bench = self.run.bench
        self.known = np.zeros(len(self.rows), dtype=bool)
        """Values of which it is known how the readings move (values,)."""
        self.moves = np.zeros((len(self.rows), len(bench.observations), len(bench.latents)))

    @property
    def predicted(self) -> Array:
        """Its readings (values, readings)."""
        return self.run.values[self.rows]


@dataclass(frozen=True)
class _Source:
    """Where the readings of a suspect come from.

    :param predicted: (values, readings)
    :param weights: what each value of the line counts in them (values, values of the line)
    """

    line: _Line
    predicted: Array
    weights: Array

    @property
    def moves(self) -> Array:
        """How they move (values, readings, latents)."""
        return np.tensordot(self.weights, self.line.moves, 1)

    @property
    def unknown(self) -> Index:
        """The values of the line that count, and of which it is not known how the readings move."""
        counts = self.weights.any(axis=0)
        return np.flatnonzero(counts & ~self.line.known)


class Lines:
    """The suspects of one sheet as they have been solved so far."""

    def __init__(self, evidence: Evidence, coarse: Coarse) -> None:
        self._evidence = evidence
        self._coarse = coarse
        latents = [name for bench in evidence.benches for name in bench.latents]
        self._latents = {name: number for number, name in enumerate(dict.fromkeys(latents))}
        parts = [evidence.part(number) for number in range(len(evidence.benches))]
        self._tests = [_Test(part, coarse, self._latents) for part in parts]

    @property
    def latents(self) -> tuple[str, ...]:
        """What can move the readings, in the order of the columns so far."""
        return tuple(self._latents)

    def at(self, grids: Grids) -> Predicted:
        """What suspects predict at some values."""
        rows, count = {}, 0
        for n, grid in grids.items():
            rows[n] = slice(count, count + max(len(grid), 1))
            count = rows[n].stop
        sources = [one.sources(grids) for one in self._tests]
        self._solve(grids, sources)
        for test, found in zip(self._tests, sources, strict=True):
            test.ask_moves(found.values())
        values = np.empty((count, len(self._evidence.seen)))
        moves = np.zeros((*values.shape, len(self._latents)))
        column = 0
        for test, found in zip(self._tests, sources, strict=True):
            columns = slice(column, column + test.readings)
            for n, one in found.items():
                values[rows[n], columns] = one.predicted
                moves[rows[n], columns, test.latents] = one.moves
            column = columns.stop
        return Predicted(values, moves, rows)

    def _solve(self, grids: Grids, sources: Sequence[dict[int, _Source]]) -> None:
        """Solve what is missing in each test."""
        missing = [n for n in grids if any(n not in found for found in sources)]
        if not missing:
            return
        suspects = self._coarse.suspects
        wider = {n: _wider(grids[n], suspects[n].severity) for n in missing}
        trials = [Trial(n, np.exp(one) if one.size else np.zeros(1)) for n, one in wider.items()]
        predictor = Predictor(self._coarse.harness, suspects, trials)
        for test, known in zip(self._tests, sources, strict=True):
            asked = [place for place, n in enumerate(missing) if n not in known]
            if asked:
                known.update(test.solve(predictor, asked, wider, grids))


class _Test:
    """The suspects in one test of a sheet.

    :param evidence: of this test alone
    :param latents: the numbers of the latents of all tests
    """

    def __init__(self, evidence: Evidence, coarse: Coarse, latents: dict[str, int]) -> None:
        (self._bench,) = evidence.benches
        self._evidence = evidence
        self._coarse = coarse
        self.latents = np.array([latents[name] for name in self._bench.latents], dtype=np.intp)
        """The numbers of its own."""
        self._swept: dict[int, _Line] = {}
        """The coarse values, as far as they have been needed."""
        self._solved: dict[int, _Line] = {}
        """What was solved last."""

    @property
    def readings(self) -> int:
        """How many it has."""
        return len(self._evidence.seen)

    def sources(self, grids: Grids) -> dict[int, _Source]:
        """The readings of those suspects that need not be solved."""
        found: dict[int, _Source] = {}
        for n, grid in grids.items():
            line = self._coarse_line(n) or self._solved.get(n)
            if line is not None and not grid.size:
                found[n] = _Source(line, line.predicted, np.ones((1, 1)))
        for lines, most in ((self._solved, SMOOTH), (self._swept, SMOOTH_IF_FAR)):
            left = [n for n, grid in grids.items() if grid.size and n in lines and n not in found]
            found |= self._between({n: lines[n] for n in left}, grids, most)
        return found

    def _coarse_line(self, number: int) -> _Line | None:
        if number not in self._swept:
            origin = self._coarse.origin(self._bench, number)
            if origin is None:
                return None
            self._swept[number] = _Line(self._coarse.grid(number), origin.run, origin.rows)
        return self._swept[number]

    def _between(self, lines: dict[int, _Line], grids: Grids, most: float) -> dict[int, _Source]:
        """Those that can be told from values around theirs.

        :param most: see :func:`.runs_smoothly`
        """
        found: dict[int, _Source] = {}
        for count in {(len(one.grid), len(grids[n])) for n, one in lines.items()}:
            numbers = [n for n, one in lines.items() if (len(one.grid), len(grids[n])) == count]
            logs = np.stack([grids[n] for n in numbers])
            grid = np.stack([lines[n].grid for n in numbers])
            predicted = np.stack([lines[n].predicted for n in numbers])
            smooth = np.flatnonzero(runs_smoothly(self._evidence, grid, predicted, logs, most))
            if smooth.size:
                shares = weights(grid[smooth], logs[smooth])
                read = told(shares, predicted[smooth])
                for place, *both in zip(smooth.tolist(), read, shares, strict=True):
                    found[numbers[place]] = _Source(lines[numbers[place]], *both)
        return found

    def solve(
        self, predictor: Predictor, asked: Sequence[int], wider: Grids, grids: Grids
    ) -> dict[int, _Source]:
        """Solve some of the trials of a predictor.

        :param asked: their numbers; ``wider`` has the values of each, among them those of ``grids``
        """
        run = predictor.run(self._bench, asked)
        numbers, first, found = list(wider), 0, {}
        for n in (numbers[one] for one in asked):
            rows = np.arange(first, first + max(len(wider[n]), 1))
            line = self._solved[n] = _Line(wider[n], run, rows)
            start = int(np.searchsorted(wider[n], grids[n][0] - 1e-9)) if grids[n].size else 0
            mine = slice(start, start + max(len(grids[n]), 1))
            found[n] = _Source(line, line.predicted[mine], np.eye(len(rows))[mine])
            first += len(rows)
        return found

    def ask_moves(self, sources: Iterable[_Source]) -> None:
        """Ask how readings move, at those values that count and of which it is not known."""
        by_run: dict[int, list[tuple[_Line, Index]]] = {}
        for one in sources:
            unknown = one.unknown
            if unknown.size:
                by_run.setdefault(id(one.line.run), []).append((one.line, unknown))
        for many in by_run.values():
            rows = np.concatenate([line.rows[unknown] for line, unknown in many])
            shifts = many[0][0].run.shifts(rows).values
            first = 0
            for line, unknown in many:
                line.moves[unknown] = shifts[first : first + len(unknown)]
                line.known[unknown] = True
                first += len(unknown)


def _wider(grid: Array, severity: Severity | None) -> Array:
    """A grid with a step more at each end, as far as the fault's range goes: a value that lies just
    beyond is then told from what is solved. One value alone stays alone."""
    if severity is None or len(grid) < 2:
        return grid
    more, low, high = grid[1] - grid[0], np.log(severity.low), np.log(severity.high)
    start = [grid[0] - more] if grid[0] - more >= low else []
    end = [grid[-1] + more] if grid[-1] + more <= high else []
    return np.concatenate([start, grid, end])
