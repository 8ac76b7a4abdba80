"""What each suspect predicts for each reading, beside what was read."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.values import rough_logs
from circuitcheck.physics.branch import Array

_APART = 1.2
"""Standard uncertainties of meter and vehicle together from which two predictions differ."""
_WORDS_APART = 0.25
"""The same for the chance of a word."""
_TEN_TO_ONE = math.log(10.0)
"""Less than this against a suspect, and the readings have not parted it from another; on the scale of
H. Jeffreys more than this is strong evidence (*Theory of Probability*, appendix B; from memory)."""


class Ledger:
    """All suspects that are still spoken of; rows the suspects, columns the readings.

    :param standings: how each suspect stands
    :param sound: how the sound circuit stands
    """

    def __init__(self, evidence: Evidence, standings: Sequence[Standing], sound: Standing) -> None:
        self.evidence = evidence
        self.standings = standings
        self.predicted = np.array([one.predicted for one in standings])
        self.spread = np.array([one.spread for one in standings])
        self.meter = evidence.meter_uncertainty(self.predicted)
        self.logs = rough_logs(evidence, self.predicted, np.hypot(self.meter, self.spread))
        """Log chance of each reading under each suspect, every reading on its own."""
        flat = np.tile(sound.predicted, (len(standings), 1))
        width = np.hypot(evidence.meter_uncertainty(flat), self.spread)
        self.sound_logs = rough_logs(evidence, flat, width)
        """The same for the sound circuit, with each suspect's spread."""
        self._words = self._chances_of_words()

    def _chances_of_words(self) -> Array:
        found = np.zeros(self.predicted.shape)
        found[:, self.evidence.words] = self.evidence.word_chances(self.predicted, self.spread)
        return found

    def groups(self) -> list[int]:
        """For each suspect the number of its group, from the top down.

        A group is what differs from its first by less than meters and vehicles do, or what the
        readings speak against less than ten to one. Sound is never taken in for the second
        reason; a set of more faults only if all in all less than ten to one is against it, since
        one fault more nearly always fits a little better.
        """
        standing = np.array([one.log_weight for one in self.standings])
        count = np.array([len(one.suspect.faults) for one in self.standings])
        evidence = np.array([one.log_evidence for one in self.standings])
        faulty = np.array([bool(one.suspect.faults) for one in self.standings])
        number = np.zeros(len(self.standings), dtype=int)
        group = 0
        for head in range(len(number)):
            if number[head]:
                continue
            group += 1
            weak = faulty & faulty[head] & (evidence > evidence[head] - _TEN_TO_ONE)
            likely = (count <= count[head]) | (standing > standing[head] - _TEN_TO_ONE)
            number[(number == 0) & (self._like(head) | weak) & likely] = group
            number[head] = group
        return [int(one) for one in number]

    def _like(self, head: int) -> Array:
        """Which suspects these readings cannot tell from one of them."""
        mine, others = self.predicted[head], self.predicted
        both = np.isfinite(mine) & np.isfinite(others)
        same_kind = (np.isinf(mine) == np.isinf(others)) & (np.isnan(mine) == np.isnan(others))
        with np.errstate(invalid="ignore"):
            apart = np.abs(mine - others)
        meter = np.maximum(self.meter, self.meter[head])
        close = apart <= _APART * np.hypot(meter, np.minimum(self.spread, self.spread[head]))
        words = np.array([seen.is_word and seen.scale is not None for seen in self.evidence.seen])
        alike = np.abs(self._words - self._words[head]) <= _WORDS_APART
        found: Array = np.where(both, np.where(words, alike, close), same_kind).all(axis=1)
        return found
