"""What was put right before the readings were taken: it is hardly at fault any more."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from circuitcheck.locate.suspects import Suspect

STILL_WRONG = 0.01
"""Chance that a fault is there after its unit was put right, a new part no better than the old one or a
plug left half in; common practice, no source."""


def after_repair(suspects: Sequence[Suspect], put_right: Collection[str]) -> list[Suspect]:
    """Single suspects with their chances after some units were put right.

    What a fault of theirs loses, sound wiring gains: whatever it was, it is right now.

    :param suspects: sound, and every single fault
    """
    found = [
        replace(one, weight=STILL_WRONG * one.weight) if asks_for(one, put_right) else one
        for one in suspects
    ]
    cured = sum(one.weight for one in suspects) - sum(one.weight for one in found)
    return [one if one.faults else replace(one, weight=one.weight + cured) for one in found]


def asks_for(suspect: Suspect, units: Collection[str]) -> bool:
    """Whether any of its faults lies in one of some units."""
    return any(one.replace in units for one in suspect.faults)


def words_for(put_right: Sequence[str], asked: Sequence[str], blown: Sequence[str]) -> str:
    """A sentence on what was put right, and one more if that is asked for again.

    :param asked: the units whose fault it is by the verdict
    :param blown: the fuses that this fault has blown
    """
    if not put_right:
        return ""
    text = f"Put right before these readings: {', '.join(put_right)}."
    fuses = [one for one in blown if one in put_right and one not in asked]
    if fuses:
        text += (
            f" {' and '.join(fuses)} {'has' if len(fuses) == 1 else 'have'} blown again: what blew "
            f"{'it' if len(fuses) == 1 else 'them'} is still there."
        )
    again = [one for one in asked if one in put_right]
    if again:
        text += (
            f" Nothing fits better than {' and '.join(again)} once more: see that the plugs are "
            "home and that what went in is the right part."
        )
    return text
