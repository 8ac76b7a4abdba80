"""The next test, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from circuitcheck.expect.expected import number
from circuitcheck.harness.readings import PUT_RIGHT, SYMPTOM, Sheet
from circuitcheck.harness.write import flow
from circuitcheck.locate.verdict import Verdict
from circuitcheck.notebook import text_table
from circuitcheck.physics.branch import Array
from circuitcheck.plan.again import once_more
from circuitcheck.plan.asked import SURE, NextTest, told
from circuitcheck.plan.jobs import unseen
from circuitcheck.plan.planner import Options, Outlook, Planner
from circuitcheck.plan.problem import Index
from circuitcheck.plan.symptom import only_symptom
from circuitcheck.plan.thorough import second_look

_OTHERS = 2
"""Next best tests that are named."""
_NAMED = 0.005
"""Chance from which a unit is named as what else it may be."""
_LEFT_OPEN = 0.05
"""Chance from which a unit is named beside sound wiring."""
_NO_COMPLAINT = (
    "What is said is what a sound circuit does, and nothing has been tested. Say what is "
    "wrong, or give a sheet of readings."
)
_SECOND = "a second fault that the first does not hide would show here."


@dataclass(frozen=True, slots=True)
class Next:
    """What to do now.

    :param done: whether more testing cannot pay
    :param why: why it pays or does not
    :param test: None if nothing that could be tested tells anything
    :param others: the next best
    :param verdict: on the readings so far; None before the first, or if a symptom alone shows nothing
    """

    done: bool
    why: str
    test: NextTest | None
    others: tuple[NextTest, ...]
    verdict: Verdict | None

    def __str__(self) -> str:
        if self.test is None:
            return f"No more tests: {self.why}"
        one = self.test
        sound = [reading.sound for reading in one.readings]
        rows = [
            (each.name, each.word or f"{number(each.expected or 0.0)} {each.unit}") for each in sound
        ]
        table = text_table(("reading", "a sound circuit"), rows)
        return f"{one.title}, {one.minutes:g} minutes: {'; '.join(one.setup)}\n\n{table}\n\n{self.why}"

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "done": self.done,
            "why": self.why,
            "test": self.test.to_dict() if self.test else None,
            "others": [one.to_dict() for one in self.others],
            "verdict": self.verdict.to_dict() if self.verdict else None,
        }


def next_test(planner: Planner, sheet: Sheet, options: Options) -> Next:
    """The test to do after the readings of a sheet, which may be empty.

    Before it stops, a reading on which all rests is taken once more.
    """
    outlook = planner.outlook(sheet, options)
    verdict, advice = outlook.verdict, outlook.advice
    if verdict is not None and verdict.verdict == "sound" and only_symptom(sheet):
        verdict = None  # what a customer says is no test of anything
    if advice.stop or not advice.choices:
        if sheet.readings and verdict is None:
            return Next(True, _NO_COMPLAINT, None, (), None)
        repeated = once_more(planner, sheet, outlook, options)
        if repeated is not None:
            return Next(False, repeated.why, repeated.test, (), verdict)
        second = second_look(planner, sheet, outlook, options) if options.thorough and verdict else None
        if second is not None:
            return Next(False, f"{_why_stop(outlook)} Before that: {_SECOND}", second, (), verdict)
        why = _why_stop(outlook) + _not_seen(unseen(planner, sheet)) + _afterwards(outlook)
        return Next(True, why, None, (), verdict)
    first, *others = [
        _noting(told(planner, outlook, one), sheet) for one in advice.choices[: 1 + _OTHERS]
    ]
    why = (
        f"if it is done, {math.ceil(advice.choices[0].ahead)} minutes are to be expected from here to "
        f"the cure, wrong repairs counted; {advice.loss:.0f} if you stop here."
    )
    return Next(False, why, first, tuple(others), verdict)


def _noting(test: NextTest, sheet: Sheet) -> NextTest:
    """With a symptom that no sheet has yet among the lines to write down."""
    if sheet.symptom is None or sheet.symptom.file:
        return test
    return replace(test, to_write=f"{SYMPTOM}: {flow(sheet.symptom.text)}\n{test.to_write}")


def _why_stop(outlook: Outlook) -> str:
    known = outlook.known
    chances: Array = np.bincount(known.unit, known.weights).astype(np.float64)
    order = np.argsort(-chances)
    if outlook.verdict is not None and outlook.verdict.verdict == "sound":
        return _sound(known.units, chances, order)
    unit, chance = known.units[int(order[0])], float(chances[order[0]])
    first = "the wiring is sound" if not unit else f"repair or renew {unit}"
    if len(known.units) == 1 or chance >= SURE:
        return f"No further test is needed: {first} ({chance:.0%} sure).".replace("%", " %", 1)
    rest = ", ".join(
        f"{known.units[int(n)] or 'nothing'} ({chances[n]:.0%})".replace("%", " %")
        for n in order[1:4]
        if chances[n] > _NAMED
    )
    shares = f"{first} ({chance:.0%})".replace("%", " %")
    if not outlook.advice.choices:
        return (
            f"No test that can be done tells these apart without cutting the loom open: {shares}, "
            f"then {rest}."
        )
    return f"Another test would cost more than it saves: {shares} first; if that does not help, {rest}."


def _sound(units: Sequence[str], chances: Array, order: Index) -> str:
    """What cannot be told from sound wiring is not put right."""
    left = [
        f"{units[int(n)]} ({chances[n]:.0%})".replace("%", " %")
        for n in order[:4]
        if units[int(n)] and chances[n] > _LEFT_OPEN
    ]
    rest = f"; too slight to be told from it: {', '.join(left)}" if left else ""
    return f"No further test pays: the wiring is sound as far as can be measured{rest}."


def _not_seen(jobs: Sequence[str]) -> str:
    """What a second fault may still hide behind."""
    if not jobs:
        return ""
    return (
        f" Not seen to run yet: {', '.join(jobs)}; 'circuitcheck prove' asks for it after the "
        "repair, and a second fault would show there."
    )


def _afterwards(outlook: Outlook) -> str:
    """What to do if the repair has not cured it."""
    verdict = outlook.verdict
    if verdict is None or verdict.verdict == "sound" or not outlook.known.units:
        return ""
    chances = np.bincount(outlook.known.unit, outlook.known.weights)
    unit = outlook.known.units[int(np.argmax(chances))]
    if not unit:
        return ""
    done = [*verdict.put_right, *unit.split(" and ")]
    return (
        f" If the repair changes nothing at all, what was read still holds: add '{PUT_RIGHT}: "
        f"{flow(list(dict.fromkeys(done)))}' to this sheet. If it changes something and does not "
        "cure it, begin a new sheet with that line."
    )
