"""What to put right: the unit of each suspect, and the fewest that together cover what is likely."""

from __future__ import annotations

from collections.abc import Sequence

from circuitcheck.locate.standing import Standing
from circuitcheck.locate.verdict import Repair
from circuitcheck.physics.branch import Array

SURE = 0.8
"""Chance of one unit from which it is called located."""


def units_of(standing: Standing) -> tuple[str, ...]:
    """The units a suspect asks for: those of its faults by name, and the fuses that they have blown."""
    units = sorted(fault.replace for fault in standing.suspect.faults)
    return tuple(dict.fromkeys([*units, *fuses_of(standing)]))


def fuses_of(standing: Standing) -> list[str]:
    """The fuses that the faults of a suspect have blown in use."""
    return sorted(name.removesuffix(" blown") for name in standing.blown)


def unit_of(standing: Standing) -> str:
    """The same in words; empty for sound."""
    return " and ".join(units_of(standing))


def by_unit(standings: Sequence[Standing], chances: Array) -> dict[str, float]:
    """Chance of each unit, or set of units, being what must be put right."""
    found: dict[str, float] = {}
    for one, chance in zip(standings, chances, strict=True):
        unit = unit_of(one)
        found[unit] = found.get(unit, 0.0) + float(chance)
    return found


def covering(standings: Sequence[Standing], chances: Array) -> Repair:
    """The fewest units whose repair cures what is wrong with a chance of :data:`SURE`.

    Greedily, the likeliest set of units first. A suspect is cured when all its units are among them.
    """
    sets: dict[frozenset[str], float] = {}
    for one, chance in zip(standings, chances, strict=True):
        units = frozenset(units_of(one))
        sets[units] = sets.get(units, 0.0) + float(chance)
    chosen: list[str] = []
    for units in sorted(sets, key=lambda one: -sets[one]):
        chosen += sorted(units.difference(chosen))
        cured = sum(chance for one, chance in sets.items() if one.issubset(chosen))
        if cured >= SURE:
            break
    return Repair(tuple(chosen), min(cured, 1.0))
