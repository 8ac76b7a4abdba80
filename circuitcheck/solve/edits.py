"""What each row of changes adds to a network: conductances and currents at the branches it alters.

A row may also stand in other states than the network: its contacts that lie differently are edits
like any other, so that a change which throws one relay of many needs no network of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import ALWAYS, Array, Condition, holds
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.network import Network
from circuitcheck.solve.wiring import Bool, Index

_WORD = 8
"""Bytes of a long number."""


class Edits:
    """The linear branches that each row alters, those it adds first.

    ``slot`` (rows, width) holds the numbers of their slots in ``changes``; ``siemens`` what they come
    to [S]; ``extra_siemens`` and ``extra_amps`` what that adds to the network [S, A]; ``adds`` where
    nothing conducted before, ``removes`` where nothing is left, ``flips`` where it is a contact that the
    row's states move and not its change.

    :param states: of every threshold in each row (rows, thresholds)
    """

    def __init__(self, network: Network, changes: Changes, states: Bool) -> None:
        self.network = network
        self.changes = changes
        slot, siemens, emf = changes.slot, changes.siemens, changes.emf
        if (states == network.state_row).all():  # what holds for one row holds for all
            if changes.condition.any():
                closed = np.array([holds(one, network.states) for one in changes.conditions])
                siemens = siemens * closed[changes.condition]
            self._compare(slot, siemens, emf, np.zeros(slot.shape, dtype=bool))
            return
        which = held(changes.conditions, network.circuit, states)
        if changes.condition.any():
            siemens = siemens * which[np.arange(len(slot))[:, None], changes.condition]
        flipped, closed = self._flipped(which)
        self._compare(
            np.concatenate([slot, flipped], axis=1),
            np.concatenate([siemens, closed], axis=1),
            np.concatenate([emf, np.zeros(flipped.shape)], axis=1),
            np.concatenate([np.zeros(slot.shape, dtype=bool), flipped != changes.none], axis=1),
        )

    def _flipped(self, which: Bool) -> tuple[Index, Array]:
        """Contacts that lie otherwise than in the network: their slots and what they come to [S]."""
        wiring, changes = self.network.wiring, self.changes
        place, closed = wiring.contact_places, which[:, wiring.contact_conditions]
        other = closed != (self.network.siemens[place] > 0)
        for column in range(changes.slot.shape[1]):
            other &= changes.slot[:, column, None] != place  # the change says how that one lies
        first, there = _packed(other)
        if not first.shape[1]:
            return first, np.zeros(first.shape)
        closes = there & closed[np.arange(len(first))[:, None], first]
        taken = place[first]
        return np.where(there, taken, changes.none), np.where(closes, wiring.siemens[taken], 0.0)

    def _compare(self, slot: Index, siemens: Array, emf: Array, flips: Bool) -> None:
        """What is different from the network, adds first."""
        was, was_amps = self.network.in_slots(len(self.changes.tail))
        # A place that a row leaves empty holds no siemens and no emf, and was nothing before.
        extra = siemens - was[slot]
        amps = siemens * emf - was_amps[slot]
        live = (extra != 0) | (amps != 0)
        adds = (siemens > 0) & (siemens == extra)
        fields: tuple[Any, ...] = slot, siemens, extra, amps, live, adds, flips
        if slot.shape[1] > 1:
            order = np.where(adds, 0, np.where(live, 1, 2))
            if np.any(order[:, 1:] < order[:, :-1]):
                first, rows = _in_order(order), np.arange(len(slot))[:, None]
                fields = tuple(one[rows, first] for one in fields)
        wide = int(np.bincount(live.nonzero()[0], minlength=1).max())
        if wide < slot.shape[1]:
            fields = tuple(one[:, :wide] for one in fields)
        slot, self.siemens, self.extra_siemens, self.extra_amps, live, self.adds, self.flips = fields
        self.slot = slot if live.all() else np.where(live, slot, self.changes.none)
        self.removes = (self.siemens == 0) & (self.extra_siemens < 0)


def holding(condition: Condition, places: Mapping[str, int], states: Bool) -> Bool:
    """In which rows of states a contact with this condition is closed; compare ``branch.holds``.

    :param places: the column of each threshold
    """
    found = np.zeros(len(states), dtype=bool)
    for alternative in condition:
        every = np.ones(len(states), dtype=bool)
        for name, wanted in alternative:
            column = states[:, places[name]]
            every &= column if wanted else ~column
        found |= every
    return found


def held(conditions: Sequence[Condition], circuit: Circuit, states: Bool) -> Bool:
    """Which conditions hold in each row of states (rows, conditions)."""
    places = {name: number for number, name in enumerate(circuit.thresholds)}
    found = np.ones((len(states), len(conditions)), dtype=bool)
    alone: list[tuple[int, int, bool]] = []
    for column, condition in enumerate(conditions):
        if condition is ALWAYS:
            continue
        if len(condition) == 1 and len(condition[0]) == 1:  # most ask for one state: all at once
            ((name, wanted),) = condition[0]
            alone.append((column, places[name], wanted))
        else:
            found[:, column] = holding(condition, places, states)
    if alone:
        columns, at, asked = np.array(alone, dtype=np.intp).T
        found[:, columns] = states[:, at] == asked
    return found


def _in_order(keys: Index) -> Index:
    """For each row the columns from the lowest key to the highest, equal ones as they stand."""
    if keys.shape[1] != 2:
        return np.argsort(keys, axis=1, kind="stable")
    swap = (keys[:, 0] > keys[:, 1]).astype(np.intp)
    return np.stack([swap, 1 - swap], axis=1)


def _packed(wanted: Bool) -> tuple[Index, Bool]:
    """For each row the columns that are wanted, first to last, and which of those are there."""
    each = wanted.sum(axis=1)
    there = np.arange(int(np.max(each, initial=0))) < each[:, None]
    first = np.zeros(there.shape, dtype=np.intp)
    first[there] = np.nonzero(wanted)[1]
    return first, there


def alike_rows(states: Bool) -> list[Index]:
    """Rows in groups of equal states, the most numerous first."""
    if not states.size or np.all(states == states[0]):
        return [np.arange(len(states))]
    packed = np.packbits(states, axis=1)
    if packed.shape[1] <= _WORD:  # a number sorts sooner than a row
        wide = np.zeros((len(states), _WORD), dtype=np.uint8)
        wide[:, : packed.shape[1]] = packed
        label = wide.view(np.uint64)[:, 0]
    else:
        number: dict[bytes, int] = {}
        marks = packed.view(f"V{packed.shape[1]}")[:, 0].tolist()
        label = np.array([number.setdefault(one, len(number)) for one in marks], dtype=np.uint64)
    order = np.argsort(label, kind="stable")
    label = label[order]
    ends = [0, *(np.flatnonzero(label[1:] != label[:-1]) + 1).tolist(), len(order)]
    return sorted((order[one:end] for one, end in pairwise(ends)), key=len, reverse=True)
