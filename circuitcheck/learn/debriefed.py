"""The debrief in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from circuitcheck.learn.debrief import Debrief, Followed, Told

TENTH = 0.05
"""Bits from which a figure with one digit after the point is not nothing."""
MOST_TOLD = 6
"""Faults up to which the debrief names those that fit; a choice of presentation."""


def debrief_lines(found: Debrief) -> list[str]:
    """All of it, line by line."""
    truth = " and ".join(found.truth) or "nothing wrong"
    lines = ["", f"It was: {truth}."]
    lines += [
        f"{words[0].upper()}{words[1:]}: {remedy}."
        for words, remedy in zip(found.words, found.remedies, strict=True)
    ]
    lines.append(
        f"Your fault: {' and '.join(found.named) or 'none'}: "
        f"{'right' if found.right_fault else 'wrong'}. Your part: "
        f"{' and '.join(found.units) or 'none'}: {_part_word(found)}."
    )
    if found.trap:
        lines.append(f"The trap: {found.trap}.")
    lines.append(
        f"{_count(round(found.minutes), 'minute')}, {_count(len(found.told), 'measurement')}, "
        f"{len(found.unsafe)} unsafe."
    )
    lines += [*_vain(found), *(f"! {one}" for one in found.unsafe)]
    if found.told:
        lines += ["", f"What each was worth, of {found.known} single faults that are known here;"]
        lines += ["one bit halves what may have to be put right:"]
        lines += _all_told(found.told)
    if 0 < len(found.fitting) <= MOST_TOLD:
        lines.append(f"What fits it all: {', '.join(found.fitting)}.")
    if found.followed is not None:
        lines += ["", *_followed_lines(found.followed)]
    return lines


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _part_word(found: Debrief) -> str:
    if found.right_unit:
        return "right"
    return f"wrong, due was {' and '.join(found.due) or 'none'}"


def _vain(found: Debrief) -> Iterator[str]:
    if found.needless:
        yield (
            f"Put right in vain: {', '.join(found.needless)}; on a real vehicle that costs some "
            f"{found.lost:.0f} minutes more, and the parts."
        )


def _all_told(told: Sequence[Told]) -> Iterator[str]:
    """Each measurement, and between them what was put right."""
    done: tuple[str, ...] = ()
    for one in told:
        if one.put_right != done:
            yield f"             put right: {', '.join(x for x in one.put_right if x not in done)}"
            done = one.put_right
        yield from _told_lines(one)


def _told_lines(one: Told) -> list[str]:
    beside = f" <- off, a sound one {one.sound}" if one.off else ""
    lines = [f"  {one.minutes:5.1f} min  {one.said}: {one.shown}{beside}"]
    told = []
    if one.shows is not None:
        left = "" if one.left is None else f"; {one.left} still fit all you had seen"
        told.append(f"{one.shows or 'none'} of them would have read otherwise{left}")
    if one.could is not None and one.told is not None:
        told.append(f"could tell {one.could:.1f} bit of what to put right, {_did(one.told)}")
    return lines + [f"             {text}" for text in told]


def _did(bits: float) -> str:
    """What a measurement told, in words where it told less than nothing."""
    if bits <= -TENTH:
        return "and was a surprise: more was in question after it than before"
    return f"told {bits:.1f}" if bits >= TENTH else "told nothing"


def _followed_lines(found: Followed) -> Iterator[str]:
    """What following ``next`` would have come to."""
    outcome = f"put right {', '.join(found.units)}" if found.units else "nothing to put right"
    vain = f", of which {', '.join(found.needless)} in vain" if found.needless else ""
    if vain and set(found.needless) <= set(found.unparted):
        vain += " (its readings could not tell that from what was due)"
    end = "" if found.cured else "; and it would still not be well"
    yield (
        f"Following 'circuitcheck next{' --thorough' if found.thorough else ''}' on this very vehicle: "
        f"{_first(found)}, "
        f"{found.minutes:.0f} minutes in all; {_count(len(found.steps), 'measurement')} in "
        f"{_count(found.tests, 'set-up')}; {outcome}{vain}{end}."
    )
    for one in found.steps:
        yield f"  {one.minutes:5.1f} min  {one.said}: {one.shown}"


def _first(found: Followed) -> str:
    """When it first named something, and how that went on."""
    if not found.units:
        return f"{found.verdict_minutes:.0f} minutes to say that nothing is to be put right"
    after = (
        f"after {found.verdict_minutes:.0f} minutes"
        if found.verdict_minutes >= 0.5
        else "on the customer's words alone"
    )
    then = "driven after it" if len(found.units) == 1 else "driven after each"
    return f"a first part named {after}, {then}"
