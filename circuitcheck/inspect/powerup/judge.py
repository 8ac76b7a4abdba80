"""Readings judged as they come in: go on, or stop and why.

A step is as expected while every reading is what sound looms give. Where one is not, all readings up to
there go to :mod:`circuitcheck.locate`, for a loom that has never been in use. If by that the loom may be
sound nevertheless, a reading was misread and is taken again. A lamp brighter than it should be, or more
current than one sound loom in ten thousand draws, stops in any case; where all else speaks for a sound
loom, what is told is what does that in this step (:mod:`~circuitcheck.inspect.powerup.alarm`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.inspect.powerup.alarm import Cause, causes
from circuitcheck.inspect.powerup.off import Off, a_little_off, off_reading
from circuitcheck.inspect.powerup.parting import Parting, parting
from circuitcheck.inspect.powerup.plan import PowerupPlan, Step
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.verdict import Verdict
from circuitcheck.notebook import text_table

SOUND = "sound"
DOUBT = 0.003
"""Chance of a sound loom, in a verdict, from which it may be one; common practice, no source."""
CAUSES = 5
"""Units that are named as the cause of too much current; the rest is counted."""
_LIKELY = 0.01
"""Chance of a unit from which a sentence names it."""
Status = Literal["as expected", "repeat", "stop", "not done", "after the stop"]


@dataclass(frozen=True)
class JudgedStep:
    """What the sheet says of one step.

    :param missing: its readings that were not taken
    :param a_little: readings of a step as expected that are outside their range by little
    """

    step: Step
    status: Status
    off: tuple[Off, ...] = ()
    missing: tuple[str, ...] = ()
    a_little: tuple[Off, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "step": self.step.name,
            "title": self.step.test.title,
            "status": self.status,
            "off": [asdict(one) for one in self.off],
            "missing": list(self.missing),
            "a_little_off": [asdict(one) for one in self.a_little],
        }


@dataclass(frozen=True)
class PowerupResult:
    """What a sheet says.

    :param status: ``go on``, ``stop``, ``repeat`` or ``done``
    :param verdict: on all readings up to where it stopped
    :param next_step: the step to take now; None when stopped or done
    :param more: when stopped with several suspects left, what else to read in the step
    :param causes: when stopped by too much current, while all else speaks for a sound loom: the units
        that do it in that step, likeliest first; None where the verdict stands
    """

    plan: PowerupPlan
    steps: tuple[JudgedStep, ...]
    status: Literal["go on", "stop", "repeat", "done"]
    verdict: Verdict
    next_step: Step | None
    more: tuple[Parting, ...] = ()
    causes: tuple[Cause, ...] | None = None

    def __str__(self) -> str:
        rows = [
            (one.step.name, one.step.test.title, one.status)
            for one in self.steps
            if one.status != "not done"
        ]
        return f"{self.status}: {self.summary}\n\n{text_table(('step', 'do', 'result'), rows)}"

    @property
    def stopped(self) -> JudgedStep | None:
        """The step at which to stop."""
        return next((one for one in self.steps if one.status == "stop"), None)

    @property
    def summary(self) -> str:
        """The result in a sentence or two."""
        if self.stopped is not None:
            return f"{self.stop_words} {self._what_it_is}"
        if self.status == "repeat":
            again = next(one for one in self.steps if one.status == "repeat")
            return (
                f"Read again in {again.step.name} before going on: "
                f"{'; '.join(one.words for one in again.off)}. All else says the loom is sound."
            )
        if self.next_step is not None:
            return f"As expected so far. Next: {self.next_step.name}, {self.next_step.test.title}."
        doubts = [f"{one.words} in {step.step.name}" for step in self.steps for one in step.a_little]
        if doubts:
            return (
                "Every step was as expected, near enough: the loom is proven under power but for "
                f"{'; '.join(doubts)}. In a sound loom one reading in twenty is as far out: "
                "read it again."
            )
        return "Every step was as expected: the loom is proven under power."

    @property
    def stop_words(self) -> str:
        """Where to stop, and the readings that say so; empty where nothing does."""
        if self.stopped is None:
            return ""
        together = "the readings together are not those of a sound loom"
        read = "; ".join(one.words for one in self.stopped.off) or together
        return f"Switch off and stop at {self.stopped.step.name}: {read}."

    @property
    def causes_words(self) -> str:
        """What a reading of too much current is to be taken for, though all else is as it should be."""
        assert self.stopped is not None
        names = " and ".join(f"'{one.reading}'" for one in self.stopped.off if one.danger)
        step = self.stopped.step
        run_up = f", once its fan has run up ({step.run_up_s:g} s)" if step.turning else ""
        return (
            f"Only {names} says so, but a sound loom does not do it{run_up}: leave the power off. "
            "The chances are those of a fault that was there from the first step. One that has come "
            "since can be any of them, so look first at what was moved since, and at what this "
            f"step adds: {step.test.title}. Battery off, fuses out, "
            "measure ohms to ground and to plus; if all is clear, begin again at the first "
            "step."
        )

    @property
    def _what_it_is(self) -> str:
        if self.causes is not None:
            likely = [one.words for one in self.causes[:CAUSES] if one.chance >= _LIKELY]
            more = len(self.causes) - len(likely)
            rest = f"; and, less likely, {more} more" if more else ""
            does = f"What does it here: {'; '.join(likely)}{rest}. " if likely else ""
            return does + self.causes_words
        if self.verdict.verdict == "unexplained":
            return (
                "No one fault and no two explain this: look over what this step put in or made "
                "live, and buzz the loom through again."
            )
        return self.verdict.summary

    def to_dict(self) -> dict[str, Any]:
        """The result as plain values."""
        return {
            "harness": self.plan.harness.name,
            "status": self.status,
            "summary": self.summary,
            "steps": [one.to_dict() for one in self.steps],
            "next": self.next_step.to_dict() if self.next_step else None,
            "read_more": [one.to_dict() for one in self.more],
            "causes": None if self.causes is None else [one.to_dict() for one in self.causes],
            "verdict": self.verdict.to_dict() if self.causes is None else None,
        }


def judge(plan: PowerupPlan, sheet: Sheet, locator: Locator | None = None) -> PowerupResult:
    """What a sheet of steps says.

    :param locator: for the loom of the plan, if it has been made already
    """
    locator = locator or Locator(plan.harness)
    judged: list[JudgedStep] = []
    verdict: Verdict | None = None
    stopped = False
    for step in plan.steps:
        mine = [one for one in sheet.readings if one.test == step.name]
        if not mine or stopped:
            judged.append(JudgedStep(step, "after the stop" if mine else "not done"))
            continue
        one, verdict = _judged(plan, step, mine, _up_to(plan, sheet, step), locator)
        judged.append(one)
        stopped = one.status == "stop"
    if verdict is None:
        verdict = locator.locate(sheet)
        judged = _together(judged, verdict)
    return _concluded(plan, judged, verdict, sheet)


def _judged(
    plan: PowerupPlan, step: Step, mine: Sequence[Reading], so_far: Sheet, locator: Locator
) -> tuple[JudgedStep, Verdict | None]:
    """One step, and the verdict if it took one."""
    off = tuple(found for one in mine if (found := off_reading(plan, step, one)) is not None)
    taken = {one.name for one in mine}
    missing = tuple(one.name for one in step.readings if one.name not in taken)
    if not off:
        a_little = tuple(found for one in mine if (found := a_little_off(step, one)) is not None)
        return JudgedStep(step, "as expected", (), missing, a_little), None
    verdict = locator.locate(so_far)
    sound = may_be_sound(verdict) and not any(one.danger for one in off)
    return JudgedStep(step, "repeat" if sound else "stop", off, missing), verdict


def may_be_sound(verdict: Verdict) -> bool:
    """Whether the loom may be sound, for all the readings say.

    A verdict begins from a vehicle that somebody complains of; a loom that has been buzzed through
    begins far better than that.
    """
    if verdict.verdict == "unexplained":
        return False
    return any(one.spec == SOUND and one.probability > DOUBT for one in verdict.suspects)


def _up_to(plan: PowerupPlan, sheet: Sheet, last: Step) -> Sheet:
    names = [one.name for one in plan.steps]
    kept = set(names[: names.index(last.name) + 1])
    return replace(sheet, readings=tuple(one for one in sheet.readings if one.test in kept))


def _together(judged: list[JudgedStep], verdict: Verdict) -> list[JudgedStep]:
    """Where each reading alone could be a sound loom's, but not all of them."""
    if may_be_sound(verdict):
        return judged
    last = max(n for n, one in enumerate(judged) if one.status == "as expected")
    one = judged[last]
    return [*judged[:last], JudgedStep(one.step, "stop", (), one.missing), *judged[last + 1 :]]


