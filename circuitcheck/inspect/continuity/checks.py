"""The fewest checks that prove a loom: every wire through, every net apart from every other.

A net with n ends takes n - 1 checks between two points, a tree that spans it. That m nets are apart
takes ceil(log2 m) checks with clips: number the nets, and in check k clip together all nets whose
k-th binary digit is 1, against all others. Two nets differ in some digit, so each pair has been on
opposite probes once; and with fewer checks two nets would always be on the same one. (The least
number of bipartite graphs that cover a complete graph: F. Harary, D. Hsu, Z. Miller, *The biparticity
of a graph*, J. Graph Theory 1, 1977; from memory.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from circuitcheck.inspect.continuity.ohms import Check, Patch, Predictor
from circuitcheck.inspect.continuity.wiring import Wiring

COPPER_OHM = 0.2
"""Up to here a way between two ends passes for copper on a common meter [ohm]; common practice, no
source."""
SMALL_OHM = 20.0
"""Up to here a common meter's error is its offset and not its share of the reading [ohm]: 0.25 ohm
over 0.8 %, rounded down."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sheet: a check and where it is done.

    :param purpose: ``through`` (continuity), ``one way`` (a diode) or ``apart`` (separation)
    :param piece: the loom, a unit or a part
    :param plug: the plug or part at which the hands are
    """

    check: Check
    purpose: str
    piece: str
    plug: str


def part_of(end: str) -> str:
    """The part whose terminal it is."""
    return end.partition(".")[0]


def sheet_lines(drawn: Wiring, *, one_by_one: bool = False) -> list[Line]:
    """The whole sheet, piece by piece and plug by plug.

    :param one_by_one: prove separation net by net against all the rest, which names a joint at
        once, instead of by halves, which is the fewest
    """
    whole = Predictor(drawn, ()).whole
    found: list[Line] = []
    for piece, nets in drawn.pieces_with_nets().items():
        hub = _hub_order(nets)
        lines = [line for ends in nets for line in _through(whole, ends, piece, hub)]
        order = list(dict.fromkeys(line.plug for line in lines))
        lines.sort(key=lambda line: order.index(line.plug))
        found += lines + _apart(nets, piece, one_by_one)
    return found


def least(drawn: Wiring) -> tuple[int, int]:
    """The least checks for continuity and for separation, with two probes and any number of clips."""
    pieces = drawn.pieces_with_nets().values()
    through = sum(len(ends) - 1 for nets in pieces for ends in nets)
    return through, sum(math.ceil(math.log2(len(nets))) for nets in pieces)


def _hub_order(nets: Sequence[tuple[str, ...]]) -> dict[str, int]:
    """How many nets have an end at each plug: the busiest is where one probe stays."""
    count: dict[str, int] = {}
    for ends in nets:
        if len(ends) > 1:
            for part in {part_of(end) for end in ends}:
                count[part] = count.get(part, 0) + 1
    return count


def _through(whole: Patch, ends: Sequence[str], piece: str, busy: dict[str, int]) -> list[Line]:
    """A tree over the ends of one net, and both ways across each diode that parts it."""
    clusters: dict[int, list[str]] = {}
    for end in ends:
        clusters.setdefault(whole.joined[end], []).append(end)
    found = []
    hubs = {}
    for number, members in clusters.items():
        hub = max(members, key=lambda end: (busy.get(part_of(end), 0), -members.index(end)))
        hubs[number] = hub
        found += [
            Line(Check((one,), (other,)), "through", piece, part_of(hub))
            for one, other in _tree(whole, hub, members)
        ]
    for diode in whole.diodes:
        anode, cathode = (hubs.get(whole.joined[node]) for node in (diode.tail, diode.head))
        if anode and cathode and anode != cathode:
            found += [
                Line(Check(pair[:1], pair[1:], diode=True), "one way", piece, part_of(anode))
                for pair in ((anode, cathode), (cathode, anode))
            ]
    return found


def _tree(whole: Patch, hub: str, members: Sequence[str]) -> list[tuple[str, str]]:
    """Each end from one that is reached already, from the hub where that is the same."""
    reached = {hub: whole.ohms_from(hub)}
    rest = [end for end in members if end != hub]
    found = []
    while rest:
        start, end = min(
            ((start, end) for start in reached for end in rest),
            key=lambda pair: (_merit(reached[pair[0]][pair[1]][0]), pair[0] != hub),
        )
        found.append((start, end))
        reached[end] = whole.ohms_from(end)
        rest.remove(end)
    return found


def _merit(ohm: float) -> tuple[int, float]:
    """Small for a telling way between two ends.

    Copper alone first. Then small resistors, many at once rather than one by one: a joint that
    bypasses some of them takes more off a larger reading. Large ones singly, so that the meter's
    share of the reading hides no more than it must.
    """
    shown = round(ohm, 1)
    if shown <= COPPER_OHM:
        return (0, shown)
    return (1, -shown) if shown <= SMALL_OHM else (2, shown)


def _apart(nets: Sequence[tuple[str, ...]], piece: str, one_by_one: bool) -> list[Line]:
    """Separation of the nets of a piece, each net by its first end."""
    firsts = [ends[0] for ends in nets]
    if len(firsts) < 2:
        return []
    splits: list[tuple[tuple[str, ...], tuple[str, ...]]]
    if one_by_one and len(firsts) > 2:
        splits = [((end,), tuple(one for one in firsts if one != end)) for end in firsts]
    else:
        digits = math.ceil(math.log2(len(firsts)))
        splits = [
            (
                tuple(end for number, end in enumerate(firsts) if number >> digit & 1),
                tuple(end for number, end in enumerate(firsts) if not number >> digit & 1),
            )
            for digit in range(digits)
        ]
    plug = "clips" if len(firsts) > 2 else part_of(firsts[0])
    return [Line(Check(*split), "apart", piece, plug) for split in splits]
