"""How hot a resistor gets, and what rating it needs."""

from __future__ import annotations

from dataclasses import dataclass

from circuitcheck.learn.resistor.standard import usual_watts

MARGIN = 2.0
"""Times the watts while the fan runs that a resistor is rated for; common practice, no source."""
HOTTEST, FULL_AT = 350.0, 25.0
"""Surface of a wirewound resistor at full rating [degC], and the still air it is rated in [degC]: the
derating line of MIL-PRF-26, characteristic V; from memory."""
CLASSES = (
    (85.0, "A"),
    (100.0, "B"),
    (125.0, "C"),
    (150.0, "D"),
    (175.0, "E"),
    (200.0, "F"),
    (225.0, "G"),
    (250.0, "H"),
)
"""Temperature classes of road-vehicle wire [degC] (ISO 6722-1; from memory)."""
ASSUMED = (
    "assumed: full rating in still air of 25 degC makes 350 degC, in a straight line "
    "(MIL-PRF-26, characteristic V; from memory); the fan's own wind cools it"
)
GIVEN = "as given"


@dataclass(frozen=True, slots=True)
class Rating:
    """What a resistor must be rated for.

    :param running: for its watts while the fan runs, with the margin [W]
    :param locked: to bear a locked fan for good [W]
    :param take: the one to take [W]
    """

    running: float
    locked: float
    take: float


def rating(running: float, locked: float, *, margin: float, ambient: float, burns: bool) -> Rating:
    """The rating for some watts while running and with the rotor held [W].

    :param ambient: air around it [degC]; above 25 degC a rating counts for less
    :param burns: whether nothing ends a locked fan, so that the resistor has to bear it
    """
    for_running = usual_watts(margin * running)
    for_locked = usual_watts(locked / share_kept(ambient))
    return Rating(for_running, for_locked, max(for_running, for_locked) if burns else for_running)


def share_kept(ambient: float) -> float:
    """Share of its rating that a resistor may give off in still air [1].

    >>> share_kept(25.0), share_kept(187.5)
    (1.0, 0.5)
    """
    return min(1.0, (HOTTEST - ambient) / (HOTTEST - FULL_AT))


@dataclass(frozen=True, slots=True)
class Surface:
    """An estimate of how hot the outside of a resistor gets.

    :param kelvin_per_watt: thermal resistance to the air
    :param running: [degC]
    :param locked: with the rotor held for good [degC]
    :param rests_on: where the thermal resistance comes from
    """

    kelvin_per_watt: float
    running: float
    locked: float
    rests_on: str


def surface(running: float, locked: float, rated: float, ambient: float, given: float | None) -> Surface:
    """Surface temperature: air plus thermal resistance times watts.

    :param rated: rating of the resistor [W]
    :param given: thermal resistance [K/W], where it is known
    """
    thermal = (HOTTEST - FULL_AT) / rated if given is None else given
    return Surface(
        thermal,
        ambient + thermal * running,
        ambient + thermal * locked,
        ASSUMED if given is None else GIVEN,
    )


def rating_below(watts: float, celsius: float, ambient: float) -> float:
    """The usual rating whose surface stays below a temperature, as :func:`surface` assumes [W]."""
    return usual_watts((HOTTEST - FULL_AT) * watts / max(celsius - ambient, 1.0) * (1 + 1e-9))


def wire_class(celsius: float) -> str:
    """The class of wire that may touch a surface; empty if none may.

    >>> wire_class(160.0), wire_class(300.0)
    ('E', '')
    """
    return next((name for limit, name in CLASSES if celsius <= limit), "")
