"""What else can be wrong with a loom that has never been in use: how it was made and fitted out.

A loom in use has once worked, so that no two of its wires can be swapped and no relay be of the wrong
kind. One that comes fresh from the bench can have both.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from circuitcheck.harness.model import Harness
from circuitcheck.parts.fault import Branches, Change, ChangeRule, Failing, FaultMode, Value, rejoined


def misfits(harness: Harness) -> Iterator[FaultMode]:
    """Wrong parts, and right ones the wrong way round."""
    for name, part in harness.parts.items():
        yield from part.misfits(name)


def swaps(harness: Harness) -> Iterator[FaultMode]:
    """Two wires in each other's place, in one half of a plug or in one socket."""
    wires: dict[str, list[str]] = {}
    for key, wire in harness.wires.items():
        for end in (wire.start, wire.end):
            wires.setdefault(end, []).append(key)
    for half in _halves(harness):
        for one, other in itertools.combinations((end for end in half if end in wires), 2):
            yield _swap(one, other, {*wires[one], *wires[other]})


def _halves(harness: Harness) -> Iterator[list[str]]:
    """The terminals that sit side by side, the two halves of an in-line plug apart."""
    for name, part in harness.parts.items():
        ends = part.loom_ends(name) if part.plugged else ()
        heads = {one.head for one in part.contacts(name).values()}
        yield [end for end in ends if end not in heads]
        yield [end for end in ends if end in heads]


def _swap(one: str, other: str, wires: set[str]) -> FaultMode:
    words = f"the wires of {one} and {other} are in each other's place"
    plug = Failing(one, "wire", f"put the wires of {one} and {other} right")
    return plug.mode(
        f"swapped with {other}",
        words,
        _exchange(one, other, wires),
        often="swapped",
        overloads=True,
    )


def _exchange(one: str, other: str, wires: set[str]) -> ChangeRule:
    turned = {one: other, other: one}

    def rule(branches: Branches, _: Value) -> Change:
        there = {key: branches[key] for key in sorted(wires) if key in branches}
        return {key: rejoined(wire, turned) for key, wire in there.items()}

    return rule
