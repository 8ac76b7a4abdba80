"""What the customer says, as readings: a symptom is a reading that cost nothing."""

from __future__ import annotations

import math
import re

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import word_for
from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.plan.candidates import conditions

_WORDS = (
    ("off", r"\b(dead|off|not (?:run|running|turn|turning|working)|stands? still|will not run)\b"),
    ("slow", r"\b(slow|slowly|weak)\b"),
    ("fast", r"\b(fast|runs|run|works|on|full)\b"),
)
_BUSY = r"\b(high|hot|fast speed|full speed)\b"
_LOW = r"\b(low|warm|slow speed)\b"
_COLD = r"\b(cold|always|never stops|all the time)\b"


def symptom_sheet(harness: Harness, text: str) -> Sheet:
    """A sheet from words such as ``right fan dead on low``.

    :raises ValueError: if they name no fan, no state or no condition of use that the harness has
    """
    said = text.casefold()
    motors = _motors(harness, said)
    title, setup = _condition(harness, said)
    where = re.search(f"{_BUSY}|{_LOW}|{_COLD}|\\bon \\S+$", said)
    rest = said[: where.start()] if where and where.start() else said
    word = next((word for word, pattern in _WORDS if re.search(pattern, rest)), None)
    if word is None:
        raise ValueError(f"'{text}' does not say what the fan does: must have dead, slow or fast, as "
                         f"in '{_example(harness)}'")  # fmt: skip
    seen = _others(harness, setup, motors) | dict.fromkeys(motors, word)
    observe = {one: Observation.model_validate({"speed": one}) for one in seen}
    readings = tuple(
        Reading("symptom", motor, observe[motor], math.nan, word) for motor, word in seen.items()
    )
    return Sheet(text, readings, {"symptom": Test(title=title, setup=setup, observe=observe)})


def _others(harness: Harness, setup: Setup, named: list[str]) -> dict[str, str]:
    """The fans that a symptom leaves out: who says that the right one is dead means that the left is
    not, and it is taken to do what it should."""
    others = [n for n, part in harness.parts.items() if part.kind == "motor" and n not in named]
    observe = [Observation.model_validate({"speed": one}) for one in others]
    run = Bench(harness, setup, tuple(zip(others, observe, strict=True))).run([{}])
    return {one: word_for(harness, what, float(value))
            for one, what, value in zip(others, observe, run.values[0], strict=True)}  # fmt: skip


def _motors(harness: Harness, said: str) -> list[str]:
    """The motors meant: by unit, by name, by a word of the unit's name, or all of them."""
    motors = [name for name, part in harness.parts.items() if part.kind == "motor"]
    units = {name: (harness.parts[name].belongs_to or "").casefold() for name in motors}
    named = [n for n in motors if re.search(rf"\b{re.escape(n.casefold())}\b", said)]
    by_unit = [n for n in motors if units[n] and units[n] in said]
    own = {n: set(units[n].split()) - {"fan", "fans", "blower", "the"} for n in motors}
    by_word = [n for n in motors if any(re.search(rf"\b{re.escape(w)}\b", said) for w in own[n])]
    found = named or by_unit or by_word or motors
    if not found:
        raise ValueError(f"{harness.name} has no fan")
    return found


def _condition(harness: Harness, said: str) -> tuple[str, Setup]:
    known = conditions(harness)
    if re.search(_COLD, said):
        return known[0]
    for name, part in harness.parts.items():
        for position in getattr(part, "positions", None) or ():
            if re.search(rf"\b(?:on|in|position) {re.escape(str(position).casefold())}\b", said):
                wanted = {name: position}
                return next(one for one in known if one[1].switches == wanted)
    warm = [one for one in known[1:] if one[1].running]
    if warm and re.search(_LOW, said):
        return warm[0]
    if re.search(_BUSY, said):
        return (warm or known)[-1]
    raise ValueError(f"'{said}' does not say when: must have on low, on high, cold, or the position of "
                     f"a switch, as in '{_example(harness)}'")  # fmt: skip


def _example(harness: Harness) -> str:
    motor = next(name for name, part in harness.parts.items() if part.kind == "motor")
    return f"{harness.parts[motor].belongs_to or motor} dead on high"


def with_symptom(symptom: Sheet, sheet: Sheet | None) -> Sheet:
    """A sheet of readings with a symptom added to it."""
    if sheet is None:
        return symptom
    return Sheet(sheet.title or symptom.title, (*symptom.readings, *sheet.readings),
                 {**symptom.setups, **sheet.setups})  # fmt: skip
