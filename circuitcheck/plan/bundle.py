"""Which readings to take together in one set-up: the most telling first, others while they pay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from circuitcheck.physics.branch import Array
from circuitcheck.plan.candidates import READING
from circuitcheck.plan.outcomes import Outcomes
from circuitcheck.plan.problem import Index, entropy, kinds_of

_READINGS = 3
"""Readings of one planned test at the most."""
_OUTCOMES = 9
"""Joint outcomes of a test that are told apart at the most."""
_RARE = 0.005
"""Chance below which an outcome is not told apart."""
Cell = tuple[int, ...]
"""A joint outcome: the number of the outcome of each reading, in the order of the readings."""
REST: Cell = ()
"""All that is not told apart."""
ELSE = -1
"""In place of the outcomes of the first readings of a cell: none of those that are told apart."""
_TELLS = 1e-3
"""Gain that the first reading of a test must bring [bit]."""
_PAYS = 0.02
"""Gain that one more reading in a set-up must bring [bit a minute]."""
_EQUAL = 0.05
"""Share by which two readings may differ in what they tell and count as equal."""


@dataclass(frozen=True)
class Bundle:
    """Readings taken together.

    :param chosen: their numbers
    :param joint: chance of each joint outcome under each row (rows, outcomes)
    :param cells: the joint outcomes, ``REST`` last
    """

    chosen: tuple[int, ...]
    joint: Array
    cells: tuple[Cell, ...]


def best_bundle(
    unit: Index, weights: Array, outcomes: Sequence[Outcomes], alike: Index | None = None
) -> Bundle:
    """Greedily: the reading that tells most, then others for as long as they pay.

    Most suspects give the same in one set-up, so that they are taken together first.

    :param unit: number of the unit of each row
    :param weights: chance of each row
    :param outcomes: of each reading there is
    :param alike: for each row the row of ``outcomes`` that holds for it; its own unless told
    """
    first, kind = kinds_of(np.concatenate([one.chances for one in outcomes], axis=1))
    kind = kind if alike is None else kind[alike]
    member = np.zeros((int(unit.max()) + 1, len(first)))
    np.add.at(member, (unit, kind), weights)
    small = [replace(one, chances=one.chances[first]) for one in outcomes]
    found = Bundle((), np.ones((len(first), 1)), (REST,))
    so_far = 0.0
    while len(found.chosen) < _READINGS:
        left = [n for n in range(len(small)) if n not in found.chosen]
        if not left:
            break
        gains = _gains(member, found.joint, [small[n] for n in left])
        best = _plainest([small[n] for n in left], gains - so_far)
        more = float(gains[best]) - so_far
        if more < (_PAYS * READING if found.chosen else _TELLS):
            break
        found = _joined(member.sum(axis=0), found, left[best], small[left[best]])
        so_far = float(gains[best])
    return Bundle(found.chosen, found.joint[kind], found.cells)


def _plainest(outcomes: Sequence[Outcomes], more: Array) -> int:
    """The reading that tells most; of those that tell as much, the one that is plainest to take.

    :param more: what each tells beyond the readings chosen before [bit] (readings,)
    """
    equal = np.flatnonzero(more >= more.max() - _EQUAL * abs(more.max()))
    return min(map(int, equal), key=lambda n: (outcomes[n].effort, -float(more[n])))


def _gains(member: Array, joint: Array, outcomes: Sequence[Outcomes]) -> Array:
    """What some outcomes tell of the unit together with those of each of some readings [bit].

    :param member: chance of each unit with each kind of row (units, kinds)
    :param joint: chance of each outcome that is there under each kind (kinds, outcomes)
    :returns: mutual information of each reading (readings,)
    """
    member = member[member.any(axis=1)] / member.sum()
    before = (member[:, None, :] * joint.T[None]).reshape(-1, member.shape[1])
    columns = np.concatenate([one.chances for one in outcomes], axis=1)
    both = (before @ columns).reshape(len(member), joint.shape[1], -1)
    told = entropy(both.sum(axis=0)).sum(axis=0) - entropy(both).sum(axis=(0, 1))
    starts = np.cumsum([0, *(one.chances.shape[1] for one in outcomes)])[:-1]
    found: Array = np.add.reduceat(told, starts) + entropy(member.sum(axis=1)).sum()
    return np.maximum(found, 0.0)


def _product(one: Array, other: Array) -> Array:
    return (one[:, :, None] * other[:, None, :]).reshape(len(one), -1)


def _joined(weights: Array, known: Bundle, number: int, more: Outcomes) -> Bundle:
    """With one more reading; what hardly ever comes is put together."""
    both = _product(known.joint, more.chances)
    before = [cell or (ELSE,) * len(known.chosen) for cell in known.cells]
    cells = [(*cell, one) for cell in before for one in range(more.chances.shape[1])]
    chance = weights @ both
    common = np.sort(np.argsort(-chance, kind="stable")[:_OUTCOMES])
    common = common[chance[common] > _RARE]
    rest = 1.0 - both[:, common].sum(axis=1, keepdims=True)
    joint = np.concatenate([both[:, common], np.maximum(rest, 0.0)], axis=1)
    return Bundle((*known.chosen, number), joint, (*(cells[n] for n in common), REST))
