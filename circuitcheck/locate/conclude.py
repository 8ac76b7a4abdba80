"""From standings to a verdict: probabilities, groups, the word for it, reasons."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.expect.expected import UNITS, ExpectedReading, expected_reading, number
from circuitcheck.harness.readings import RUNS
from circuitcheck.locate.absurd import words_for
from circuitcheck.locate.culprits import culprits_of
from circuitcheck.locate.evidence import DOUBTED, Evidence
from circuitcheck.locate.hinges import hinges
from circuitcheck.locate.ledger import Ledger
from circuitcheck.locate.reasons import by_heat, reasons_for
from circuitcheck.locate.renewed import words_for as words_on
from circuitcheck.locate.repair import SURE, by_unit, covering, fuses_of, unit_of
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.summary import Standpoint, summary_of
from circuitcheck.locate.verdict import Estimate, ReadingResult, SuspectResult, Verdict, Word
from circuitcheck.physics.branch import Array

ILL_FIT = 1e-3
"""Chance of readings lying farther off, below which a suspect does not explain them."""
DOUBTFUL_FIT = 0.02
"""The same from which a fault that comes and goes is not asked for."""
_SHOWN_FROM = 1e-4
_REASONED = 6
"""Suspects that reasons are given for, besides those of the first group."""
_NEGLIGIBLE = 14.0
"""Below the leader by this, on a log scale, a suspect is not spoken of."""


def explains(standing: Standing, *, every: bool = False) -> bool:
    """Whether a suspect accounts for all readings but perhaps one.

    :param every: for all of them, with none misread
    """
    count = len(standing.distance)
    if every:
        doubted = bool(np.any(standing.misread > DOUBTED))
        return not doubted and _tail(standing.square, count) > DOUBTFUL_FIT
    if _tail(standing.square, count) > ILL_FIT:
        return True
    # One wild reading among at least four others that agree is a misreading, not a riddle.
    worst = float(standing.distance.max())
    rest = max(standing.square - worst**2, 0.0)
    return count >= 5 and worst > 3 and _tail(rest, count - 1) > ILL_FIT


def rest_fits(standing: Standing) -> bool:
    """Whether all readings but the one farthest off lie no farther than chance leaves them."""
    rest = max(standing.square - float(standing.distance.max()) ** 2, 0.0)
    return _tail(rest, len(standing.distance) - 1) > DOUBTFUL_FIT


def _tail(square: float, count: int) -> float:
    """Chance that a chi-square variable exceeds a value (Wilson & Hilferty 1931)."""
    if count < 1:
        return 1.0
    spread = 2 / (9 * count)
    z = ((square / count) ** (1 / 3) - (1 - spread)) / math.sqrt(spread)
    return 0.5 * math.erfc(z / math.sqrt(2))


def conclude(evidence: Evidence, standings: Sequence[Standing]) -> Verdict:
    """The verdict from all standings, most likely first."""
    everyone = merged(standings)
    sound = next(one for one in everyone if not one.suspect.faults)  # always among them
    expected = sound_readings(evidence, sound)
    standings = [one for one in everyone if one.log_weight > everyone[0].log_weight - _NEGLIGIBLE]
    chances = _chances(standings)
    ledger = Ledger(evidence, standings, sound)
    groups = ledger.groups()
    units = by_unit(standings, chances)
    order = sorted(range(len(standings)), key=lambda n: (groups[n], -chances[n]))
    leader = standings[order[0]]
    judged = _readings(evidence, expected, leader)
    off = tuple(
        f"'{one.name}' in {one.test} read {one.shown}, where it gives {one.expected_word}"
        for one in judged
        if not one.fits and one.expected_word
    )
    readings = tuple(_with_absurd(evidence, judged))
    doubted = _doubted(evidence, readings)
    culprits = culprits_of(standings, chances, groups)
    point = Standpoint(
        _word(standings, groups, units, off),
        standings,
        chances,
        groups,
        units,
        covering(standings, chances),
        tuple(f"{one.test}: {one.name}" for one, times in doubted if times == 1),
        tuple(f"{one.test}: {one.name}, {one.shown}" for one, times in doubted if times > 1),
        hinges(evidence, standings, max(units, key=lambda one: units[one])),
        by_heat(evidence.harness),
        off,
        culprits,
    )
    return Verdict(
        evidence.harness.name,
        point.word,
        _listed(ledger, chances, groups, order, expected),
        readings,
        _summary(evidence, point, leader),
        tuple(f"{one.test}: {one.name}" for one, _ in doubted),
        point.repair,
        point.hinges,
        evidence.put_right,
        culprits,
    )


def _chances(standings: Sequence[Standing]) -> Array:
    logs = np.array([one.log_weight for one in standings])
    chances = np.exp(logs - logs.max())
    found: Array = chances / chances.sum()
    return found


def _listed(
    ledger: Ledger,
    chances: Array,
    groups: Sequence[int],
    order: Sequence[int],
    expected: Sequence[ExpectedReading],
) -> tuple[SuspectResult, ...]:
    """The suspects that are shown, with reasons for the first of them.

    :param order: the rows of the ledger by group, then by chance
    """
    kept = [n for n in order if chances[n] > _SHOWN_FROM or groups[n] == 1]
    runner_up = next((n for n in order if groups[n] == 2), None)
    return tuple(
        _result(
            ledger.standings[n],
            float(chances[n]),
            groups[n],
            reasons_for(ledger, n, expected, runner_up)
            if groups[n] == 1 or n in kept[:_REASONED]
            else (),
        )
        for n in kept
    )


def _doubted(evidence: Evidence, readings: Sequence[ReadingResult]) -> list[tuple[ReadingResult, int]]:
    """The readings that are likely to be wrong, and how often each was taken."""
    taken = {(one.reading.test, one.reading.name): one.times for one in evidence.seen}
    return [(one, taken.get((one.test, one.name), 1)) for one in readings if one.misread > DOUBTED]


def _summary(evidence: Evidence, point: Standpoint, leader: Standing) -> str:
    """What cannot be, what is wrong, and what was put right before."""
    taken = {(one.reading.test, one.reading.name) for one in evidence.seen}
    left_out = any((one.test, one.name) not in taken for one, _ in evidence.absurd)
    parts = (
        words_for(evidence.absurd, left_out=left_out),
        summary_of(point),
        words_on(evidence.put_right, [one.replace for one in leader.suspect.faults], fuses_of(leader)),
    )
    return " ".join(one for one in parts if one)


def merged(standings: Sequence[Standing]) -> list[Standing]:
    """One standing for each suspect that was looked at in several ways."""
    found: dict[str, Standing] = {}
    for one in standings:
        other = found.get(one.suspect.spec)
        if other is None:
            found[one.suspect.spec] = one
        else:
            both = float(np.logaddexp(one.log_weight, other.log_weight))
            suspect = replace(other.suspect, weight=other.suspect.weight + one.suspect.weight)
            found[one.suspect.spec] = replace(other, suspect=suspect, log_weight=both)
    return sorted(found.values(), key=lambda one: -one.log_weight)


def _word(
    standings: Sequence[Standing], groups: Sequence[int], units: dict[str, float], off: Sequence[str]
) -> Word:
    """The verdict in a word.

    :param off: looks that a sound circuit does not give; with some, sound must be likelier than not. Of
        numbers one in twenty lies outside its band in a sound circuit
    """
    first = [one for one, group in zip(standings, groups, strict=True) if group == 1]
    if not explains(first[0]):
        return "unexplained"
    if any(not one.suspect.faults for one in first) and (not off or units[""] > 0.5):
        return "sound"
    return "located" if units[unit_of(first[0])] >= SURE else "narrowed"


def _result(standing: Standing, chance: float, group: int, reasons: tuple[str, ...]) -> SuspectResult:
    suspect = standing.suspect
    estimate = None
    unknown = suspect.unknown
    if unknown is not None and standing.span is not None and unknown.severity is not None:
        low, high = standing.span
        inside = min(max(standing.value, low), high)
        estimate = Estimate(inside, low, high, unknown.severity.unit)
    return SuspectResult(
        suspect.spec,
        " + ".join(fault.where for fault in suspect.faults),
        " + ".join(fault.mode for fault in suspect.faults) or "none",
        unit_of(standing),
        chance,
        group,
        estimate,
        reasons,
        "; ".join(fault.remedy for fault in suspect.faults),
        standing.seen_in,
        standing.gone_in,
        standing.as_ohm,
    )


def sound_readings(evidence: Evidence, sound: Standing) -> list[ExpectedReading]:
    """What a sound circuit gives for every reading."""
    return [
        expected_reading(
            evidence.harness,
            seen.reading.name,
            seen.reading.observation,
            float(sound.predicted[column]),
            float(sound.spread[column]),
        )
        for column, seen in enumerate(evidence.seen)
    ]


def _readings(
    evidence: Evidence, expected: Sequence[ExpectedReading], leader: Standing
) -> list[ReadingResult]:
    found = []
    for column, (seen, sound) in enumerate(zip(evidence.seen, expected, strict=True)):
        reading = seen.reading
        measured: float | str = reading.word or reading.value
        if isinstance(measured, float) and math.isinf(measured):
            measured = "OL"
        if reading.word:
            fits = reading.word == sound.word or (reading.word == RUNS and sound.word != "off")
        elif sound.expected is None:
            fits = math.isinf(reading.value)
        else:
            fits = _inside(reading.value, sound)
        found.append(
            ReadingResult(
                reading.test,
                reading.name,
                measured,
                sound.expected,
                sound.low,
                sound.high,
                fits,
                sound.unit,
                round(float(leader.misread[column]), 4),
                reading.shown,
                sound.word,
            )
        )
    return found


def _with_absurd(evidence: Evidence, found: list[ReadingResult]) -> list[ReadingResult]:
    """The readings that were left out among the others of their tests."""
    there = {(one.test, one.name) for one in found}
    found = found + [
        ReadingResult(
            one.test,
            one.name,
            one.value,
            None,
            None,
            None,
            False,
            UNITS[one.observation.kind],
            1.0,
            one.shown,
        )
        for one, _ in evidence.absurd
        if (one.test, one.name) not in there
    ]
    order = list(dict.fromkeys(one.test for one in found))
    return sorted(found, key=lambda one: order.index(one.test))


def _inside(value: float, sound: ExpectedReading) -> bool:
    """Whether a value lies in a band, or in the band as it is printed, which is rounded."""
    low = -math.inf if sound.low is None else min(sound.low, float(number(sound.low)))
    high = math.inf if sound.high is None else max(sound.high, float(number(sound.high)))
    return low <= value <= high
