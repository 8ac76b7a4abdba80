"""A loom that is not fed straight from its battery: through a lamp, or from a limited supply.

A lamp stands between the plus post and the clamp that belongs on it, or in place of a fuse. A limited
supply stands in place of the battery. Its volts stay up to its limit and then give way: a source that
pushes the limit at any volts, beside a junction that takes what the loom does not, above the volts that
are set. Both kinds of branch are known to every solver here, and to the simulators that the numbers are
checked against.
"""

from __future__ import annotations

from circuitcheck.harness.model import THROUGH, Harness, Setup
from circuitcheck.parts.battery import Battery
from circuitcheck.physics.branch import Branch, Conductor, Source
from circuitcheck.physics.diode import Junction
from circuitcheck.physics.lamp import Filament

LEAD_OHM = 0.02
"""The leads of the lamp or the supply with their clips [ohm]; common practice, no source."""
_PUSH = 1e5
"""Volts behind the limit [V]: at the volts of a vehicle it then holds to one in ten thousand."""
_HOLD_OHM = 1e-3
"""How stiffly the volts are held below the limit [ohm]; common practice, no source."""
_SET = 0.01
"""Standard uncertainty of the limit and the volts as a person sets them, as a share."""


def fed_through(harness: Harness, setup: Setup) -> dict[str, Branch | None]:
    """What a set-up alters where the loom is fed; nothing where it is fed straight.

    With a lamp or a supply at the battery, any other battery is off its clamps.
    """
    through = setup.through
    if through is None:
        return {}
    battery = harness.supply.battery
    if through.lamp is not None and through.at is not None:
        return _in_series(harness, through.lamp, f"{through.at}.in", f"{through.at}.out")
    change: dict[str, Branch | None] = {
        key: None
        for name, part in harness.parts.items()
        if isinstance(part, Battery) and name != battery
        for key in (f"{name}:cells", f"{name}.+", f"{name}.-")
    }
    change[f"{battery}.+"] = None
    if through.lamp is not None:
        return change | _in_series(harness, through.lamp, f"{battery}.post+", f"{battery}.+")
    change[f"{battery}:cells"] = change[f"{battery}.-"] = None
    return change | _limited(harness, through.limit or 0.0)


def _in_series(harness: Harness, watts: float, start: str, end: str) -> dict[str, Branch | None]:
    """A lamp and its lead; its current varies as that of fitted lamps does."""
    lamp = Filament(
        start, f"{THROUGH}:lead", float(harness.volts), watts / harness.volts, spreads=(0.0, 0.06, 0.0)
    )
    return {f"{THROUGH}:lamp": lamp, THROUGH: _lead(end)}


def _lead(end: str) -> Conductor:
    return Conductor(f"{THROUGH}:lead", end, LEAD_OHM, 0.2)


def _limited(harness: Harness, limit: float) -> dict[str, Branch | None]:
    plus, minus = f"{THROUGH}:lead", f"{harness.supply.battery}.-"
    volts = harness.supply.resting
    return {
        THROUGH: _lead(f"{harness.supply.battery}.+"),
        f"{THROUGH}:limit": Source(plus, minus, _PUSH, _PUSH / limit, spread=_SET),
        f"{THROUGH}:volts": Junction(plus, minus, volts, _HOLD_OHM, spreads=(_SET, 0.0, 0.0)),
    }
