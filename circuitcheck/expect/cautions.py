"""Cautions for a set-up, and the jumper lead to make up for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from circuitcheck.harness.model import Harness, Observation, Setup, Through

STANDARD_FUSES = (3, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80)
"""Rated currents of blade fuses [A] (ISO 8820-3; from memory)."""
CONTINUOUS_SHARE = 0.8
"""A fuse carries this share of its rating for long; common practice, no source."""
LEAD_SIZES = ((8.0, 1.0), (12.0, 1.5), (20.0, 2.5), (30.0, 4.0), (42.0, 6.0), (60.0, 10.0))
"""Current up to which [A] a lead of some section [mm2] stays cool; common practice, no source."""

# Each fits on one line of 80 columns behind its mark, so that all of them can stand before every answer.
FANS = "A fan can start without warning, ignition off too: hands, hair, tools clear."
LEAD = "Fused leads only, of the right size; make the last contact off the battery."
LEAD_FUSE = "Lead fuse blows? A short or a seized motor behind it: stop, fit none bigger."
HOT = "Hot coolant is under pressure: cap stays on; clear of hoses and exhaust."
HAND = "A hand in a fan: first its fuse out, its plug undone, or the battery off."
OHMS = "Ohms only with the battery off, clamp tied back; 0 V at the points first."
FUSES = "Same rating, never larger. A fuse that blows again has a reason: find it."
RUNNING = "Engine running: brake on, out of gear, exhaust led out; belts and fans turn."
LEAVE_ALONE = "Leave airbag and orange high-voltage wiring alone; manual, local rules first."


_IN_ORDER = (FANS, HAND, OHMS, LEAD, LEAD_FUSE, FUSES, HOT, RUNNING, LEAVE_ALONE)


def together(several: Iterable[Iterable[str]]) -> list[str]:
    """The cautions of several things to do, each once, those for all work last."""
    found = dict.fromkeys(text for one in several for text in one)
    return sorted(found, key=lambda text: _IN_ORDER.index(text) if text in _IN_ORDER else -1)


@dataclass(frozen=True, slots=True)
class Lead:
    """The jumper lead of a test.

    :param amps: current it carries in a sound circuit [A]
    :param size_mm2: section to use [mm2]
    :param fuse_a: fuse to put in it [A]
    """

    amps: float
    size_mm2: float
    fuse_a: float

    @property
    def words(self) -> str:
        """What to make up.

        >>> lead_for(12.4).words
        '2.5 mm2 with a 20 A fuse (12.4 A with all sound)'
        """
        amps = f"{self.amps:.2f}" if self.amps < 1 else f"{self.amps:.1f}"
        return f"{self.size_mm2:g} mm2 with a {self.fuse_a:g} A fuse ({amps} A with all sound)"


def lead_for(amps: float, most: float = 0.0) -> Lead:
    """The lead and fuse for a current [A].

    :param most: what it may come to carry, if that is more [A]

    >>> lead_for(12.4)
    Lead(amps=12.4, size_mm2=2.5, fuse_a=20)
    >>> lead_for(0.1, 12.4).fuse_a
    20
    """
    wanted = max(amps, most, 0.5) / CONTINUOUS_SHARE
    fuse = next((one for one in STANDARD_FUSES if one >= wanted), STANDARD_FUSES[-1])
    # The lead must outlast its fuse, so that the section follows the fuse.
    size = next((mm2 for limit, mm2 in LEAD_SIZES if limit >= fuse), LEAD_SIZES[-1][1])
    return Lead(round(amps, 2), size, fuse)


LAMPS = {12: (3.0, 5.0, 10.0, 21.0, 55.0), 24: (3.0, 5.0, 10.0, 21.0, 70.0)}
"""Lamps that are sold for vehicles, by their volts [W]; common practice, no source."""


def setup_lines(setup: Setup, volts: int | None = None) -> list[str]:
    """What to do before looking, step by step.

    :param volts: of the vehicle, for the lamp that it is fed through

    >>> setup_lines(Setup.model_validate({"unplug": ["S1"], "bridge": [["S1.2", "S1.1"]]}))
    ['ignition off', 'plug of S1 undone', "S1.2 bridged to S1.1, on the loom's side"]
    """
    lines = []
    if setup.battery == "disconnected":
        lines.append("battery disconnected")
    if setup.through:
        lines.append(fed_words(setup.through, volts))
    lines.append(f"ignition {setup.ignition}" + (", engine running" if setup.running else ""))
    if setup.engine.celsius > 40:
        lines.append(
            f"coolant at {setup.engine.celsius:g} degC, "
            f"{'warming up' if setup.engine.warming else 'cooling down'}"
        )
    lines += [f"{part} in position {position}" for part, position in setup.switches.items()]
    lines += [f"{part} pulled out" for part in setup.pull]
    lines += [f"plug of {part} undone" for part in setup.unplug]
    lines += [f"{part} swapped for a known good one" for part in setup.swap]
    lines += [f"{one} bridged to {two}, on the loom's side" for one, two in setup.bridge]
    lines += [f"{point} fed from battery plus" for point in setup.feed]
    lines += [f"{point} joined to battery minus" for point in setup.ground]
    return lines


def fed_words(through: Through, volts: int | None = None) -> str:
    """What the loom is fed through.

    >>> fed_words(Through(lamp="21 W")), fed_words(Through(limit="2.5 A"))
    ("fed through a lamp of 21 W for the vehicle's volts", 'fed from a supply that is limited to 2.5 A')
    >>> fed_words(Through(lamp="55 W", at="F1"), 12)
    'a 12 V lamp of 55 W in place of F1'
    """
    if through.lamp is None:
        return f"fed from a supply that is limited to {through.limit:g} A"
    lamp = lamp_words(through.lamp, volts)
    return f"{lamp} in place of {through.at}" if through.at is not None else f"fed through {lamp}"


def lamp_words(watts: float, volts: int | None) -> str:
    """A lamp as one asks for it; made up of two where nobody sells it.

    >>> lamp_words(5, 24), lamp_words(140, 24)
    ('a 24 V lamp of 5 W', 'two 24 V lamps of 70 W side by side')
    """
    if volts is None:
        return f"a lamp of {watts:g} W for the vehicle's volts"
    sold = LAMPS.get(volts, ())
    if watts not in sold and watts / 2 in sold:
        return f"two {volts} V lamps of {watts / 2:g} W side by side"
    return f"a {volts} V lamp of {watts:g} W"


def cautions_for(harness: Harness, setup: Setup, observations: Iterable[Observation] = ()) -> list[str]:
    """What to mind in a set-up, the most pressing first.

    :param observations: what is read in it
    """
    by_hand = [one.kind == "turn" for one in observations]
    found = [FANS, HAND] if any(by_hand) else []
    if setup.battery == "disconnected":
        found += [] if by_hand and all(by_hand) else [OHMS]
    elif not found and any(part.kind_name == "motor" for part in harness.parts.values()):
        found.append(FANS)
    if setup.bridge or setup.feed or setup.ground:
        found += [LEAD, LEAD_FUSE]
    if setup.pull:
        found.append(FUSES)
    if setup.engine.celsius >= 60:
        found.append(HOT)
    if setup.running:
        found.append(RUNNING)
    found.append(LEAVE_ALONE)
    return found
