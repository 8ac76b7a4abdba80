"""Looked-at readings: where one word ends and the next begins."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from circuitcheck.physics.branch import Array


@dataclass(frozen=True, slots=True)
class Scale:
    """Words for a rising quantity, the limits between them, and how surely an eye tells them.

    :param limits: between one word and the next, one fewer than the words
    :param blur: standard deviation of a person's limit, as a share of it
    """

    words: tuple[str, ...]
    limits: tuple[float, ...]
    blur: float

    def word(self, value: float) -> str:
        """The word for a value."""
        return self.words[int(np.searchsorted(np.array(self.limits), value, side="right"))]

    def chances(self, value: Array, spread: Array) -> Array:
        """The chance of each word (..., words) for a value with a standard uncertainty."""
        limits = np.array(self.limits)
        width = np.sqrt(spread[..., None] ** 2 + (self.blur * limits) ** 2)
        below = normal((limits - value[..., None]) / width)
        edges = np.concatenate(
            [np.zeros_like(below[..., :1]), below, np.ones_like(below[..., :1])], axis=-1
        )
        found: Array = np.diff(edges, axis=-1)
        return found


#: Fan speed as a share of the motor's speed straight on a resting battery.
#: Common practice, no source.
SPEED = Scale(("off", "slow", "fast"), (0.08, 0.86), 0.05)
#: Lamp power as a share of its rated power. Common practice, no source.
LAMP = Scale(("dark", "dim", "bright"), (0.03, 0.5), 0.15)
#: A relay either pulls in or does not.
CLICK = Scale(("silent", "clicks"), (0.5,), 0.02)

#: Speed of the shaft, likewise. Common practice, no source.
HEAR = Scale(("silent", "runs"), (0.08,), 0.1)
#: Torque that turns a fan by hand, as a share of its sound friction. Common practice, no source.
TURN = Scale(("loose", "free", "stiff", "stuck"), (0.1, 2.0, 40.0), 0.2)
#: A fuse has blown or has not.
FUSE = Scale(("whole", "blown"), (0.5,), 0.02)

SCALES = {"speed": SPEED, "lamp": LAMP, "click": CLICK, "hear": HEAR, "turn": TURN, "fuse": FUSE}
OPEN_LINE = "OL"
"""What an ohmmeter shows when nothing joins its leads."""


def normal(x: Array) -> Array:
    """Cumulative normal distribution, to 2e-7 (Abramowitz & Stegun 7.1.26)."""
    z = np.abs(x) / math.sqrt(2)
    t = 1 / (1 + 0.3275911 * z)
    poly = t * (
        0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))
    )
    upper = 0.5 * poly * np.exp(-z * z)
    return np.where(x >= 0, 1 - upper, upper)
