"""What a meter reads on the loom as wired: a band for each check.

Only the nets that a change touches are worked out again, so that thousands of mistakes can be held
against a sheet in a second.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from circuitcheck.inspect.continuity.wiring import OPEN_FROM, Change, Element, Wiring
from circuitcheck.physics.meter import ACCURACY

Band = tuple[float, float]
OPEN: Band = (OPEN_FROM, math.inf)
CONDUCTS: Band = (-1.0, OPEN_FROM)
ANYTHING: Band = (-1.0, math.inf)
SIGMAS = 4.0
"""Width of a band in standard uncertainties of the parts. A sheet has a hundred checks, and 4 is
passed by one sound part in 16000 (normal distribution, two-sided)."""
JUNCTION: Band = (0.3, 0.95)
"""Forward volts of one diode on the diode range of a meter, Schottky to silicon [V]; common
practice, no source."""
NO_JUNCTION: Band = (-0.05, 0.25)
"""What that range shows across plain copper, or through a coil at its milliamp [V]."""


@dataclass(frozen=True, slots=True)
class Check:
    """One placing of the probes; several points on a side are clipped together.

    :param red: points on the red probe
    :param black: points on the black one
    :param diode: on the diode range, reading volts; else ohms
    """

    red: tuple[str, ...]
    black: tuple[str, ...]
    diode: bool = False

    @property
    def points(self) -> frozenset[frozenset[str]]:
        """Its two sides, whichever is red."""
        return frozenset((frozenset(self.red), frozenset(self.black)))

    @property
    def clipped(self) -> bool:
        """Whether points are clipped together; then only open or not counts."""
        return len(self.red) + len(self.black) > 2


@dataclass(slots=True)
class Patch:
    """Some nets after a change: which nodes still hang together, and by what.

    :param joined: for each node the number of its cluster, diodes not counted
    """

    links: dict[str, list[tuple[str, Element]]]
    diodes: list[Element]
    joined: dict[str, int] = field(default_factory=dict)
    trees: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Number the clusters."""
        for start in self.links:
            if start in self.joined:
                continue
            number, ends, nodes = len(self.trees), 0, 0
            self.joined[start] = number
            stack = [start]
            while stack:
                node = stack.pop()
                nodes += 1
                for other, _ in self.links[node]:
                    ends += 1
                    if other not in self.joined:
                        self.joined[other] = number
                        stack.append(other)
            self.trees.append(ends == 2 * (nodes - 1))

    def ohms_from(self, start: str, end: str = "") -> dict[str, tuple[float, float]]:
        """Resistance and its variance from one node to every other of its cluster.

        :param end: a node of the cluster that is enough
        """
        if not self.trees[self.joined[start]]:
            return self._meshed(start)
        found = {start: (0.0, 0.0)}
        stack = [start]
        while stack and end not in found:
            node = stack.pop()
            ohm, variance = found[node]
            for other, one in self.links[node]:
                if other not in found:
                    found[other] = (ohm + one.ohm, variance + one.spread**2)
                    stack.append(other)
        return found

    def _meshed(self, start: str) -> dict[str, tuple[float, float]]:
        """The same where there is more than one way: from the inverse of the conductance matrix."""
        cluster = self.joined[start]
        nodes = [start, *(n for n, one in self.joined.items() if one == cluster and n != start)]
        place = {node: number for number, node in enumerate(nodes)}
        matrix = np.zeros((len(nodes), len(nodes)))
        spread = 0.0
        for node in nodes:
            for other, one in self.links[node]:
                siemens = 1 / max(one.ohm, 1e-6)
                matrix[place[node], place[node]] += siemens
                matrix[place[node], place[other]] -= siemens
                spread = max(spread, one.spread / max(one.ohm, 1e-6))
        inverse = np.linalg.inv(matrix[1:, 1:])
        ohms = dict(zip(nodes[1:], np.diag(inverse).tolist(), strict=True))
        # The relative spread of a network of resistances is at most that of the worst one in it.
        return {start: (0.0, 0.0)} | {node: (ohm, (spread * ohm) ** 2) for node, ohm in ohms.items()}

    def forward_junctions(self, red: str, black: str) -> int | None:
        """How many diodes the meter's current passes from red to black; None if it cannot."""
        reached, count = {self.joined[red]}, 0
        while True:
            if self.joined[black] in reached:
                return count
            onward = {self.joined[one.head] for one in self.diodes if self.joined[one.tail] in reached}
            if onward <= reached:
                return None
            reached |= onward
            count += 1

    def across_diodes(self, cluster: int) -> set[int]:
        """All clusters that hang together with one when diodes are counted."""
        found = {cluster}
        while True:
            more = {
                self.joined[node]
                for one in self.diodes
                for node in (one.tail, one.head)
                if {self.joined[one.tail], self.joined[one.head]} & found
            }
            if more <= found:
                return found
            found |= more


