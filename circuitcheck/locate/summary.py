"""The verdict in a few sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from circuitcheck.expect.expected import number
from circuitcheck.locate.repair import SURE, fuses_of, unit_of
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Culprit, Hinge, Repair, Word
from circuitcheck.physics.branch import Array

_NAMED = 5
"""Suspects of the first group that are named."""
_NAMED_EACH = 3
"""The same of each fault of several at once."""
_COUNTS = {2: "two", 3: "three"}
_SLIGHT = 0.05
"""Chance of a unit from which it is spoken of."""
_SOUND = "The wiring these tests exercise is sound. If the fans still do not run in use, look at {}."
_UNTOUCHED = "what no test here touched"
_WARMTH = "what makes the switch close: coolant level, thermostat, air lock, blocked radiator; and at "


@dataclass(frozen=True)
class Standpoint:
    """Everything the sentences are made of, most likely suspect first.

    :param groups: number of the group of each suspect
    :param units: chance of each unit, or set of units
    :param repeat: readings taken once that are likely to be wrong
    :param outvoted: the same of readings that were taken again, with what was read
    :param by_heat: whether the temperature of the coolant switches the fans
    :param off: looks that a sound circuit does not give, in words
    :param culprits: fault by fault what takes part in the suspects
    """

    word: Word
    standings: Sequence[Standing]
    chances: Array
    groups: Sequence[int]
    units: dict[str, float]
    repair: Repair
    repeat: tuple[str, ...]
    outvoted: tuple[str, ...]
    hinges: tuple[Hinge, ...]
    by_heat: bool = False
    off: tuple[str, ...] = ()
    culprits: tuple[Culprit, ...] = ()

    @property
    def first(self) -> list[Standing]:
        """The suspects of the first group."""
        return [one for one, group in zip(self.standings, self.groups, strict=True) if group == 1]


def summary_of(point: Standpoint) -> str:
    """What is wrong, what to put right, what blew a fuse, what to read again."""
    texts = {"unexplained": _unexplained, "sound": _sound, "located": _located, "narrowed": _narrowed}
    sentences = [texts[point.word](point)]
    if point.word in ("located", "narrowed"):
        sentences += [_comes_and_goes(point), _what_blew(point), _rests_on(point)]
    if point.repeat:
        sentences.append(f"Repeat first: {'; '.join(point.repeat)}.")
    if point.outvoted:
        sentences.append(f"Taken as misread, since it was read again: {'; '.join(point.outvoted)}.")
    return " ".join(one for one in sentences if one)


def percent(chance: float) -> str:
    """``71 %``."""
    return f"{min(chance, 0.999) * 100:.0f} %"


def _unexplained(point: Standpoint) -> str:
    return (
        "No single fault, no pair and no three that this harness knows explain these readings; "
        f"the nearest is {point.first[0].suspect.spec}. Repeat the readings marked, or look for "
        "what the description leaves out."
    )


def _sound(point: Standpoint) -> str:
    return _SOUND.format((_WARMTH if point.by_heat else "") + _UNTOUCHED)


def _located(point: Standpoint) -> str:
    leader = point.first[0]
    words = " and ".join(fault.words for fault in leader.suspect.faults)
    fuses = fuses_of(leader)
    blown = f", which has blown {' and '.join(fuses)}" if fuses else ""
    chance, unit = float(point.chances[list(point.groups).index(1)]), _best(point)
    if chance < SURE:
        return (
            f"Put right: {unit} ({percent(point.units[unit])}). Likeliest in it: {words}{blown} "
            f"({percent(chance)})."
        )
    return f"{words[0].upper()}{words[1:]}{blown}. Put right: {unit}."


def _best(point: Standpoint) -> str:
    """The unit that is likeliest at fault; sound wiring is none."""
    return max((one for one in point.units if one), key=lambda one: point.units[one])


def _narrowed(point: Standpoint) -> str:
    unit, first = _best(point), [one for one in point.first if one.suspect.faults]
    if first:
        text = f"{_nearly_sound(point)}Narrowed down to {_what(point, first)}"
        text += ", which these readings cannot tell apart" if len(first) > 1 else ""
    else:
        others = [one.suspect.spec for one in point.standings if one.suspect.faults]
        text = f"{_nearly_sound(point)}If it is not sound, likeliest is {others[0]}"
    text += f". Most likely to put right: {unit} ({percent(point.units[unit])})"
    rest = [one for one in point.units if one not in (unit, "") and point.units[one] >= _SLIGHT]
    if rest:
        rest.sort(key=lambda one: -point.units[one])
        text += "; then " + ", ".join(f"{one} ({percent(point.units[one])})" for one in rest[:3])
    if 1 < len(point.repair.units) <= 3:
        together = " and ".join(point.repair.units)
        cured = percent(point.repair.chance)
        text += f". With {together} put right together it is cured in {cured} of cases"
    return text + "."


def _what(point: Standpoint, first: Sequence[Standing]) -> str:
    """The suspects of the first group; several faults at once each by itself, with those it may be."""
    leading = [one.spec for one in first[0].suspect.faults]
    if len(leading) == 1 or any(len(one.suspect.faults) != len(leading) for one in first):
        return _listed([one.suspect.spec for one in first], _NAMED)
    parts = [one.faults for one in point.culprits if not set(leading).isdisjoint(one.faults)]
    told = [
        faults[0] if len(faults) == 1 else f"one of {_listed(faults, _NAMED_EACH)}" for faults in parts
    ]
    return f"{_COUNTS[len(leading)]} faults at once: {'; and '.join(told)}"


def _listed(names: Sequence[str], most: int) -> str:
    """The first few, and how many more."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _nearly_sound(point: Standpoint) -> str:
    """What is off so little that a sound circuit may give it."""
    if len(point.first) == sum(1 for one in point.first if one.suspect.faults):
        return ""
    return (
        f"Hardly anything is off, and sound wiring may look so too ({percent(point.units[''])}): "
        f"{'; '.join(point.off)}. Look again, or measure it. "
    )


def _comes_and_goes(point: Standpoint) -> str:
    """Which tests met it and which did not."""
    leader = point.first[0]
    if not leader.suspect.passing:
        return ""
    ohms = dict(leader.as_ohm)
    seen = " and ".join(
        f"{test} (as {number(ohms[test])} ohm)" if test in ohms else test for test in leader.seen_in
    )
    gone = f"gone in {' and '.join(leader.gone_in)}" if leader.gone_in else "never twice the same"
    return (
        f"It comes and goes: it was there in {seen} and {gone}. Move the plug and the loom "
        "at it while you look at the meter."
    )


def _what_blew(point: Standpoint) -> str:
    """A fuse that has blown asks what blew it."""
    first = point.first
    by_itself = [
        one for one in first if any(f.mode == "blown" and not f.severity for f in one.suspect.faults)
    ]
    for one in by_itself:
        fuse = one.suspect.faults[0].where
        causes = [other for other in point.standings if fuse in fuses_of(other)][:3]
        if causes:
            named = ", ".join(f"{other.suspect.spec} ({unit_of(other)})" for other in causes)
            return f"Before a new {fuse} goes in, look for what may have blown it: {named}."
    return ""


def _rests_on(point: Standpoint) -> str:
    """What would change the verdict: one reading, had it been misread."""
    if point.word != "located" or not point.hinges:
        return ""
    one = point.hinges[0]
    instead = f"{one.instead} would be the likelier" if one.instead else "the wiring would be sound"
    return f"This rests on '{one.name}' in {one.test}: had that been misread, {instead}."
