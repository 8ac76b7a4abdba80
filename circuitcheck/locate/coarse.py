"""Every suspect at a few values of its unknown: what each bench reads then, asked once and kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.run import Run
from circuitcheck.harness.model import Harness
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.suspects import Predictor, Suspect, Trial
from circuitcheck.physics.branch import Array, Conductor, Source
from circuitcheck.solve.network import MANY_CURVES
from circuitcheck.solve.wiring import Bool, Index


@dataclass(frozen=True)
class Origin:
    """Where a suspect was solved: rows of a run, that can still be asked how its readings move."""

    run: Run
    first: int
    count: int

    @property
    def rows(self) -> Index:
        """Their numbers in the run."""
        return np.arange(self.first, self.first + self.count)

    @property
    def values(self) -> Array:
        """What they read (values, readings)."""
        return self.run.values[self.first : self.first + self.count]


class Coarse:
    """Every suspect of a harness over a coarse range of its unknown value, bench by bench.

    What a bench predicts does not depend on what was read, so it is kept: weighing a second sheet
    of the same tests, or the same sheet with one more test, costs only what is new. The solved circuits
    themselves are kept of the sheet that is being weighed.

    :param tried: values of the unknown of each suspect that has one, evenly spaced on a log scale, as
        many for each; over its whole range unless told
    """

    def __init__(
        self, harness: Harness, suspects: Sequence[Suspect], tried: Sequence[Array] | None = None
    ) -> None:
        self.harness = harness
        self.suspects = suspects
        self.plain = [n for n, one in enumerate(suspects) if one.unknown is None]
        self.valued = [n for n, one in enumerate(suspects) if one.unknown is not None]
        values = tried or [suspects[n].coarse_values() for n in self.valued]
        self._count = len(values[0]) if values else 1
        self.logs = np.log(np.array(values)).reshape(-1, self._count)
        """Logs of the values of each suspect that has one, in the order of ``valued``."""
        trials = [Trial(n, np.zeros(1)) for n in self.plain]
        trials += [Trial(n, one) for n, one in zip(self.valued, values, strict=True)]
        self._trial = {one.suspect: number for number, one in enumerate(trials)}
        self._predictor = Predictor(harness, suspects, trials)
        self._kept: dict[str, tuple[Array, Bool]] = {}
        self._origins: dict[str, dict[int, Origin]] = {}
        """Of each bench of the sheet that is being weighed, by the number of the trial."""

    def with_chances(self, suspects: Sequence[Suspect]) -> Coarse:
        """The same suspects with other chances beforehand; what was predicted is shared."""
        found = copy(self)
        found.suspects = suspects
        return found

    def turn_to(self, evidence: Evidence) -> None:
        """Keep the solved circuits of a sheet, and let go those of the last one."""
        now = {bench.key for bench in evidence.benches}
        for key in self._origins.keys() - now:
            del self._origins[key]
        for key in now:
            self._origins.setdefault(key, {})

    def blown(self, number: int, value: float) -> frozenset[str]:
        """Fuses that a suspect has blown in service, at the nearest of the values tried."""
        if not any(one.overloads for one in self.suspects[number].faults):
            return frozenset()
        if self.suspects[number].unknown is None:
            return self._predictor.blown[self.plain.index(number)]
        place = self.valued.index(number)
        nearest = int(np.argmin(np.abs(self.logs[place] - math.log(value))))
        return self._predictor.blown[len(self.plain) + place * self._count + nearest]

    def values(self, bench: Bench, alive: Bool) -> tuple[Array, Array]:
        """Predicted readings of the suspects that are still alive.

        :returns: of those without an unknown value (suspects, readings), and of those with one
            (suspects, values, readings), in the order of ``plain`` and ``valued``
        """
        wanted = alive[[*self.plain, *self.valued]]
        if bench.key not in self._kept:
            shape = (sum(self._predictor.counts), len(bench.observations))
            self._kept[bench.key] = np.zeros(shape), np.zeros(len(wanted), dtype=bool)
        values, there = self._kept[bench.key]
        missing = np.flatnonzero(wanted & ~there).tolist()
        if missing:
            values[self._predictor.rows(missing)] = self._solved(bench, missing).values
            there[missing] = True
        count = len(self.plain)
        block = values[count:].reshape(-1, self._count, values.shape[1])
        return values[:count][wanted[:count]], block[wanted[count:]]

    def _solved(self, bench: Bench, trials: Sequence[int]) -> Run:
        run = self._predictor.run(bench, trials)
        if bench.key in self._origins and _is_small(bench):
            first = 0
            for one in trials:
                count = self._predictor.counts[one]
                self._origins[bench.key][one] = Origin(run, first, count)
                first += count
        return run

    def grid(self, number: int) -> Array:
        """Logs of the values of a suspect; none where nothing is unknown (values,)."""
        place = self._trial[number] - len(self.plain)
        return self.logs[place] if place >= 0 else np.zeros(0)

    def origin(self, bench: Bench, number: int) -> Origin | None:
        """Where a suspect was solved in a bench of the sheet that is being weighed."""
        return self._origins.get(bench.key, {}).get(self._trial[number])

    def complete(self, evidence: Evidence) -> None:
        """Predict what has not been asked for so far, in one sweep a bench."""
        for bench in evidence.benches:
            self.values(bench, np.ones(len(self.suspects), dtype=bool))


def _is_small(bench: Bench) -> bool:
    """Whether its solved circuits can be kept; those of a whole vehicle would be too much to hold."""
    branches = bench.circuit.branches.values()
    return sum(not isinstance(one, Conductor | Source) for one in branches) <= MANY_CURVES