class Predictor:
    """The bands of a list of checks, on the loom as drawn and after any change."""

    def __init__(self, drawn: Wiring, checks: Sequence[Check]) -> None:
        self.drawn = drawn
        self.checks = tuple(checks)
        self._of_net: list[list[str]] = [[] for _ in range(len(drawn.nets))]
        for key, one in drawn.elements.items():
            self._of_net[drawn.net_of[one.tail]].append(key)
        self._nodes: list[list[str]] = [[] for _ in range(len(drawn.nets))]
        for node, net in drawn.net_of.items():
            self._nodes[net].append(node)
        self._touching: list[list[int]] = [[] for _ in range(len(drawn.nets))]
        for number, check in enumerate(self.checks):
            for net in {drawn.net_of[end] for end in (*check.red, *check.black)}:
                self._touching[net].append(number)
        self._clips = [self._sides_by_net(check) if check.clipped else ({}, {}) for check in self.checks]
        self.whole = self._patch(range(len(drawn.nets)), {})
        self.sound = [self.band_in(check, self.whole) for check in self.checks]

    def touched(self, change: Change) -> frozenset[int]:
        """The nets that a change touches."""
        found = set()
        for key, new in change.items():
            for one in (new, self.drawn.elements.get(key)):
                if one is not None:
                    for node in (one.tail, one.head):
                        net = self.drawn.net_of.get(node)
                        if net is not None:
                            found.add(net)
        return frozenset(found)

    def patch(self, change: Change) -> Patch:
        """The touched nets as they become."""
        return self._patch(self.touched(change), change)

    def inside(self, nets: frozenset[int], change: Change) -> Change:
        """As much of a change as has an end in some nets."""
        net_of, drawn = self.drawn.net_of, self.drawn.elements
        found = {}
        for key, new in change.items():
            one = drawn.get(key) if new is None else new
            if one is None or net_of.get(one.tail) in nets or net_of.get(one.head) in nets:
                found[key] = new
        return found

    def patch_in(self, nets: frozenset[int], change: Change) -> Patch:
        """Some nets as they become by a change that is all inside them."""
        return self._patch(nets, change)

    def touching(self, nets: Iterable[int]) -> list[int]:
        """The checks that have a probe on one of these nets."""
        return list({number for net in nets for number in self._touching[net]})

    def bands(self, change: Change) -> dict[int, Band]:
        """The bands of the checks that a change can alter, by their number."""
        nets = self.touched(change)
        patch = self._patch(nets, change)
        return {number: self.band_in(self.checks[number], patch) for number in self.touching(nets)}

    def bands_within(self, net: int, numbers: Iterable[int]) -> dict[int, Band]:
        """What some checks with clips read through one net alone, as drawn."""
        patch = self._patch([net], {})
        return {number: self.clipped_within(number, [net], patch) for number in numbers}

    def band(self, check: Check, change: Change) -> Band:
        """The band of any one check after a change."""
        return self.band_in(check, self.patch(change))

    def _patch(self, nets: Iterable[int], change: Change) -> Patch:
        drawn = self.drawn.elements
        links: dict[str, list[tuple[str, Element]]] = {}
        diodes: list[Element] = []
        elements = [drawn[key] for net in nets for key in self._of_net[net] if key not in change]
        elements += [one for one in change.values() if one is not None]
        for net in nets:
            for node in self._nodes[net]:
                links[node] = []
        for one in elements:
            tail = links.setdefault(one.tail, [])
            head = links.setdefault(one.head, [])
            if one.diode:
                diodes.append(one)
            elif one.tail != one.head:
                tail.append((one.head, one))
                head.append((one.tail, one))
        return Patch(links, diodes)

    def band_in(self, check: Check, patch: Patch) -> Band:
        """The band of a check with some nets as a patch has them and the others as drawn."""
        return self._clipped(check, patch) if check.clipped else self.between(check, patch)

    def between(self, check: Check, patch: Patch) -> Band:
        """The same for a check between two points."""
        red, black = check.red[0], check.black[0]
        if red not in patch.joined or black not in patch.joined:
            return self._apart(check, patch)
        if check.diode:
            return _volts(patch.forward_junctions(red, black))
        if patch.joined[red] == patch.joined[black]:
            return _ohms(*patch.ohms_from(red, black)[black])
        return ANYTHING if _by_diode(patch, red, black) else OPEN

    def _apart(self, check: Check, patch: Patch) -> Band:
        """One of the two points is on a net that the change does not touch, or both are."""
        inside = [one for one in (*check.red, *check.black) if one in patch.joined]
        return OPEN if inside else self.band_in(check, self.whole)

    def _sides_by_net(self, check: Check) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
        sides: tuple[dict[int, list[str]], dict[int, list[str]]] = ({}, {})
        for side, ends in zip(sides, (check.red, check.black), strict=True):
            for end in ends:
                side.setdefault(self.drawn.net_of[end], []).append(end)
        return sides

    def clipped_within(self, number: int, nets: Iterable[int], patch: Patch) -> Band:
        """What a check with clips reads through the nets of a patch alone."""
        joined = patch.joined
        sides = [
            {joined[end] for net in nets if net in side for end in side[net]}
            for side in self._clips[number]
        ]
        if not sides[0].isdisjoint(sides[1]):
            return CONDUCTS
        if not patch.diodes:
            return OPEN
        wide = [{more for one in side for more in patch.across_diodes(one)} for side in sides]
        return ANYTHING if wide[0] & wide[1] else OPEN

    def _clipped(self, check: Check, patch: Patch) -> Band:
        sides = [
            {
                ("here", patch.joined[end]) if end in patch.joined else ("there", self.whole.joined[end])
                for end in side
            }
            for side in (check.red, check.black)
        ]
        if sides[0] & sides[1]:
            return CONDUCTS
        wide = (
            [
                {
                    (where, other)
                    for where, one in side
                    for other in (patch if where == "here" else self.whole).across_diodes(one)
                }
                for side in sides
            ]
            if patch.diodes or self.whole.diodes
            else sides
        )
        return ANYTHING if wide[0] & wide[1] else OPEN


def _by_diode(patch: Patch, one: str, other: str) -> bool:
    return bool(patch.diodes) and patch.joined[other] in patch.across_diodes(patch.joined[one])


def meter_error(ohm: float) -> float:
    """The most that a reading can be off [ohm]: half a digit for itself, half one for the leads.

    The share is of what the meter sees, the leads included (an ohm at most, common practice).
    """
    meter = ACCURACY["ohms"]
    return meter.share * (ohm + 1.0) + meter.offset + meter.digit


def _ohms(ohm: float, variance: float) -> Band:
    """What the meter may show for a resistance [ohm]: its own error and the spread of the parts."""
    wide = meter_error(ohm) + SIGMAS * math.sqrt(variance)
    return (ohm - wide, ohm + wide)


def _volts(junctions: int | None) -> Band:
    if junctions is None:
        return OPEN
    return (JUNCTION[0] * junctions, JUNCTION[1] * junctions) if junctions else NO_JUNCTION


def meets(measured: Band, expected: Band) -> bool:
    """Whether a reading and a prediction have anything in common."""
    return measured[0] <= expected[1] and expected[0] <= measured[1]
