"""What the customer says, as readings: a symptom is a reading that cost nothing."""

from __future__ import annotations

import math
import re

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import word_for
from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.plan.setups import conditions

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

    Where it is not said when, it is the condition in which the fan has most reason to run.

    :raises ValueError: if a word is not understood, or it is not said what the fan does
    """
    said = text.casefold().replace("doesn't", "does not").replace("won't", "will not")
    _check_words(harness, said)
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
    return (warm or known)[-1]  # not said when: not even where the fan has most reason to run


_PLAIN = frozenset(re.findall(r"\w+", """
    the a an is are fan fans blower motor both all on in at of with when engine speed position
    does do did not will run runs running turn turns turning working work stand stands still
    dead off slow slowly weak fast full only even low high hot warm cold
"""))


def _check_words(harness: Harness, said: str) -> None:
    """Every word must mean something here; what is left over would be lost without a sound."""
    known = set(_PLAIN)
    for name, part in harness.parts.items():
        if part.kind == "motor":
            known |= {name.casefold(), *(part.belongs_to or "").casefold().split()}
        for position in getattr(part, "positions", None) or ():
            known |= {str(position).casefold(), name.casefold()}
    words = re.findall(r"[^\s,;.]+", said)
    strange = [word for word in words if word not in known]
    if strange or re.search(r"\bnot (?!run|turn|working)", said) or "," in said:
        raise ValueError(f"'{said}' is not understood"
                         + (f" at '{strange[0]}'" if strange else "")
                         + f": must be one plain sentence, such as '{_example(harness)}'")  # fmt: skip


def understood(sheet: Sheet) -> str:
    """How a symptom was taken."""
    what = ", ".join(f"{one.name} {one.word}" for one in sheet.readings)
    return f"{what}; {sheet.setups['symptom'].title}"


def _example(harness: Harness) -> str:
    motor = next(name for name, part in harness.parts.items() if part.kind == "motor")
    positions = [str(one) for part in harness.parts.values()
                 for one in getattr(part, "positions", None) or ()]  # fmt: skip
    when = f"in position {positions[-1]}" if positions else "on high"
    return f"{harness.parts[motor].belongs_to or motor} dead {when}"


def with_symptom(symptom: Sheet, sheet: Sheet | None) -> Sheet:
    """A sheet of readings with a symptom added to it."""
    if sheet is None:
        return symptom
    return Sheet(sheet.title or symptom.title, (*symptom.readings, *sheet.readings),
                 {**symptom.setups, **sheet.setups})  # fmt: skip
