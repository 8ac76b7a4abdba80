"""Afterwards: right or wrong, what each measurement could have told, what was unsafe, what ``next``
would have made of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import meter_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Observation
from circuitcheck.learn.case import Case
from circuitcheck.learn.workshop import Measurement, Workshop
from circuitcheck.physics.branch import Array
from circuitcheck.physics.meter import ACCURACY, VOLTMETER_OHM
from circuitcheck.plan.planner import PRICE

VALUES = 7
"""Values of a fault that a reading is held against: some readings rise and fall again between."""
ALIKE = 0.08
"""Readings of two sound vehicles differ by up to this share; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Told:
    """What one measurement told.

    :param off: whether it read as no sound vehicle does
    :param shows: how many of the single faults of this harness it could have shown
    :param left: how many of them agree with this and all earlier measurements; None where single
        faults are not the question
    :param could: what it could tell of the unit to put right, on the mean [bit]; None if not worked out
    :param told: what it did tell [bit]
    :param put_right: units that had been put right by then
    """

    minutes: float
    said: str
    shown: str
    sound: str
    off: bool
    shows: int | None
    left: int | None
    could: float | None = None
    told: float | None = None
    put_right: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """A measurement that ``next`` asked for: what was said, what it showed, the minutes by then."""

    minutes: float
    said: str
    shown: str


@dataclass(frozen=True)
class Followed:
    """How it went.

    :param verdict_minutes: to the first verdict, as the workshop counts them
    :param minutes: to the end, with drives and whatever was still to be found
    :param tests: set-ups that ``next`` asked for
    :param lines: all that was said, to be played again
    :param named: faults that were named; none if it came out sound
    :param units: what was put right, in order
    :param needless: those of them that were not at fault
    :param cured: whether nothing was left to notice in the end
    :param first_time: whether nothing was put right in vain, and nothing left
    :param first_right: whether the first unit put right was due; with none, whether none was
    :param unparted: those put right in vain that the readings could not part from what was due
    :param thorough: whether it was ``next --thorough``
    """

    verdict_minutes: float
    minutes: float
    tests: int
    lines: tuple[str, ...]
    steps: tuple[Step, ...]
    named: tuple[str, ...]
    units: tuple[str, ...]
    needless: tuple[str, ...]
    cured: bool
    first_time: bool
    first_right: bool
    unparted: tuple[str, ...]
    thorough: bool = False


@dataclass(frozen=True)
class Debrief:
    """The outcome of a case.

    :param named: faults that the student named; ``truth`` those that were there
    :param units: what the student would renew or repair; ``due`` what was due
    :param needless: units that were put right in vain, each at ``PRICE`` minutes
    :param followed: the same vehicle with ``next``; None if not worked out
    :param known: how many single faults this harness has
    :param fitting: the single faults that fit everything measured; empty where that is not counted
    """

    harness: str
    level: int
    seed: int
    named: tuple[str, ...]
    truth: tuple[str, ...]
    units: tuple[str, ...]
    due: tuple[str, ...]
    right_fault: bool
    right_unit: bool
    minutes: float
    needless: tuple[str, ...]
    known: int
    told: tuple[Told, ...]
    fitting: tuple[str, ...]
    unsafe: tuple[str, ...]
    words: tuple[str, ...]
    remedies: tuple[str, ...]
    trap: str
    followed: Followed | None = None

    @property
    def lost(self) -> float:
        """Minutes lost by what was put right in vain."""
        return PRICE * len(self.needless)

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {**asdict(self), "lost": self.lost}


def debrief(workshop: Workshop, named: Sequence[str], units: Sequence[str]) -> Debrief:
    """Set what the student said and did against what was there.

    :param named: fault names without values, as ``R1 open``
    :param units: parts or assemblies to renew
    """
    case = workshop.case
    truth = tuple(one.spec for one in case.faults)
    modes = {one.mode.spec for one in case.faults}
    due, needless = workshop.due, workshop.needless(units)
    rows = _rows(case)
    told, fitting = _told(case, rows, workshop.log)
    return Debrief(
        case.harness.name,
        case.level,
        case.seed,
        tuple(named),
        truth,
        tuple(units),
        due,
        set(named) == modes,
        not needless and set(due) <= set(units),
        round(workshop.minutes, 1),
        needless,
        len({one.mode.spec for one in rows}),
        told,
        fitting,
        tuple(dict.fromkeys(workshop.unsafe)),
        tuple(one.mode.words for one in case.faults),
        tuple(one.mode.remedy for one in case.faults),
        case.trap,
    )


