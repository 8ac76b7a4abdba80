"""What the customer says, as readings: a symptom is a reading that cost nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.readings import RUNS, Reading, Sheet, Symptom
from circuitcheck.plan.saying import Place, Said, listen, sound_words
from circuitcheck.plan.setups import conditions

_NAME = "symptom"
FINE = "fine"
"""Does as it should."""


def symptom_sheet(harness: Harness, text: str) -> Sheet:
    """A sheet from words such as ``right fan dead on low`` or ``blower runs only on 4``.

    Where it is not said when, it is the condition in which the fan has most reason to run. Of fans
    that are not named it is known only whether they run: at which speed, nobody has looked.

    :raises ValueError: if a word is not understood, or it is not said what the fan does
    """
    said = listen(harness, text)
    readings: list[Reading] = []
    setups: dict[str, Test] = {}
    stopped = _stopped(harness, said.fuse, conditions(harness)[-1][1]) if said.fuse else []
    for number, ((title, setup), word) in enumerate(_looks(harness, said), 1):
        name = _numbered(number)
        if word == FINE:
            seen = {
                one: does if does == "off" else RUNS for one, does in sound_words(harness, setup).items()
            }
        else:
            others = _others(harness, setup, said, word)
            seen = dict.fromkeys(said.motors, word) | {
                one: does for one, does in others.items() if one not in stopped
            }
        observe = {one: Observation.model_validate({"speed": one}) for one in seen}
        readings += [Reading(name, one, observe[one], math.nan, word) for one, word in seen.items()]
        setups[name] = Test(title=title, setup=setup, observe=observe)
    for test, one in _fuse(harness, said, len(setups)):
        readings.append(one)
        setups[one.test] = test
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
    for place in said.fine:
        yield place, FINE


def _fuse(harness: Harness, said: Said, before: int) -> Iterator[tuple[Test, Reading]]:
    """A blown fuse is open from blade to blade; one that blows again leaves its fans standing."""
    if not said.fuse:
        return
    fuse = said.fuse
    blades = [f"{fuse}.{pin}/part" for pin in harness.parts[fuse].pins()]
    across, name = Observation.model_validate({"ohms": blades}), f"ohms {' '.join(blades)}"
    setup = Setup.model_validate({"battery": "disconnected", "pull": [fuse]})
    test = Test(title=f"{fuse} looked at", setup=setup, observe={name: across})
    yield test, Reading(_numbered(before + 1), name, across, math.inf)
    if not said.again:
        return
    places = (*said.places, conditions(harness)[-1])
    title, place = next((one for one in places if _stopped(harness, fuse, one[1])), places[0])
    renewed = place.model_copy(update={"swap": [fuse]})
    observe = {one: Observation.model_validate({"speed": one}) for one in _stopped(harness, fuse, place)}
    test = Test(title=f"with a new {fuse}, {title}", setup=renewed, observe=observe)
    for one, observation in observe.items():
        yield test, Reading(_numbered(before + 2), one, observation, math.nan, "off")


def _stopped(harness: Harness, fuse: str, setup: Setup) -> list[str]:
    """The fans that run in a sound circuit and stand without a fuse."""
    sound = sound_words(harness, setup)
    without = sound_words(harness, setup.model_copy(update={"pull": [fuse]}))
    return [one for one, word in without.items() if word == "off" != sound[one]]


def _numbered(number: int) -> str:
    return _NAME if number == 1 else f"{_NAME} {number}"


def _others(harness: Harness, setup: Setup, said: Said, word: str) -> dict[str, str]:
    """The fans that a symptom leaves out: who says that the right one is dead means that the left
    one is not; who says that only the right one runs means that the left one is."""
    if said.alone and word == RUNS:
        does_what = dict.fromkeys(sound_words(harness, setup), "off")
    else:
        does_what = sound_words(harness, setup)
    return {
        name: does if does == "off" else RUNS
        for name, does in does_what.items()
        if name not in said.motors
    }


def only_symptom(sheet: Sheet) -> bool:
    """Whether nothing has been measured or looked at yet beyond what the customer says."""
    return all(from_customer(one.test) for one in sheet.readings)


def from_customer(test: str) -> bool:
    """Whether a test of a sheet is what the customer says."""
    return test.split(maxsplit=1)[0] == _NAME


def understood(harness: Harness, sheet: Sheet) -> str:
    """How a symptom was taken, look by look."""
    looks = []
    for name, test in sheet.setups.items():
        if not from_customer(name):
            continue
        what = ", ".join(_seen(harness, one) for one in sheet.readings if one.test == name)
        looks.append(f"{what} ({test.title})")
    return "; ".join(looks)


def _seen(harness: Harness, reading: Reading) -> str:
    if reading.word:
        part = harness.parts.get(reading.name)
        return f"{(part.belongs_to if part else None) or reading.name} {reading.word}"
    return f"{reading.observation.points[0].partition('.')[0]} blown"


def with_symptom(symptom: Sheet, sheet: Sheet | None) -> Sheet:
    """A sheet of readings with a symptom added to it."""
    if sheet is None:
        return symptom
    return replace(
        sheet,
        title=sheet.title or symptom.title,
        readings=(*symptom.readings, *sheet.readings),
        setups={**symptom.setups, **sheet.setups},
        symptom=sheet.symptom or symptom.symptom,
    )
