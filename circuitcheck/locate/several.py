"""Several faults at once: pairs when no single fault explains the readings, triples when no pair does.

The pairs that are solved are those that look best from what their faults do alone; if none of them will
do, the faults that explain most, and what those leave unexplained, with all others; then more of them,
and every two without an unknown value, those among them too that alone read like the fuse they blow.
Where one fault explains every reading but one, only those that :mod:`.beside` lets through are solved.
Triples are the best pairs with one more fault each: greedy, so that three faults none of whose pairs
stands out are not found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from circuitcheck.locate.beside import beside
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.joined import held_pairs, triples_of
from circuitcheck.locate.leading import LEADING, overloading, partners_of, wider, with_leading
from circuitcheck.locate.pairing import Alone, alone, likely_pairs
from circuitcheck.locate.pairsolver import PairSolver
from circuitcheck.locate.sets import best_of, value_held, weighed
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.standins import weigh_stand_ins
from circuitcheck.locate.suspects import Suspect

TRIED = 90
"""Pairs that are solved at first, in each of the two ways of judging them."""
_EXTENDED = 4
"""Pairs that triples are made of: those that stand best, besides the leading faults by twos."""


def weigh_several(evidence: Evidence, coarse: Coarse) -> list[Standing]:
    """How pairs stand, and triples where no pair explains the readings.

    :param coarse: sound and every single fault
    """
    singles = coarse.suspects
    known = alone(evidence, coarse)
    likely = likely_pairs(evidence, singles, known, TRIED)
    partners = partners_of(singles, known)
    leading = with_leading(singles, known, partners, likely)
    pairs = PairSolver(evidence, singles)
    pairs.look(likely)
    if not pairs.promising:
        pairs.look(leading)
        leading = []
    pairs.weigh()
    if leading and not pairs.explained:
        pairs.look(leading)
        pairs.weigh()
    if not pairs.explained:
        pairs.refine_all()
    if not pairs.explained:
        tried = [*likely, *with_leading(singles, known, partners, likely)]
        more = [*partners, *overloading(singles, coarse, partners)]
        pairs.look(wider(singles, known, more, tried))
        pairs.weigh()
    if pairs.found and not pairs.explained:
        pairs.join(weighed(evidence, _triples(singles, known, partners, pairs.found)))
    found = pairs.found
    return best_of([*found, *weigh_stand_ins(evidence, singles, known, found, likely)])


def weigh_beside(evidence: Evidence, coarse: Coarse, standings: Sequence[Standing]) -> list[Standing]:
    """How pairs stand, where one fault explains every reading but one: of those that could matter.

    :param coarse: sound and every single fault
    :param standings: of the faults by themselves, most likely first
    """
    known = alone(evidence, coarse)
    singles = coarse.suspects
    likely = beside(evidence, coarse, known, standings)
    if not likely:
        return []
    pairs = PairSolver(evidence, singles)
    pairs.look(likely)
    pairs.weigh()
    found = pairs.found
    return best_of([*found, *weigh_stand_ins(evidence, singles, known, found, likely)])


def _triples(
    singles: Sequence[Suspect], known: Alone, partners: Sequence[int], found: Sequence[Standing]
) -> list[Suspect]:
    """The best pairs, and the leading faults by twos, with one more fault each."""
    bases = [
        replace(one.suspect, held=(*one.suspect.held, *value_held(one))) for one in found[:_EXTENDED]
    ]
    bases += held_pairs(singles, with_leading(singles, known, partners[:LEADING], ()))
    return triples_of(bases, [singles[one] for one in partners])
