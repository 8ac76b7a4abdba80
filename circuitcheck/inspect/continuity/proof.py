"""What a sheet has proven, and the checks that would prove the rest.

Taken with an explanation (or with the drawing, if nothing is off): ends that hang together must have
read so, and nets that are apart must have stood on opposite probes of a check that read open.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from circuitcheck.inspect.continuity.mistakes import Overlay
from circuitcheck.inspect.continuity.ohms import Band, Check, Predictor, meets
from circuitcheck.inspect.continuity.wiring import OPEN_FROM

Readings = Sequence[tuple[Check, Band]]
"""Checks that were done, and what they read."""


@dataclass(frozen=True)
class Missing:
    """What is not proven.

    :param wires: wires that could be missing without any check of the sheet reading otherwise
    :param through: pairs of ends that should hang together and have not read so
    :param apart: pairs of ends, one from each of two nets not proven apart
    :param checks: the checks that would prove all of it
    """

    wires: tuple[str, ...]
    through: tuple[tuple[str, str], ...]
    apart: tuple[tuple[str, str], ...]
    checks: tuple[Check, ...]

    def __bool__(self) -> bool:
        """Whether anything is missing."""
        return bool(self.wires or self.through or self.apart)


def missing(predictor: Predictor, readings: Readings, overlay: Overlay) -> Missing:
    """What the readings have not proven of the loom with some changes."""
    drawn = predictor.drawn
    patch = predictor.patch(overlay)
    cluster = {
        end: (end in patch.joined, patch.joined.get(end, predictor.whole.joined[end]))
        for end in drawn.pieces
        if not drawn.empty(end) or end in patch.joined
    }
    blobs = _read_together(cluster, readings)
    through = _not_read_through(cluster, blobs)
    apart, checks = [], [Check((one,), (other,)) for one, other in through]
    open_checks = [check for check, read in readings if read[0] >= OPEN_FROM and not check.diode]
    for ends in _by_piece(predictor, cluster):
        firsts: dict[tuple[bool, int], str] = {}
        for end in ends:
            firsts.setdefault(cluster[end], end)
        pairs = {frozenset(pair) for pair in itertools.combinations(firsts, 2)}
        pairs -= _read_apart(cluster, open_checks) | _by_diodes(predictor, overlay, pairs)
        apart += [_ordered(firsts, pair) for pair in pairs]
        checks += [
            Check(tuple(firsts[one] for one in red), tuple(firsts[one] for one in black))
            for red, black in _halves(list(firsts), pairs)
        ]
    return Missing(
        _unread_wires(predictor, readings, overlay), tuple(through), tuple(sorted(apart)), tuple(checks)
    )


def _read_together(ends: Iterable[str], readings: Readings) -> dict[str, str]:
    """For each end the first one of those it has read through to."""
    root = {end: end for end in ends}

    def find(end: str) -> str:
        while root[end] != end:
            end = root[end]
        return end

    for check, read in readings:
        if check.clipped or check.diode or read[1] >= OPEN_FROM:
            continue
        if check.red[0] in root and check.black[0] in root:
            root[find(check.black[0])] = find(check.red[0])
    return {end: find(end) for end in root}


def _not_read_through(
    cluster: dict[str, tuple[bool, int]], blobs: dict[str, str]
) -> list[tuple[str, str]]:
    found = []
    first: dict[tuple[bool, int], str] = {}
    linked: set[str] = set()
    for end, number in cluster.items():
        start = first.setdefault(number, end)
        if blobs[end] != blobs[start] and blobs[end] not in linked:
            found.append((start, end))
            linked.add(blobs[end])
    return found


def _by_piece(predictor: Predictor, ends: Iterable[str]) -> list[list[str]]:
    found: dict[str, list[str]] = {}
    for end in ends:
        found.setdefault(predictor.drawn.pieces[end], []).append(end)
    return list(found.values())


_Pairs = set[frozenset[tuple[bool, int]]]


def _read_apart(cluster: dict[str, tuple[bool, int]], checks: Iterable[Check]) -> _Pairs:
    return {
        frozenset((cluster[one], cluster[other]))
        for check in checks
        for one in check.red
        for other in check.black
        if one in cluster and other in cluster
    }


def _by_diodes(predictor: Predictor, overlay: Overlay, pairs: _Pairs) -> _Pairs:
    """Pairs with a diode from one to the other; that is proven by reading it both ways."""
    found: _Pairs = set()
    for here, side in ((True, predictor.patch(overlay)), (False, predictor.whole)):
        if side.diodes:
            for pair in pairs:
                numbers = [number for where, number in pair if where is here]
                if len(numbers) == 2 and numbers[1] in side.across_diodes(numbers[0]):
                    found.add(pair)
    return found


def _ordered(firsts: dict[tuple[bool, int], str], pair: frozenset[tuple[bool, int]]) -> tuple[str, str]:
    one, other = sorted(firsts[number] for number in pair)
    return one, other


def _halves(
    nets: Sequence[tuple[bool, int]], pairs: _Pairs
) -> list[tuple[list[tuple[bool, int]], list[tuple[bool, int]]]]:
    """Ways of clipping that put both of each pair on opposite probes once; few, found greedily."""
    left = set(pairs)
    found = []
    while left:
        red: list[tuple[bool, int]] = []
        black: list[tuple[bool, int]] = []
        for net in nets:
            if not any(net in pair for pair in left):
                continue
            gains = [sum(frozenset((net, other)) in left for other in side) for side in (red, black)]
            (
                red
                if gains[1] > gains[0] or (gains[0] == gains[1] and len(red) <= len(black))
                else black
            ).append(net)
        found.append((red, black))
        left -= {frozenset((one, other)) for one in red for other in black}
    return found


def _unread_wires(predictor: Predictor, readings: Readings, overlay: Overlay) -> tuple[str, ...]:
    """Wires without which every check that was done would read the same."""
    found = []
    for wire in predictor.drawn.harness.wires:
        if overlay.get(wire, wire) is None:
            continue
        without = {**overlay, wire: None}
        nets = predictor.touched(without)
        near = [
            check
            for check, _ in readings
            if any(predictor.drawn.net_of[end] in nets for end in (*check.red, *check.black))
        ]
        if all(meets(predictor.band(check, without), predictor.band(check, overlay)) for check in near):
            found.append(wire)
    return tuple(found)


def never_read(predictor: Predictor, lines: Sequence[Check]) -> tuple[str, ...]:
    """Wires that a whole sheet cannot prove: another way runs beside them, or an end is loose."""
    sound = [(check, predictor.band(check, {})) for check in lines]
    return _unread_wires(predictor, sound, {})