def _concluded(
    plan: PowerupPlan, judged: list[JudgedStep], verdict: Verdict, sheet: Sheet
) -> PowerupResult:
    found = {one.status for one in judged}
    left = next((one.step for one in judged if one.status == "not done"), None)
    if "stop" in found:
        stopped = next(one for one in judged if one.status == "stop")
        if may_be_sound(verdict):
            danger = [one.reading for one in stopped.off if one.danger]
            found_causes = causes(plan, stopped.step, danger, _up_to(plan, sheet, stopped.step))
            return PowerupResult(plan, tuple(judged), "stop", verdict, None, causes=found_causes)
        verdict = _without_repeat(verdict)
        more = parting(plan, stopped.step, verdict)
        return PowerupResult(plan, tuple(judged), "stop", verdict, None, more)
    if "repeat" in found:
        return PowerupResult(plan, tuple(judged), "repeat", verdict, None)
    return PowerupResult(plan, tuple(judged), "go on" if left else "done", verdict, left)


def _without_repeat(verdict: Verdict) -> Verdict:
    """A verdict that has located the fault asks for nothing to be read again before that."""
    if verdict.verdict != "located":
        return verdict
    sentence = f" Repeat first: {'; '.join(verdict.repeat)}."
    return replace(verdict, summary=verdict.summary.replace(sentence, ""), repeat=())
