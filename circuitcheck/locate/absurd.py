"""Readings that nothing in the vehicle can give: probes exchanged, a wrong range, a slip of the pen.

They say nothing of the circuit, so they are left out of the weighing and asked for again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.parts.fuse import Fuse

_BELOW = -1.0
"""Volts against battery minus under which the probes are the wrong way round [V]."""
_TIMES_NOMINAL = 2.5
"""Volts over this many times the nominal ones come from no battery or alternator; common practice,
no source: a failed regulator gives half as much again."""
_TIMES_FUSE = 5.0
"""A fuse is open within a fraction of a second at this many times its rating (ISO 8820-3: at 3.5
times within half a second; from memory)."""

Absurd = tuple[Reading, str]
"""A reading with what is wrong with it."""


def sorted_out(harness: Harness, sheet: Sheet) -> tuple[Sheet, tuple[Absurd, ...]]:
    """A sheet without the readings that cannot be, and these with what is wrong with each.

    If no other reading is left, the sheet comes back whole.
    """
    found = tuple(_absurd(harness, sheet))
    bad = [one for one, _ in found]
    kept = tuple(one for one in sheet.readings if one not in bad)
    return (replace(sheet, readings=kept) if kept else sheet), found


def _absurd(harness: Harness, sheet: Sheet) -> Iterator[Absurd]:
    minus = {f"{name}.-" for name, part in harness.parts.items() if part.kind == "battery"}
    fuses = [part for part in harness.parts.values() if isinstance(part, Fuse)]
    most = max((float(one.rating) for one in fuses), default=math.inf)
    for one in sheet.readings:
        if one.word or not math.isfinite(one.value):
            continue
        kind, points = one.observation.kind, one.observation.points
        if kind in ("volts", "drop") and abs(one.value) > _TIMES_NOMINAL * harness.volts:
            yield one, f"cannot be in a {harness.volts:g} V vehicle"
        elif kind == "volts" and one.value < _BELOW and points[-1] in minus:
            yield one, "cannot be below battery minus: probes exchanged?"
        elif kind == "amps" and abs(one.value) > _TIMES_FUSE * most:
            yield one, f"would blow the largest fuse, {most:g} A, at once"


def words_for(absurd: tuple[Absurd, ...], *, left_out: bool) -> str:
    """One sentence for each of them."""
    then = "taken as misread and left out" if left_out else "taken as misread"
    return " ".join(
        f"'{one.name}' in {one.test} read {one.shown}, which {why} It is {then}."
        if why.endswith("?")
        else f"'{one.name}' in {one.test} read {one.shown}, which {why}; {then}."
        for one, why in absurd
    )
