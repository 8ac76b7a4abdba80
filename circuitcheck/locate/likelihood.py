"""How likely the readings are under each hypothesis.

Numbers are jointly normal: what varies from vehicle to vehicle moves several readings at once, the
meter's error each on its own. On top of that any one reading may be plain wrong; leaving one
reading out of a joint normal costs nothing once the inverse covariance is there (S. Sundararajan,
S. S. Keerthi, Neural Computation 13, 2001, eq. 12; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from circuitcheck.locate.evidence import MISREAD, Evidence
from circuitcheck.locate.wordings import NUMBER_NOTED
from circuitcheck.physics.branch import Array
from circuitcheck.solve.wiring import Bool

_LOG_2PI = math.log(2 * math.pi)
_NEVER = 1e-12


@dataclass(frozen=True)
class Weighed:
    """The likelihood of each row, and how it comes about.

    :param total: log-likelihood (rows,)
    :param straight: the same with no number misread (rows,)
    :param misread: chance that each reading is wrong, given the row (rows, readings)
    :param distance: how far each number is from its prediction in standard uncertainties, given
        all other readings; for words -log of their chance as a distance (rows, readings)
    :param square: of the distance of all readings together, which has the chi-square distribution if
        the row is true; less that of one reading squared it is that of all the others (rows,)
    """

    total: Array
    straight: Array
    misread: Array
    distance: Array
    square: Array


def weigh(evidence: Evidence, predicted: Array, moves: Array) -> Weighed:
    """Weigh rows of predictions.

    :param predicted: (rows, readings)
    :param moves: shift of each reading for one standard uncertainty of each latent
        (rows, readings, latents)
    """
    measured = evidence.measured
    spread = np.sqrt(np.sum(moves**2, axis=-1))
    numbers = np.isfinite(predicted) & np.isfinite(measured) & ~evidence.is_word
    missing = np.where(numbers, measured - np.where(numbers, predicted, 0.0), 0.0)
    covariance = _covariance(evidence, predicted, moves, numbers)
    joint, alone, distance, square = _joint(missing, covariance, numbers)
    wild = np.log(evidence.wild)
    others, misread, far = _others(evidence, predicted, spread, numbers)
    # One number wrong: its own density is replaced by the flat one.
    swap = np.where(numbers, math.log(MISREAD / (1 - MISREAD)) + wild - alone, -np.inf)
    everything = np.concatenate([np.zeros((len(predicted), 1)), swap], axis=1)
    top = everything.max(axis=1, keepdims=True)
    shares = np.exp(everything - top)
    norm = shares.sum(axis=1, keepdims=True)
    straight = joint + others
    total = straight + (top + np.log(norm))[:, 0]
    square = square + np.sum(np.where(numbers, 0.0, far) ** 2, axis=1)
    return Weighed(
        total,
        straight,
        np.where(numbers, shares[:, 1:] / norm, misread),
        np.where(numbers, distance, far),
        square,
    )


def precision(evidence: Evidence, predicted: Array, moves: Array) -> Array:
    """The inverse covariance of all numbers read, for one row of predictions (readings, readings).

    :param predicted: (1, readings)
    :param moves: (1, readings, latents)
    """
    numbers = np.isfinite(predicted) & np.isfinite(evidence.measured) & ~evidence.is_word
    found: Array = np.linalg.inv(_covariance(evidence, predicted, moves, numbers))[0]
    return found


def _covariance(evidence: Evidence, predicted: Array, moves: Array, numbers: Bool) -> Array:
    kept = moves * numbers[..., None]
    covariance = kept @ kept.transpose(0, 2, 1)
    meter = evidence.meter_uncertainty(np.where(numbers, predicted, 0.0))
    diagonal = np.where(numbers, meter**2, 1.0)
    index = np.arange(diagonal.shape[1])
    covariance[:, index, index] += diagonal
    return covariance


def _joint(missing: Array, covariance: Array, numbers: Bool) -> tuple[Array, Array, Array, Array]:
    """Log density of all numbers, of each given the others, their distances, and that of all squared."""
    inverse = np.linalg.inv(covariance)
    weighted = np.einsum("sij,sj->si", inverse, missing)
    _, logdet = np.linalg.slogdet(covariance)
    count = numbers.sum(axis=1)
    square = np.einsum("si,si->s", missing, weighted)
    joint = -0.5 * (square + logdet + count * _LOG_2PI)
    joint += count * math.log(1 - MISREAD)
    own = np.einsum("sii->si", inverse)
    distance = np.abs(weighted) / np.sqrt(own)
    alone = 0.5 * (np.log(own) - _LOG_2PI - distance**2)
    return joint, alone, distance, square


def _others(
    evidence: Evidence, predicted: Array, spread: Array, numbers: Bool
) -> tuple[Array, Array, Array]:
    """Words, open lines and buzzing: log chance in all, chance of a misread, distance."""
    measured = evidence.measured
    opened = np.isinf(measured) & ~evidence.is_word
    # An open line, met or missed. Beside a relay that buzzes a number says little, and who hears one
    # notes that rather than a number; but what no meter there shows, it is not.
    wild = np.where(opened, 0.05, evidence.wild)
    possible = opened | (np.abs(measured) * evidence.wild <= 1.0)
    right = np.where(np.isinf(predicted) & opened, 1.0, 0.0)
    right = np.where(np.isnan(predicted), NUMBER_NOTED * wild * possible, right)
    right[:, evidence.words] = evidence.word_chances(predicted, spread)
    chance = np.maximum((1 - MISREAD) * right + MISREAD * wild, _NEVER)
    rest = ~numbers
    total = np.sum(np.where(rest, np.log(chance), 0.0), axis=1)
    misread = np.where(rest, MISREAD * wild / chance, 0.0)
    far = np.where(rest, np.sqrt(-2 * np.log(np.maximum(right, 1e-8))), 0.0)
    return total, misread, far
