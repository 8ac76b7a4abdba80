"""Before testing stops: the cheap readings in which a second fault would show beside the first.

A vehicle with one fault is likelier than others to have a second: age and water spare nothing, an
earlier repair may have been a poor one. While the first fault is there it hides some of them, and those
only the proof after the repair can show; but what it cannot hide may be looked for before it is said
what to put right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Predictor, Suspect, Trial
from circuitcheck.physics.branch import Array
from circuitcheck.plan.asked import NextTest, told_alone
from circuitcheck.plan.bundle import REST
from circuitcheck.plan.candidates import Candidate, tool_of
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner, same_reading
from circuitcheck.plan.shown import out_of_band
from circuitcheck.plan.stands import minutes_now, stand_of
from circuitcheck.solve.wiring import Bool

SECOND_SHARE = 0.1
"""Chance that a vehicle with one fault has a second one in the same circuit; common practice,
no source."""
RETURNED = 240.0
"""Minutes lost on a vehicle that is handed back with a fault left in it; common practice, no source."""
_MOST = 5.0
"""Minutes that such a test may take; common practice, no source."""
_READINGS = 4
"""Readings of one such test at the most."""


def second_look(planner: Planner, sheet: Sheet, outlook: Outlook, options: Options) -> NextTest | None:
    """The test that shows most of the second faults that would not have shown so far, for its minutes.

    Its worth is the minutes that a second fault found saves; none is taken that costs more.
    """
    first = outlook.leader
    if first is None or not first.suspect.faults or first.suspect.passing:
        return None
    seconds, predictor = _beside(planner, first)
    chances = np.array([one.weight for one in seconds])
    chances /= chances.sum()
    taken = {same_reading(sheet.setups[one.test].setup, one.observation) for one in sheet.readings}
    left: list[tuple[Candidate, list[int], Bool]] = []
    for one in planner.candidates:
        places = _places(planner, sheet, one, outlook.opened, options)
        if not places:
            continue
        moved = _moved(planner, predictor, one)
        old = [place for place in places if same_reading(one.setup, one.observations[place][1]) in taken]
        chances[moved[:, old].any(axis=1)] = 0.0  # these would have shown
        left.append((one, [place for place in places if place not in old], moved))
    best: tuple[float, Candidate, list[int]] | None = None
    for one, places, moved in left:
        chosen = _most_telling(planner, sheet, one, moved, chances, places)
        if not chosen:
            continue
        minutes = _minutes(planner, sheet, one, chosen)
        shown = float(chances[moved[:, chosen].any(axis=1)].sum())
        worth = SECOND_SHARE * RETURNED * shown - minutes
        if minutes <= _MOST and worth > 0 and (best is None or worth > best[0]):
            best = worth, one, chosen
    return _told(planner, sheet, outlook, options, *best[1:]) if best else None


def _beside(planner: Planner, first: Standing) -> tuple[list[Suspect], Predictor]:
    """Every other single fault beside the first one, with its chance beforehand; what predicts them.

    The first row is the first fault alone; unknown values lie in the middle of their ranges.
    """
    faults = first.suspect.faults
    held = (
        *first.suspect.held,
        *((one, first.value, 0.0) for one in faults if one.severity and one is first.suspect.unknown),
    )
    alone = replace(first.suspect, held=held)
    taken = {fault.where for fault in faults}
    seconds = {
        one.spec: one
        for one in planner.usual.suspects
        if one.faults and one.faults[0].where not in taken and not one.passing
    }
    both = [replace(alone, faults=(*faults, *one.faults), weight=one.weight) for one in seconds.values()]
    suspects = [alone, *both]
    trials = [
        Trial(n, np.array([one.unknown.typical if one.unknown else 0.0]))
        for n, one in enumerate(suspects)
    ]
    return both, Predictor(planner.harness, suspects, trials)


def _moved(planner: Planner, predictor: Predictor, one: Candidate) -> Bool:
    """Which second faults move which readings of a set-up out of the band (faults, readings)."""
    values = predictor.run(planner.bench(one)).values
    columns = [
        out_of_band(planner.harness, observation, float(values[0, place]), values[1:, place])
        for place, (_, observation) in enumerate(one.observations)
    ]
    return np.stack(columns, axis=1)


def _places(
    planner: Planner, sheet: Sheet, one: Candidate, open_now: frozenset[str], options: Options
) -> list[int]:
    """Readings of a set-up that can be taken as things stand and cost little."""
    if one.setup.swap or not one.needs <= options.tools or one.name in options.skip:
        return []
    if _minutes(planner, sheet, one, (0,)) > _MOST or not open_now.issuperset(one.access):
        return []
    return [
        place
        for place, (_, observation) in enumerate(one.observations)
        if tool_of(observation) in ("eyes", *options.tools)
        and open_now.issuperset(one.opens(planner.harness, place))
    ]


def _minutes(planner: Planner, sheet: Sheet, one: Candidate, places: Sequence[int]) -> float:
    """Minutes of some readings from how the vehicle stands."""
    return minutes_now(planner.harness, stand_of(sheet), one, places)


def _most_telling(
    planner: Planner,
    sheet: Sheet,
    one: Candidate,
    moved: Bool,
    chances: Array,
    left: Sequence[int],
) -> list[int]:
    """Greedily the readings that show most second faults, for as long as each is worth its minutes."""
    chosen: list[int] = []
    unseen = chances.copy()
    while left and len(chosen) < _READINGS:
        shown = unseen @ moved[:, left]
        best = left[int(np.argmax(shown))]
        more = _minutes(planner, sheet, one, [*chosen, best]) - _minutes(planner, sheet, one, chosen)
        if SECOND_SHARE * RETURNED * float(shown.max()) <= more:
            break
        chosen.append(best)
        unseen = np.where(moved[:, best], 0.0, unseen)
        left = [place for place in left if place != best]
    return chosen


def _told(
    planner: Planner,
    sheet: Sheet,
    outlook: Outlook,
    options: Options,
    candidate: Candidate,
    places: list[int],
) -> NextTest:
    """The test in words; of the first fault it tells nothing new."""
    known, minutes = outlook.known, _minutes(planner, sheet, candidate, places)
    nothing = np.ones((len(known.weights), 1))
    planned = Planned(candidate, tuple(places), minutes, (), nothing, (REST,))
    values = known.predicted(known.predictor(), planner.bench(candidate))
    return told_alone(planner, outlook, planned, values, options.price)
