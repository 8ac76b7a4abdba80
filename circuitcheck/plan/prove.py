"""After the repair: the shortest set of readings that shows the circuit sound again.

Every fan is seen to run at every speed it has in use. Beyond that a fault is shown to be absent by a
reading that it would move out of its band. What was suspected before the repair counts most;
everything else that could be wrong counts by its usual chance, because a repair can leave a plug half
in, and there may have been two faults.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.expect.expected import ExpectedReading, expected_reading
from circuitcheck.harness.readings import Sheet
from circuitcheck.locate.conclude import merged
from circuitcheck.locate.repair import by_unit
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Verdict
from circuitcheck.notebook import text_table
from circuitcheck.physics.branch import Array
from circuitcheck.plan.asked import to_write
from circuitcheck.plan.candidates import Candidate, opening, tool_of
from circuitcheck.plan.hypotheses import Hypotheses
from circuitcheck.plan.jobs import jobs
from circuitcheck.plan.planner import Options, Planner
from circuitcheck.plan.shown import out_of_band
from circuitcheck.solve.wiring import Bool

_SUSPECTED = 0.6
"""Share of the proof that goes to what was suspected before the repair; common practice, no source."""
_ENOUGH = 0.998
"""Share of what the readings can show at all, at which the proof is complete."""
_SLOW = 0.0005
"""Share that a reading must rule out for each of its minutes."""
_EQUAL = 0.02
"""Share by which two readings may differ in worth and count as equal."""


@dataclass(frozen=True, slots=True)
class ProofTest:
    """One set-up of the proof with the readings to take in it.

    :param minutes: opening included
    :param access: what has to be opened first
    """

    name: str
    title: str
    setup: tuple[str, ...]
    readings: tuple[ExpectedReading, ...]
    minutes: float
    cautions: tuple[str, ...]
    access: tuple[str, ...]
    lead: Lead | None

    def __str__(self) -> str:
        rows = [(one.name, one.shown, one.band) for one in self.readings]
        table = text_table(("reading", "a sound circuit", "95 % between"), rows)
        return f"{self.title}: {'; '.join(self.setup)}\n\n{table}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "name": self.name,
            "title": self.title,
            "setup": list(self.setup),
            "readings": [one.to_dict() for one in self.readings],
            "minutes": self.minutes,
            "cautions": list(self.cautions),
            "access": list(self.access),
            "lead": asdict(self.lead) if self.lead else None,
        }


@dataclass(frozen=True, slots=True)
class Proof:
    """The readings to take after the repair, and what they leave unproven.

    :param repaired: the units that the first sheet said to put right first
    :param suspected: the faults that it left likeliest
    :param shown: share of all faults, by their usual chance, that the readings rule out
    :param not_shown: likeliest faults that no reading of these can show
    :param judgement: the verdict on the readings taken after the repair, if there are any
    :param to_write: lines for the sheet of readings, to be filled in
    :param missing: readings of the proof that were not taken after the repair, if any were
    """

    repaired: tuple[str, ...]
    suspected: tuple[str, ...]
    tests: tuple[ProofTest, ...]
    minutes: float
    shown: float
    not_shown: tuple[str, ...]
    to_write: str
    judgement: Verdict | None = None
    missing: tuple[str, ...] = ()

    def __str__(self) -> str:
        done = f" after repair of {', '.join(self.repaired)}" if self.repaired else ""
        share = f"{self.shown:.0%}".replace("%", " %")
        head = f"proof{done}: {self.minutes:.0f} minutes, which rule out {share} of all faults"
        judged = [str(self.judgement)] if self.judgement else []
        return "\n\n".join([head, *map(str, self.tests), *judged])

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "repaired": list(self.repaired),
            "suspected": list(self.suspected),
            "tests": [one.to_dict() for one in self.tests],
            "minutes": self.minutes,
            "shown": round(self.shown, 4),
            "not_shown": list(self.not_shown),
            "to_write": self.to_write,
            "judgement": self.judgement.to_dict() if self.judgement else None,
            "missing": list(self.missing),
        }


def prove(planner: Planner, before: Sheet, after: Sheet | None, options: Options) -> Proof:
    """The proof for what a sheet pointed to; with a second sheet, the judgement of it."""
    known = planner.usual
    _, every = planner.locator.weigh(before)
    standings = merged(every)
    suspected = {one.suspect.lasting_spec for one in standings[:3] if one.suspect.faults}
    weights = _weights(known, suspected)
    marks = _what_shows(planner, options)
    own = _weights(known, suspected, share=1.0)
    chosen, seen = _cover(planner, weights, own, marks, jobs(planner, [one for one, _ in marks]))
    chosen = _own_path_first(chosen, marks, own)
    tests = tuple(_told_all(planner, chosen, options.opened))
    unseen = np.flatnonzero(np.logical_not(seen) & (weights > 0))
    by_suspect = np.bincount(
        known.row_suspect[unseen], known.weights[unseen], minlength=len(known.suspects)
    )
    order = [int(n) for n in np.argsort(-by_suspect)[:5] if by_suspect[n] > 0]
    faulty = np.array([bool(known.suspects[n].faults) for n in known.row_suspect])
    share = float(known.weights[seen & faulty].sum() / known.weights[faulty].sum())
    repaired = _first_repair(standings)
    judged = _as_it_stands(before, repaired, after)
    judgement = planner.locator.locate(judged) if judged is not None else None
    done = tuple(dict.fromkeys([*before.put_right, *repaired]))
    return Proof(
        repaired,
        tuple(sorted(suspected)),
        tests,
        sum(one.minutes for one in tests),
        share,
        tuple(known.suspects[n].spec for n in order),
        to_write(planner.harness, chosen, done),
        judgement,
        _missing(chosen, after),
    )


def _first_repair(standings: Sequence[Standing]) -> tuple[str, ...]:
    """What a sheet says to put right first, as ``next`` says it; nothing where the wiring is sound."""
    logs = np.array([one.log_weight for one in standings])
    chances = by_unit(standings, np.exp(logs - logs.max()))
    first = max(chances, key=lambda unit: chances[unit])
    return tuple(first.split(" and ")) if first else ()


def _as_it_stands(before: Sheet, repaired: Iterable[str], after: Sheet | None) -> Sheet | None:
    """The sheet taken after the repair; where it does not say what was put right, all that was to be."""
    if after is None:
        return None
    done = (*before.put_right, *(after.put_right or repaired))
    return replace(after, put_right=tuple(dict.fromkeys(done)))


def _missing(chosen: list[tuple[Candidate, list[int]]], after: Sheet | None) -> tuple[str, ...]:
    """What the proof asks for and a sheet does not hold."""
    if after is None:
        return ()
    taken = {(repr(after.setups[one.test].setup), repr(one.observation)) for one in after.readings}
    return tuple(
        f"{candidate.name}: {candidate.observations[place][0]}"
        for candidate, places in chosen
        for place in places
        if (repr(candidate.setup), repr(candidate.observations[place][1])) not in taken
    )


def _own_path_first(
    chosen: list[tuple[Candidate, list[int]]], marks: list[tuple[Candidate, Bool]], own: Array
) -> list[tuple[Candidate, list[int]]]:
    """The same tests and readings; of what takes as long as another, what shows the repaired part's own
    path comes first.

    :param own: what ruling out each row of what was suspected is worth
    """
    moved = {one.name: rows for one, rows in marks}

    def rank(item: tuple[Candidate, list[int]]) -> tuple[float, float, float]:
        candidate, places = item
        shown = float(own[moved[candidate.name][:, places].any(axis=1)].sum())
        return candidate.setup.engine.celsius, candidate.minutes_for(places), -round(shown, 9)

    def by_own(candidate: Candidate, places: list[int]) -> list[int]:
        shown = own @ moved[candidate.name]
        return sorted(places, key=lambda place: -round(float(shown[place]), 9))

    return [(one, by_own(one, places)) for one, places in sorted(chosen, key=rank)]


def _weights(known: Hypotheses, suspected: set[str], share: float = _SUSPECTED) -> Array:
    """What ruling out each row is worth.

    :param share: that goes to what was suspected
    """
    faulty = np.array([bool(known.suspects[n].faults) for n in known.row_suspect])
    named = np.array([known.suspects[n].spec in suspected for n in known.row_suspect])
    usual = np.where(faulty, known.weights, 0.0)
    found: Array = (1 - share) * usual / usual.sum()
    if named.any():
        found = found + share * np.where(named, usual, 0.0) / usual[named].sum()
    return found


def _what_shows(planner: Planner, options: Options) -> list[tuple[Candidate, Bool]]:
    """For each set-up which rows move which of its readings out of band (rows, readings)."""
    known = planner.usual
    found = []
    for one in planner.candidates:
        if one.setup.swap or not one.needs <= options.tools or one.name in options.skip:
            continue
        values = planner.usual_values(one)
        base = values[known.sound_row]
        moved = np.zeros(values.shape, dtype=bool)
        for place, (_, observation) in enumerate(one.observations):
            if tool_of(observation) in ("eyes", *options.tools):
                moved[:, place] = out_of_band(
                    planner.harness, observation, float(base[place]), values[:, place]
                )
        found.append((one, moved))
    return found


def _cover(
    planner: Planner,
    weights: Array,
    own: Array,
    marks: list[tuple[Candidate, Bool]],
    begun: dict[int, list[int]],
) -> tuple[list[tuple[Candidate, list[int]]], Bool]:
    """The jobs, and greedily the reading that rules out most for its minutes; the engine warms up once.

    :param own: what ruling out each row of what was suspected is worth; it decides between equals
    """
    can = np.any(np.concatenate([moved for _, moved in marks], axis=1), axis=1)
    goal = _ENOUGH * weights[can].sum()
    seen = np.zeros(len(weights), dtype=bool)
    chosen = {number: list(places) for number, places in begun.items()}
    opened = {
        one
        for number, places in begun.items()
        for place in places
        for one in _needs(planner, marks[number][0], place)
    }
    for number, places in begun.items():
        seen |= marks[number][1][:, places].any(axis=1)
    while weights[seen].sum() < goal:
        best: tuple[float, float, int, int] | None = None
        for number, (candidate, moved) in enumerate(marks):
            new = (weights * ~seen) @ moved
            shown = own @ moved
            for place in np.argsort(-new)[:3].tolist():
                needs = _needs(planner, candidate, place)
                taken = chosen.get(number, [])
                more = candidate.minutes_for([*taken, place])
                more -= candidate.minutes_for(taken) if taken else 0.0
                worth = float(new[place]) / (more + opening(planner.harness, needs - opened))
                if new[place] > 0 and (best is None or _better((worth, float(shown[place])), best)):
                    best = (worth, float(shown[place]), number, place)
        if best is None or best[0] < _SLOW:
            break
        _, _, number, place = best
        candidate, moved = marks[number]
        chosen.setdefault(number, []).append(place)
        opened |= _needs(planner, candidate, place)
        seen |= moved[:, place]
    order = sorted(chosen, key=lambda number: marks[number][0].setup.engine.celsius)
    return [(marks[number][0], sorted(chosen[number])) for number in order], seen


def _better(one: tuple[float, float], best: tuple[float, ...]) -> bool:
    """Whether a reading is worth more, or as much and shows more of what was suspected."""
    if abs(one[0] - best[0]) <= _EQUAL * best[0]:
        return one[1] > best[1]
    return one[0] > best[0]


def _needs(planner: Planner, candidate: Candidate, place: int) -> set[str]:
    """What must be open to take one reading of a set-up."""
    return {*candidate.access, *candidate.opens(planner.harness, place)}


def _told_all(
    planner: Planner, chosen: list[tuple[Candidate, list[int]]], opened: frozenset[str]
) -> Iterator[ProofTest]:
    """The tests in their order, what is opened for one staying open for the next."""
    for candidate, places in chosen:
        needs = {one for place in places for one in _needs(planner, candidate, place)}
        yield _told(planner, candidate, places, tuple(sorted(needs - opened)))
        opened |= needs


def _told(
    planner: Planner, candidate: Candidate, places: list[int], access: tuple[str, ...]
) -> ProofTest:
    bench = planner.bench(candidate)
    read = [candidate.observations[place][1] for place in places]
    run = bench.run([{}])
    spread = np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1))
    readings = tuple(
        expected_reading(
            planner.harness,
            *candidate.observations[place],
            float(run.values[0, place]),
            float(spread[place]),
        )
        for place in places
    )
    return ProofTest(
        candidate.name,
        candidate.title,
        tuple(setup_lines(candidate.setup)),
        readings,
        candidate.minutes_for(places) + opening(planner.harness, access),
        tuple(cautions_for(planner.harness, candidate.setup, read)),
        access,
        candidate.lead,
    )