def _rows(case: Case) -> list[ChosenFault]:
    """Every single fault, at several values from mild to severe where it has a value."""
    found = []
    for mode in lasting_faults(case.harness):
        severity = mode.severity
        values = np.geomspace(severity.low, severity.high, VALUES) if severity else np.zeros(1)
        found += [ChosenFault(mode, float(value)) for value in values]
    return found


def _told(
    case: Case, rows: Sequence[ChosenFault], log: Sequence[Measurement]
) -> tuple[tuple[Told, ...], tuple[str, ...]]:
    """Each measurement against every single fault; and the faults that fit them all."""
    countable = case.meter_ohm == VOLTMETER_OHM
    single = countable and len(case.faults) <= 1
    blown = blown_in_service(case.harness, [one.change for one in rows]) if countable and log else []
    left = {one.mode.spec for one in rows}
    found = []
    for one in log:
        done = tuple(sorted(one.renewed))
        if one.spoiled:
            doubt = f"{one.shown}, with the battery connected: not to be relied on"
            found.append(
                Told(
                    round(one.minutes, 1), one.said, doubt, one.sound, False, None, None, put_right=done
                )
            )
            continue
        shows = None
        sound, values = _predicted(case, rows, one, blown)
        if countable and not one.bare and not one.renewed:
            agree: dict[str, list[float]] = {}
            for fault, value in zip(rows, values, strict=True):
                agree.setdefault(fault.mode.spec, []).append(float(value))
            shows = sum(
                any(not alike(one.observation, v, sound) for v in listed) for listed in agree.values()
            )
            left &= {
                spec for spec, listed in agree.items() if within(one.observation, one.value, listed)
            }
        found.append(
            Told(
                round(one.minutes, 1),
                one.said,
                one.shown,
                one.sound,
                not alike(one.observation, one.value, sound),
                shows,
                len(left) if single and shows is not None else None,
                put_right=done,
            )
        )
    return tuple(found), tuple(sorted(left)) if single and log else ()


def _predicted(
    case: Case, rows: Sequence[ChosenFault], one: Measurement, blown: Sequence[frozenset[str]]
) -> tuple[float, Array]:
    """The reading on a sound vehicle and under every fault, in the set-up of the measurement."""
    bench = Bench(case.harness, one.setup, (("it", one.observation),))
    branches = bench.circuit.branches
    used = rows if blown else ()
    changes = [{} if row.mode.where in one.setup.swap else row.change(branches) for row in used]
    renewed = {f"{name} blown" for name in one.setup.swap}
    before = [one.own_doing, *((fuses - renewed) | one.own_doing for fuses in blown)]
    values = bench.run([{}, *changes], blown=before).values[:, 0]
    return float(values[0]), values[1:]


def margin(observation: Observation, value: float) -> float:
    """How far two readings of like vehicles lie apart, in the unit of the reading."""
    own = 3 * float(ACCURACY[meter_for(observation)].uncertainty(np.array(value)))
    return own + ALIKE * abs(value)


def alike(observation: Observation, one: float, other: float) -> bool:
    """Whether two readings could be of like vehicles; OL is like OL alone."""
    if not (math.isfinite(one) and math.isfinite(other)):
        return one == other or (math.isnan(one) and math.isnan(other))
    return abs(one - other) <= margin(observation, other)


def within(observation: Observation, read: float, values: Sequence[float]) -> bool:
    """Whether a reading lies in what a fault can give, from mild to severe."""
    finite = [one for one in values if math.isfinite(one)]
    if any(alike(observation, read, one) for one in values):
        return True
    if not math.isfinite(read) or len(finite) < 2:
        return False
    return min(finite) <= read <= max(finite)
