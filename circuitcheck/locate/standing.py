"""How one suspect stands after a weighing."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from circuitcheck.locate.suspects import Suspect
from circuitcheck.physics.branch import Array


@dataclass(frozen=True)
class Standing:
    """How one suspect stands.

    :param log_weight: log of chance beforehand times likelihood
    :param value: of its unknown where it fits best
    :param span: 5 % and 95 % points of the unknown value
    :param predicted: readings there; ``spread`` their standard uncertainty, vehicle only
    :param misread: chance that each reading is wrong
    :param distance: of each reading, in standard uncertainties given all others
    :param square: of the distance of all readings together, chi-square if the suspect is right
    :param blown: fuses that its faults have blown in use, before the first test
    :param seen_in: of a fault that comes and goes, the tests that met it; ``gone_in`` those that did not
    :param as_ohm: of the tests that met it as a bad contact, each with its resistance [ohm]
    """

    suspect: Suspect
    log_weight: float
    value: float
    span: tuple[float, float] | None
    predicted: Array
    spread: Array
    misread: Array
    distance: Array
    square: float = 0.0
    blown: frozenset[str] = frozenset()
    seen_in: tuple[str, ...] = ()
    gone_in: tuple[str, ...] = ()
    as_ohm: tuple[tuple[str, float], ...] = ()

    @property
    def log_evidence(self) -> float:
        """Log of the likelihood alone: what the readings say, whatever its chance beforehand."""
        return self.log_weight - log_chance(self.suspect)

    def of(self, other: Suspect, blown: frozenset[str]) -> Standing:
        """How another suspect stands that predicts the same."""
        moved = self.log_evidence + log_chance(other)
        return replace(self, suspect=other, log_weight=moved, blown=blown)


def log_chance(suspect: Suspect) -> float:
    """Log of the chance beforehand; very small for one that cannot be, so that it can be added up."""
    return math.log(max(suspect.weight, 1e-300))
