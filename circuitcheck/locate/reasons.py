"""Why: the readings that speak for a suspect, against sound and against the runner-up."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from circuitcheck.expect.expected import ExpectedReading, number, said
from circuitcheck.harness.model import Harness
from circuitcheck.locate.evidence import Evidence
from circuitcheck.locate.ledger import Ledger
from circuitcheck.locate.standing import Standing

_TELLING = 1.5
"""Difference in log chance from which a reading speaks for one against another."""


def reasons_for(
    ledger: Ledger, number: int, expected: Sequence[ExpectedReading], runner_up: int | None
) -> tuple[str, ...]:
    """Two or three sentences: what was read where sound and this suspect differ, and the runner-up.

    :param number: the suspect's row in the ledger
    :param expected: what a sound circuit gives for every reading
    """
    evidence, standing = ledger.evidence, ledger.standings[number]
    if not standing.suspect.faults:
        return (_sound_reason(evidence, expected),)
    own = ledger.logs[number]
    sentences = [
        _sentence(evidence, standing, column, f"a sound circuit gives {_band(expected[column])}")
        for column in _telling(own - ledger.sound_logs[number], 2)
        if _speaks(
            evidence, column, show(evidence, standing.predicted[column], column), _band(expected[column])
        )
    ]
    if runner_up is not None and runner_up != number and ledger.standings[runner_up].suspect.faults:
        other = ledger.standings[runner_up]
        for column in _telling(own - ledger.logs[runner_up], 1):
            would = show(evidence, other.predicted[column], column)
            if _speaks(evidence, column, show(evidence, standing.predicted[column], column), would):
                sentences.append(
                    _sentence(evidence, standing, column, f"{other.suspect.spec} would give {would}")
                )
    against = int(np.argmax(standing.distance))
    if standing.distance[against] > 3:
        seen = evidence.seen[against].reading
        sentences.append(
            f"Against it: '{seen.name}' in {seen.test} read {seen.shown}, where it "
            f"would give {show(evidence, standing.predicted[against], against)}."
        )
    return tuple(dict.fromkeys(sentences))


def _speaks(evidence: Evidence, column: int, would: str, other: str) -> bool:
    """Whether a reading can be given as a reason: of two that give one and the same word neither has
    it for itself, though their chances may differ."""
    return not evidence.seen[column].reading.word or would != other


def by_heat(harness: Harness) -> bool:
    """Whether the temperature of the coolant switches anything in a circuit."""
    return any(part.kind == "thermoswitch" for part in harness.parts.values())


def _sound_reason(evidence: Evidence, expected: Sequence[ExpectedReading]) -> str:
    count = len(expected)
    tests = len(evidence.benches)
    outside = "engine, coolant, thermostat, " if by_heat(evidence.harness) else ""
    return (
        f"All {count} readings of {tests} test{'s' if tests > 1 else ''} can come from a sound circuit; "
        f"what lies outside these tests ({outside}an idle contact) is not judged."
    )


def _telling(gain: np.ndarray, most: int) -> list[int]:
    # Beyond some point more is not better; of equals the first on the sheet is the easiest to follow.
    order = np.argsort(-np.minimum(gain, 8.0), kind="stable")[:most]
    return [int(column) for column in order if gain[column] > _TELLING]


def _sentence(evidence: Evidence, standing: Standing, column: int, other: str) -> str:
    seen = evidence.seen[column].reading
    would = show(evidence, standing.predicted[column], column)
    spec = standing.suspect.spec
    return f"'{seen.name}' in {seen.test} read {seen.shown}: {spec} gives {would}, {other}."


def show(evidence: Evidence, value: float, column: int) -> str:
    """A predicted value as it would be noted."""
    if math.isnan(value):
        return "a relay that buzzes"
    return said(evidence.harness, evidence.seen[column].reading.observation, value)


def _band(one: ExpectedReading) -> str:
    if one.word:
        return one.word
    if one.expected is None or one.low is None or one.high is None:
        return "nothing steady"
    return f"{number(one.low)} to {number(one.high)} {one.unit}"
