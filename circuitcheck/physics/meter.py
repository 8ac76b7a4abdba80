"""Meters: what they do to the circuit, and how wrong they may be.

Accuracy is the maker's form, so much of the reading plus so many of the last digit, and is taken as
a rectangular distribution, ``u = a / sqrt(3)`` (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.physics.branch import Array

VOLTMETER_OHM = 10e6
"""Input of a digital voltmeter [ohm] (T. R. Kuphaldt, *Lessons In Electric Circuits* I, ch. 8)."""
INLINE_OHM = 0.02
"""A meter in the lead on its 10 A input, with its leads [ohm]; common practice, no source."""
OHMMETER_EMF = 0.5
"""Open-circuit volts of an ohmmeter on its low ranges [V]; common practice, no source."""
OHMMETER_OHM = 500.0
"""Its internal resistance [ohm]: 1 mA into a short."""
OPEN_OHM = 20e6
"""Above this an ohmmeter shows OL [ohm]; common practice, no source."""
TEST_LAMP = (12.0, 5.0 / 12.0)
"""A 5 W test lamp: rated volts [V] and amps [A]; the 24 V one has the same watts."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """``+-(share of the reading + offset)``; readings are shown in steps of ``digit``."""

    share: float
    offset: float
    digit: float

    def no_better_than(self, share: float) -> Accuracy:
        """The same of a meter that is known to be off by as much as some share of a reading.

        >>> Accuracy(0.005, 0.02, 0.01).no_better_than(0.05)
        Accuracy(share=0.05, offset=0.02, digit=0.01)
        """
        return replace(self, share=max(self.share, share))

    def uncertainty(self, value: Array) -> Array:
        """Standard uncertainty at some reading, the rounding included."""
        half = self.share * np.abs(value) + self.offset
        return np.sqrt(half**2 / 3 + self.digit**2 / 12)

    def shown(self, value: float, draw: float) -> float:
        """What the meter shows, ``draw`` from -1 to 1 telling how wrong it is."""
        if math.isinf(value):
            return value
        wrong = value + draw * (self.share * abs(value) + self.offset)
        return round(wrong / self.digit) * self.digit


#: Common hand-held meters; common practice, no source. Volts allow for a probe on a dirty post.
#: Of what is seen, heard and felt, how near two are still alike; a click or a fuse is one or the other.
ACCURACY = {
    "volts": Accuracy(0.005, 0.02, 0.01),
    "drop": Accuracy(0.005, 0.005, 0.001),
    "amps": Accuracy(0.025, 0.1, 0.1),
    "inline": Accuracy(0.012, 0.03, 0.01),
    "ohms": Accuracy(0.008, 0.25, 0.1),
    "speed": Accuracy(0.02, 20.0, 10.0),
    "lamp": Accuracy(0.1, 0.02, 0.01),
    "click": Accuracy(0.0, 0.0, 0.003),
    "hear": Accuracy(0.1, 50.0, 10.0),
    "turn": Accuracy(0.2, 0.003, 0.001),
    "fuse": Accuracy(0.0, 0.0, 0.003),
}
