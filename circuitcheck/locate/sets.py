"""How sets of faults stand: at most one value of a set is looked for, the others are held."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.locate.alike import representatives
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect
from circuitcheck.locate.values import Place, deviations, rough_logs
from circuitcheck.locate.weighing import Rough, fine_look, rough_look
from circuitcheck.parts.fault import FaultMode


class Look:
    """A rough look at some sets.

    :param suspects: at least one
    """

    def __init__(self, evidence: Evidence, suspects: Sequence[Suspect]) -> None:
        self._evidence = evidence
        self._coarse = Coarse(evidence.harness, suspects)
        self._rough = rough_look(evidence, self._coarse)

    @property
    def top(self) -> float:
        """Rough log-likelihood of the best of them."""
        return self._rough.top

    def weighed(self, top: float = -math.inf) -> list[Standing]:
        """Those not hopeless, most likely first.

        :param top: rough log-likelihood of the best that is known beside them
        """
        return _fine(self._evidence, self._coarse, self._rough.beside(top))


def weighed(evidence: Evidence, suspects: Sequence[Suspect], top: float = -math.inf) -> list[Standing]:
    """How sets stand that are not hopeless, most likely first.

    :param top: rough log-likelihood of the best that is known beside them
    """
    return Look(evidence, suspects).weighed(top) if suspects else []


def weighed_at(
    evidence: Evidence, suspects: Sequence[Suspect], places: Sequence[Place]
) -> list[Standing]:
    """The same as :func:`weighed`, where it is known what the unknown values are about."""
    if not suspects:
        return []
    logs = [places[n].log_value for n, one in enumerate(suspects) if one.unknown is not None]
    coarse = Coarse(evidence.harness, suspects, [np.exp([one]) for one in logs])
    coarse.turn_to(evidence)
    ranges = {n: (one.log_value, one.log_value) for n, one in enumerate(places)}
    rough = Rough(dict(enumerate(places)), ranges, _alike(evidence, coarse), -math.inf)
    return _fine(evidence, coarse, rough)


def _fine(evidence: Evidence, coarse: Coarse, rough: Rough) -> list[Standing]:
    """The fine look at what a rough one has left; what is held of a set pays for what it could be."""
    if not rough.places:
        return []
    found = []
    for one in fine_look(evidence, coarse, rough):
        cost = sum(cost for _, _, cost in one.suspect.held)
        found.append(replace(one, log_weight=one.log_weight + cost))
    return found


def rough_height(evidence: Evidence, standing: Standing) -> float:
    """Rough log-likelihood of one that is weighed."""
    row = standing.predicted[None]
    return float(rough_logs(evidence, row, deviations(evidence, row)).sum())


def best_of(standings: Iterable[Standing]) -> list[Standing]:
    """Each set of faults as it stands best; most likely first."""
    found: dict[tuple[frozenset[str], float], Standing] = {}
    for one in sorted(standings, key=lambda one: -one.log_weight):
        found.setdefault((frozenset(fault.spec for fault in one.suspect.faults), one.suspect.fuses), one)
    return list(found.values())


def place_of(standing: Standing) -> Place:
    """Where the unknown value of a set has been found to lie."""
    log_value = math.log(standing.value) if standing.suspect.unknown else 0.0
    return Place(0.0, 0.0, log_value, width_of(standing))


def width_of(standing: Standing) -> float:
    """Standard uncertainty of the log of the value that was looked for."""
    low, high = standing.span or (1.0, 1.0)
    return max(math.log(high / low), 1e-3) / (2 * 1.645)


def value_held(standing: Standing) -> tuple[tuple[FaultMode, float, float], ...]:
    """The value that was looked for, held where it fits, with the log of its Occam factor.

    A normal posterior of that width against a range even on a log scale (D. J. C. MacKay, Neural
    Computation 4, 1992, section 2.3; from memory).
    """
    unknown, span = standing.suspect.unknown, standing.span
    if unknown is None or unknown.severity is None or span is None:
        return ()
    whole = math.log(unknown.severity.high / unknown.severity.low)
    share = math.sqrt(2 * math.pi) * width_of(standing) / whole
    return ((unknown, standing.value, math.log(min(share, 1.0))),)


def _alike(evidence: Evidence, coarse: Coarse) -> dict[int, int]:
    """For each suspect the first that reads like it at the values tried."""
    everyone = np.ones(len(coarse.suspects), dtype=bool)
    plain, valued = zip(*(coarse.values(bench, everyone) for bench in evidence.benches), strict=True)
    blocks = np.concatenate(plain, axis=-1)[:, None], np.concatenate(valued, axis=-1)
    found: dict[int, int] = {}
    for numbers, block in zip((coarse.plain, coarse.valued), blocks, strict=True):
        first = representatives(evidence, block)
        found |= {n: numbers[one] for n, one in zip(numbers, first.tolist(), strict=True)}
    return found
