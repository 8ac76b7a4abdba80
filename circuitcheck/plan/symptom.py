"""What the customer says, as readings: a symptom is a reading that cost nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import RUNS, Reading, Sheet, Symptom
from circuitcheck.plan.saying import Place, Said, listen, sound_words

_NAME = "symptom"


def symptom_sheet(harness: Harness, text: str) -> Sheet:
    """A sheet from words such as ``right fan dead on low`` or ``blower runs only on 4``.

    Where it is not said when, it is the condition in which the fan has most reason to run. Of fans
    that are not named it is known only whether they run: at which speed, nobody has looked.

    :raises ValueError: if a word is not understood, or it is not said what the fan does
    """
    said = listen(harness, text)
    readings: list[Reading] = []
    setups: dict[str, Test] = {}
    for number, ((title, setup), word) in enumerate(_looks(harness, said), 1):
        name = _NAME if number == 1 else f"{_NAME} {number}"
        seen = dict.fromkeys(said.motors, word) | _others(harness, setup, said, word)
        observe = {one: Observation.model_validate({"speed": one}) for one in seen}
        readings += [Reading(name, one, observe[one], math.nan, word) for one, word in seen.items()]
        setups[name] = Test(title=title, setup=setup, observe=observe)
    return Sheet(text, tuple(readings), setups, symptom=Symptom(text))


def _looks(harness: Harness, said: Said) -> Iterator[tuple[Place, str]]:
    """Each place with what the named fans do there; what comes and goes is looked at twice."""
    opposite = RUNS if said.word == "off" else "off"
    for place in said.places:
        yield place, said.word
        if said.passing:
            slower = said.word in ("slow", "fast")
            yield place, sound_words(harness, place[1])[said.motors[0]] if slower else opposite
    for place in said.elsewhere:
        yield place, opposite


def _others(harness: Harness, setup: Setup, said: Said, word: str) -> dict[str, str]:
    """The fans that a symptom leaves out: who says that the right one is dead means that the left
    one is not; who says that only the right one runs means that the left one is."""
    if said.alone and word == RUNS:
        does_what = dict.fromkeys(sound_words(harness, setup), "off")
    else:
        does_what = sound_words(harness, setup)
    return {name: does if does == "off" else RUNS
            for name, does in does_what.items() if name not in said.motors}  # fmt: skip


def only_symptom(sheet: Sheet) -> bool:
    """Whether nothing has been measured or looked at yet beyond what the customer says."""
    return all(one.test.split()[0] == _NAME for one in sheet.readings)


def understood(sheet: Sheet) -> str:
    """How a symptom was taken, look by look."""
    looks = []
    for name, test in sheet.setups.items():
        if name.split()[0] != _NAME:
            continue
        what = ", ".join(f"{one.name} {one.word}" for one in sheet.readings if one.test == name)
        looks.append(f"{what} ({test.title})")
    return "; ".join(looks)


def with_symptom(symptom: Sheet, sheet: Sheet | None) -> Sheet:
    """A sheet of readings with a symptom added to it."""
    if sheet is None:
        return symptom
    return replace(sheet, title=sheet.title or symptom.title,
                   readings=(*symptom.readings, *sheet.readings),
                   setups={**symptom.setups, **sheet.setups},
                   symptom=sheet.symptom or symptom.symptom)  # fmt: skip
