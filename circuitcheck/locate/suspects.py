"""The hypotheses: sound, each fault mode, pairs of them; and their predictions over all readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from circuitcheck.circuit.build import all_faults
from circuitcheck.expect.bench import Bench, Run
from circuitcheck.expect.expected import ChosenFault, combined
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Harness
from circuitcheck.locate.evidence import Evidence
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.branch import Array
from circuitcheck.solve.sweep import Index

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
    """

    faults: tuple[FaultMode, ...]
    weight: float
    fuses: float = 1.0

    @property
    def spec(self) -> str:
        """The names of its faults joined by a plus, or ``sound``."""
        return " + ".join(one.spec for one in self.faults) or "sound"

    @property
    def unknown(self) -> FaultMode | None:
        """The first fault with an unknown value."""
        return next((one for one in self.faults if one.severity), None)

    def with_value(self, value: float) -> tuple[float, ...]:
        """Values for all its faults: the first unknown one as given, others in mid-range."""
        return tuple(
            value if one is self.unknown else one.severity.typical if one.severity else 0.0
            for one in self.faults
        )

    def coarse_values(self) -> list[tuple[float, ...]]:
        """Values to try, evenly over the log of the unknown one's range."""
        severity = self.unknown.severity if self.unknown else None
        if severity is None:
            return [self.with_value(0.0)]
        return [self.with_value(float(one))
                for one in np.geomspace(severity.low, severity.high, COARSE)]  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One row of a prediction: a suspect with values for its faults."""

    suspect: int
    values: tuple[float, ...]


def single_suspects(harness: Harness) -> list[Suspect]:
    """Sound first, then every fault mode, with their chances beforehand."""
    faults = all_faults(harness)
    share = (1 - SOUND_SHARE - PAIR_SHARE) / sum(one.weight for one in faults)
    found = [Suspect((), SOUND_SHARE)]
    for one in faults:
        ways = FUSE_LIMITS if one.overloads else (1.0,)
        found += [Suspect((one,), share * one.weight / len(ways), way) for way in ways]
    return found


def pair_suspects(singles: Sequence[Suspect], chosen: Sequence[int]) -> list[Suspect]:
    """Pairs of chosen single faults on different parts, in the order of the harness."""
    chosen = sorted(chosen)
    scale = PAIR_SHARE / (1 - SOUND_SHARE - PAIR_SHARE) ** 2 * 2
    return [
        Suspect((*singles[a].faults, *singles[b].faults),
                scale * singles[a].weight * singles[b].weight,
                max(singles[a].fuses, singles[b].fuses, key=lambda one: abs(one - 1.0)))
        for number, b in enumerate(chosen) for a in chosen[:number]
        if singles[a].faults and singles[b].faults
        and singles[a].faults[0].where != singles[b].faults[0].where
    ]  # fmt: skip


@dataclass(frozen=True)
class Predictions:
    """What every case predicts for every reading, and the means to ask how it moves."""

    cases: tuple[Case, ...]
    values: Array
    runs: tuple[Run, ...]

    def moves(self, rows: Index) -> Array:
        """Shift of each reading for each latent of the vehicle (rows, readings, latents)."""
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
    """Predicts the readings of benches under cases; what fuses blew in service it asks once."""

    def __init__(
        self, harness: Harness, suspects: Sequence[Suspect], cases: Sequence[Case]
    ) -> None:
        self.cases = tuple(cases)
        self._chosen = [_chosen(suspects[case.suspect], case) for case in cases]
        self._fuses = np.array([suspects[case.suspect].fuses for case in cases])
        self._blown = _blown(harness, self._chosen, self._fuses)

    def run(self, bench: Bench, rows: Index | None = None) -> Run:
        """All readings of one bench, under all cases or some."""
        branches, swapped = bench.circuit.branches, bench.setup.swap
        numbers = range(len(self.cases)) if rows is None else rows.tolist()
        changes = [combined(self._chosen[row], branches, swapped) for row in numbers]
        fuses = self._fuses if rows is None else self._fuses[rows]
        return bench.run(changes, [self._blown[row] for row in numbers], fuses)


def predict(evidence: Evidence, suspects: Sequence[Suspect], cases: Sequence[Case]) -> Predictions:
    """Every reading under every case."""
    predictor = Predictor(evidence.harness, suspects, cases)
    runs = tuple(predictor.run(bench) for bench in evidence.benches)
    values = np.concatenate([run.values for run in runs], axis=1)
    return Predictions(predictor.cases, values, runs)


def _chosen(suspect: Suspect, case: Case) -> list[ChosenFault]:
    return [ChosenFault(fault, value)
            for fault, value in zip(suspect.faults, case.values, strict=True)]  # fmt: skip


def _blown(
    harness: Harness, chosen: Sequence[Sequence[ChosenFault]], fuses: Array
) -> list[frozenset[str]]:
    """Fuses blown in service; asked only of faults that can overload something."""
    risky = [row for row, faults in enumerate(chosen) if any(one.mode.overloads for one in faults)]
    if not risky:
        return [frozenset()] * len(chosen)
    rules = [lambda branches, row=row: combined(chosen[row], branches) for row in risky]
    found = [frozenset[str]()] * len(chosen)
    for row, already in zip(risky, blown_in_service(harness, rules, fuses[risky]), strict=True):
        found[row] = already
    return found
