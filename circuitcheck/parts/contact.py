"""How a contact fails, whatever works it: a coil, a hand, the coolant, a module."""

from __future__ import annotations

from circuitcheck.parts.fault import (
    HIGH_RESISTANCE,
    Failing,
    FaultMode,
    add_ohm,
    close_between,
    comes_and_goes,
    take_out,
)
from circuitcheck.physics.branch import Conductor


def contact_faults(
    part: Failing,
    key: str,
    contact: Conductor,
    *,
    label: str,
    words: str,
    now_and_then: bool = True,
) -> list[FaultMode]:
    """It stays open, closes now and then, stays closed, or is burnt.

    :param part: whose contact it is
    :param key: of its branch
    :param contact: the branch while it is closed
    :param label: how the part's modes tell it from its other contacts: ``30-87``
    :param words: the contact in words for a person
    :param now_and_then: whether it may also close in one test and not in the next
    """
    stuck = part.mode(
        f"{label} stuck open", f"{words} does not close", take_out(key), often="contact stuck open"
    )
    passing = [comes_and_goes(stuck, f"{words} closes now and then", part.kind)] if now_and_then else []
    return [
        stuck,
        *passing,
        part.mode(
            f"{label} welded",
            f"{words} does not open",
            close_between(key, contact.tail, contact.head, contact.ohm),
            often="contact welded",
            overloads=True,
        ),
        part.mode(
            f"{label} high resistance",
            f"{words} is burnt",
            add_ohm(key),
            HIGH_RESISTANCE,
            often="contact high resistance",
        ),
    ]
