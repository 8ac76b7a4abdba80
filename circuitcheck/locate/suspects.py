"""The hypotheses: sound, each fault mode, pairs of them; and their predictions over all readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import all_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.run import Run
from circuitcheck.expect.together import Together, blown_together
from circuitcheck.harness.model import Harness
from circuitcheck.locate.evidence import Evidence
from circuitcheck.parts.fault import FaultMode, Severity
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Index

SOUND_SHARE = 0.1
"""Chance beforehand that a vehicle brought in for its fans has sound wiring; common practice."""
PAIR_SHARE = 0.02
"""Chance beforehand of two faults that have nothing to do with each other; common practice."""
FUSE_LIMITS = (0.8, 1.0, 1.3)
"""Where a fuse may give way, against its usual limit of 1.6 times its rating: 1.3 to 2.1 times it."""
COARSE = 8
"""Values over the range of an unknown one in the first pass."""


@dataclass(frozen=True)
class Suspect:
    """Sound (no faults), one fault mode, or several at once.

    :param weight: chance beforehand
    :param fuses: by how much fuses open above their usual limit; a fault that overloads them is
        looked at both ways, since nobody knows on which side of its limit a fuse gives way
    :param held: faults whose unknown value is held, with it and the log of what holding it costs
    """

    faults: tuple[FaultMode, ...]
    weight: float
    fuses: float = 1.0
    held: tuple[tuple[FaultMode, float, float], ...] = ()

    @property
    def spec(self) -> str:
        """The names of its faults joined by a plus, or ``sound``."""
        return " + ".join(one.spec for one in self.faults) or "sound"

    @property
    def passing(self) -> bool:
        """Whether it comes and goes."""
        return any(one.while_there for one in self.faults)

    @property
    def lasting_spec(self) -> str:
        """The names of the faults that are there while it is there."""
        return " + ".join(f"{one.where} {one.while_there or one.mode}" for one in self.faults)

    @property
    def bad_spec(self) -> str:
        """The names of the faults that are there while a contact that comes and goes is a bad one."""
        return " + ".join(f"{one.where} {one.while_bad or one.mode}" for one in self.faults)

    @property
    def unknown(self) -> FaultMode | None:
        """The first fault with an unknown value that is not held."""
        held = [one for one, _, _ in self.held]
        return next((one for one in self.faults if one.severity and one not in held), None)

    @property
    def severity(self) -> Severity | None:
        """The range of its unknown value, None where nothing is unknown."""
        return self.unknown.severity if self.unknown else None

    def chosen(self, values: Array) -> list[ChosenFault]:
        """Its faults: the first unknown one with values to try, others as held or in mid-range."""
        held = {one.spec: value for one, value, _ in self.held}
        return [
            ChosenFault(one, values if one is self.unknown else held.get(one.spec, one.typical))
            for one in self.faults
        ]

    def coarse_values(self) -> Array:
        """Values to try, evenly over the log of the unknown one's range; one where none is unknown."""
        severity = self.severity
        if severity is None:
            return np.zeros(1)
        return np.geomspace(severity.low, severity.high, COARSE)


@dataclass(frozen=True)
class Trial:
    """A suspect with values of its unknown to try; a single 0 where nothing is unknown."""

    suspect: int
    values: Array


def single_suspects(harness: Harness) -> list[Suspect]:
    """Sound first, then every fault mode, those that come and go too; with their chances beforehand."""
    faults = all_faults(harness)
    share = (1 - SOUND_SHARE - PAIR_SHARE) / sum(one.weight for one in faults)
    found = [Suspect((), SOUND_SHARE)]
    for one in faults:
        ways = FUSE_LIMITS if one.overloads else (1.0,)
        found += [Suspect((one,), share * one.weight / len(ways), way) for way in ways]
    return found


@dataclass(frozen=True)
class Predictions:
    """What every trial predicts for every reading, row by row, and how to ask how it moves."""

    values: Array
    runs: tuple[Run, ...]

    def moves(self) -> Array:
        """Shift of each reading for each latent of the vehicle (rows, readings, latents)."""
        rows = np.arange(len(self.values))
        names: dict[str, int] = {}
        shifts = [run.shifts(rows) for run in self.runs]
        for one in shifts:
            for latent in one.latents:
                names.setdefault(latent, len(names))
        total = np.zeros((len(rows), self.values.shape[1], len(names)))
        column = 0
        for one in shifts:
            width = one.values.shape[1]
            places = [names[latent] for latent in one.latents]
            total[:, column : column + width, places] = one.values
            column += width
        return total


class Predictor:
    """Predicts the readings of benches under trials; what fuses blew in service it asks once."""

    def __init__(self, harness: Harness, suspects: Sequence[Suspect], trials: Sequence[Trial]) -> None:
        self.counts = [len(one.values) for one in trials]
        self._first = np.cumsum([0, *self.counts])
        chosen = [suspects[one.suspect].chosen(one.values) for one in trials]
        self._together = Together(chosen, self.counts)
        self._fuses = np.repeat([suspects[one.suspect].fuses for one in trials], self.counts)
        # What can make nothing carry more blows no fuse.
        asked = [n for n, one in enumerate(chosen) if any(each.mode.overloads for each in one)]
        self.blown = self._after_service(harness, asked)
        """Fuses blown in service, for each row."""

    def _after_service(self, harness: Harness, asked: Sequence[int]) -> list[frozenset[str]]:
        """Fuses blown in service, those of some trials."""
        rows = self.rows(asked)
        blown = [frozenset[str]()] * int(self._first[-1])
        found = blown_together(harness, self._together, asked, self._fuses[rows])
        for row, names in zip(rows.tolist(), found, strict=True):
            blown[row] = names
        return blown

    def rows(self, trials: Sequence[int]) -> Index:
        """The rows of some trials."""
        asked = np.array(trials, dtype=np.intp)
        count = self._first[asked + 1] - self._first[asked]
        ends = np.cumsum(count)
        rows: Index = np.arange(count.sum()) + np.repeat(self._first[asked] - (ends - count), count)
        return rows

    def run(self, bench: Bench, trials: Sequence[int] | None = None) -> Run:
        """All readings of one bench, under all trials or some."""
        numbers = range(len(self.counts)) if trials is None else trials
        laid_out = self._together.on(bench.circuit.branches, bench.setup.swap, numbers)
        rows = self.rows(numbers)
        blown = [self.blown[row] for row in rows.tolist()]
        return bench.run(laid_out.changes, laid_out.counts, blown, self._fuses[rows], laid_out.rows)


def predict(evidence: Evidence, suspects: Sequence[Suspect], trials: Sequence[Trial]) -> Predictions:
    """Every reading under every trial."""
    predictor = Predictor(evidence.harness, suspects, trials)
    runs = tuple(predictor.run(bench) for bench in evidence.benches)
    return Predictions(np.concatenate([run.values for run in runs], axis=1), runs)
