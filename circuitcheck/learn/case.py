"""A case to practise on: a vehicle with something hidden in it, the same for a seed on any machine."""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from circuitcheck.circuit.build import all_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.expect.expected import full_speed
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.words import SPEED
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.learn.curves import speed
from circuitcheck.learn.subject import plain_circuit
from circuitcheck.parts.fault import FaultMode
from circuitcheck.physics.meter import VOLTMETER_OHM
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.point import solve_point

LEVELS = {
    1: "one thing open",
    2: "a bad ground",
    3: "a resistance that has changed",
    4: "two faults at once",
    5: "a trap: the meter, the symptom, or nothing wrong at all",
}
LOADING_OHM = 20e3
"""A moving-coil meter of 2 kohm per volt on its 10 V range [ohm]; common practice, no source."""
CORRODED = (3e3, 30e3)
"""A joint green through [ohm]: what such a meter is fooled by; common practice, no source."""
BAD_GROUND = (0.15, 1.5)
"""A ground that a fan notices [ohm]; common practice, no source."""
DRIFT = (2.0, 5.0)
"""By how much a resistor has changed [times its value]; common practice, no source."""
WEAKER = 0.08
"""A speed that is lower by this share is noticed by ear; common practice, no source."""
FIRSTS, SECONDS = 8, 12
"""How many pairs are tried before a harness is said to have none that shows; keeps it quick."""
ATTEMPTS = 6
"""How often other values are drawn before a harness is said to have nothing that shows."""
WELL = "all as it should be."
OPEN_WORDS = ("open", "blown", "stuck open", "coil open")


class Chance:
    """Numbers out of SHA-256 (FIPS 180-4): no generator whose next version may deal otherwise."""

    def __init__(self, *seed: object) -> None:
        self._seed = "|".join(str(one) for one in seed)

    def uniform(self, label: str) -> float:
        """From 0 to 1, both left out."""
        digest = hashlib.sha256(f"{self._seed}|{label}".encode()).digest()
        return (int.from_bytes(digest[:6]) + 0.5) / 2**48

    def normal(self, label: str) -> float:
        """Standard normal, within three standard deviations."""
        return max(-3.0, min(3.0, NormalDist().inv_cdf(self.uniform(label))))

    def between(self, label: str, low: float, high: float) -> float:
        """Evenly on a log scale."""
        return low * math.exp(self.uniform(label) * math.log(high / low))

    def order(self, label: str, faults: Sequence[FaultMode]) -> list[FaultMode]:
        """A drawing without putting back, the likelier faults sooner."""

        def when(one: FaultMode) -> float:
            return -math.log(self.uniform(f"{label} {one.spec}")) / one.weight

        return sorted(faults, key=when)


@dataclass(frozen=True)
class Case:
    """What the student does not know.

    :param faults: none if nothing is wrong
    :param meter_ohm: input of the voltmeter [ohm]
    :param complaint: what the customer says
    :param trap: what is special about it, for the debrief; empty on the lower levels
    """

    harness: Harness
    level: int
    seed: int
    faults: tuple[ChosenFault, ...]
    meter_ohm: float
    complaint: str
    trap: str

    @property
    def chance(self) -> Chance:
        """What draws this vehicle and its meter."""
        return Chance(self.harness.name, self.level, self.seed)


def draw_case(harness: Harness, level: int, seed: int) -> Case:
    """The case of a level and a seed.

    :raises ValueError: if there is no such level, or no fault of its kind in this harness shows
    """
    if level not in LEVELS:
        raise ValueError(f"no level {level}; there are 1 to {max(LEVELS)}")
    chance = Chance(harness.name, level, seed)
    if level == 5:
        return _trap(harness, seed, chance)
    if level < 4:
        return _case(harness, level, seed, (_one(harness, level, chance),))
    return _case(harness, level, seed, _two(harness, chance))


def _case(
    harness: Harness,
    level: int,
    seed: int,
    faults: tuple[ChosenFault, ...],
    trap: str = "",
    meter_ohm: float = VOLTMETER_OHM,
) -> Case:
    said = complaint(harness, faults) if faults else _unsure(harness, Chance(harness.name, level, seed))
    return Case(harness, level, seed, faults, meter_ohm, said, trap)


def _unsure(harness: Harness, chance: Chance) -> str:
    """What a customer says when there is nothing to notice: as of a slight fault, and he is wrong."""
    running = [(place, rpm) for place, rpm in speeds(harness, ()).items() if rpm > 0]
    if not running:
        return "A fan is not as it was."
    (test, motor), rpm = running[int(chance.uniform("unsure") * len(running))]
    return f"{harness.tests[test].title}: {_changed(harness, motor, rpm, rpm)}."


def _drawn(harness: Harness, level: int, chance: Chance) -> Iterator[ChosenFault]:
    """Faults of a level's kind in the order drawn."""
    modes = chance.order(f"level {level}", _modes(harness, level))
    for attempt in range(ATTEMPTS):
        for mode in modes:
            if attempt == 0 or mode.severity is not None:
                yield ChosenFault(mode, _value(mode, level, chance, attempt))


def _one(harness: Harness, level: int, chance: Chance) -> ChosenFault:
    """The first fault of a level's kind that somebody would complain of."""
    for one in _drawn(harness, level, chance):
        if shows(harness, (one,)):
            return one
    raise _nothing(harness, level)


def _two(harness: Harness, chance: Chance) -> tuple[ChosenFault, ChosenFault]:
    """Something open, and something bad elsewhere that the open one does not hide.

    Where anything open hides all else, as with a single fan, two bad resistances.
    """
    kinds = (2, 3) if chance.uniform("second") < 0.5 else (3, 2)
    found = _pair(harness, chance, (1,), kinds) or _pair(harness, chance, (3,), (2,))
    if found is None:
        raise _nothing(harness, 4)
    return found


def _pair(
    harness: Harness, chance: Chance, first_kinds: Sequence[int], second_kinds: Sequence[int]
) -> tuple[ChosenFault, ChosenFault] | None:
    """The first two in the order drawn of which each shows by itself, and the second beside the first.

    With one of them put right the customer comes back for the other.
    """
    for first in itertools.islice(_of_kinds(harness, chance, first_kinds), FIRSTS):
        if not shows(harness, (first,)):
            continue
        for second in itertools.islice(_of_kinds(harness, chance, second_kinds), SECONDS):
            elsewhere = first.mode.replace != second.mode.replace
            besides = elsewhere and shows(harness, (first, second), (first,))
            if besides and shows(harness, (second,)):
                return first, second
    return None


def _of_kinds(harness: Harness, chance: Chance, kinds: Sequence[int]) -> Iterator[ChosenFault]:
    return (one for kind in kinds for one in _drawn(harness, kind, chance))


def _nothing(harness: Harness, level: int) -> ValueError:
    return ValueError(f"{harness.name} has nothing for level {level} ({LEVELS[level]}) that would show")


def _modes(harness: Harness, level: int) -> list[FaultMode]:
    known = all_faults(harness)
    if level == 1:
        return [one for one in known if one.mode.endswith(OPEN_WORDS)]
    if level == 2:
        grounds = {name for name, part in harness.parts.items() if part.kind_name == "ground"}
        return [one for one in known if one.where in grounds and one.mode == "high resistance"]
    drifted = [one for one in known if one.mode == "drifted"]
    return drifted or [one for one in known if one.mode.endswith("high resistance")]


def _value(mode: FaultMode, level: int, chance: Chance, attempt: int) -> float:
    if mode.severity is None:
        return 0.0
    if mode.mode == "drifted":
        # Its range is a tenth to twenty times the resistor's own value.
        return mode.severity.low * 10 * chance.between(f"value {attempt} {mode.spec}", *DRIFT)
    if level in (2, 3):
        return chance.between(f"value {attempt} {mode.spec}", *BAD_GROUND)
    return mode.severity.typical


def _trap(harness: Harness, seed: int, chance: Chance) -> Case:
    kinds = ("meter", "symptom", "nothing")
    start = int(chance.uniform("trap") * 3)
    for kind in (*kinds[start:], *kinds[:start]):
        if kind == "nothing":
            return _case(harness, 5, seed, (), "nothing was wrong: what a customer says is no reading")
        if kind == "symptom" and (fault := _blows_a_fuse(harness, chance)):
            return _case(
                harness,
                5,
                seed,
                (fault,),
                "the blown fuse was the symptom and not the cause: something had overloaded it",
            )
        if kind == "meter" and (fault := _corroded(harness, chance)):
            return _case(
                harness,
                5,
                seed,
                (fault,),
                f"the meter draws current: its input is "
                f"{LOADING_OHM / 1000:.0f} kohm, and behind a corroded joint it pulls down the "
                "volts that it is to show",
                LOADING_OHM,
            )
    raise AssertionError("'nothing' is always among the kinds")


def _blows_a_fuse(harness: Harness, chance: Chance) -> ChosenFault | None:
    for mode in chance.order("overload", [one for one in all_faults(harness) if one.overloads]):
        one = ChosenFault(mode, mode.severity.typical if mode.severity else 0.0)
        (blown,) = blown_in_service(harness, [one.change])
        if blown and shows(harness, (one,)):
            return one
    return None


def _corroded(harness: Harness, chance: Chance) -> ChosenFault | None:
    joints = [one for one in all_faults(harness) if one.mode == "high resistance"]
    for mode in chance.order("corroded", joints):
        one = ChosenFault(mode, chance.between(f"value {mode.spec}", *CORRODED))
        if shows(harness, (one,)):
            return one
    return None


# -- what the customer notices --------------------------------------------------------------------------


def ordinary(setup: Setup) -> bool:
    """Whether a set-up is ordinary use: nothing pulled, undone, bridged or disconnected."""
    touched = (setup.pull, setup.unplug, setup.bridge, setup.feed, setup.ground, setup.swap)
    return not any(touched) and setup.battery == "connected"


def speeds(harness: Harness, faults: Sequence[ChosenFault]) -> dict[tuple[str, str], float]:
    """Speed of each motor in each test of ordinary use [rpm]; 0 where it buzzes."""
    found = {}
    for name, test in harness.tests.items():
        if not ordinary(test.setup):
            continue
        circuit = plain_circuit(harness, name, faults)
        point = solve_point(circuit)
        for key, one in circuit.branches.items():
            if isinstance(one, FanMotor):
                rpm = 0.0 if point.buzzing else speed(circuit, point, key)
                found[name, key.partition(":")[0]] = rpm
    return found


def shows(harness: Harness, faults: Sequence[ChosenFault], beside: Sequence[ChosenFault] = ()) -> bool:
    """Whether somebody would notice: a fan clearly slower, faster, off, or on."""
    sound = speeds(harness, beside)
    return any(_noticed(sound[place], rpm) for place, rpm in speeds(harness, faults).items())


def _noticed(sound: float, rpm: float) -> bool:
    return abs(rpm - sound) > max(WEAKER * sound, 50.0)


def heard(harness: Harness, faults: Sequence[ChosenFault]) -> dict[str, dict[str, str]]:
    """What the customer's words amount to as looks, test by test: only where a word has changed.

    Who speaks of one fan in a test means that the others do what they should, or what he says of them.
    """
    sound, now = speeds(harness, ()), speeds(harness, faults)
    words: dict[str, dict[str, str]] = {}
    changed = set()
    for (test, motor), rpm in now.items():
        full = full_speed(harness, motor)
        was, has = (SPEED.word(one / full) for one in (sound[test, motor], rpm))
        words.setdefault(test, {})[motor] = has
        if was != has and _noticed(sound[test, motor], rpm):
            changed.add(test)
    return {test: looks for test, looks in words.items() if test in changed}


def complaint(harness: Harness, faults: Sequence[ChosenFault]) -> str:
    """What somebody would notice of the fans in ordinary use."""
    sound, now = speeds(harness, ()), speeds(harness, faults)
    return " ".join(dict.fromkeys(_complaints(harness, sound, now))) or WELL


def _complaints(
    harness: Harness, sound: dict[tuple[str, str], float], now: dict[tuple[str, str], float]
) -> Iterator[str]:
    by_test: dict[str, list[str]] = {}
    for (test, motor), rpm in now.items():
        if _noticed(sound[test, motor], rpm):
            by_test.setdefault(test, []).append(_changed(harness, motor, sound[test, motor], rpm))
    for test, parts in by_test.items():
        yield f"{harness.tests[test].title}: {', '.join(parts)}."


def _changed(harness: Harness, motor: str, sound: float, rpm: float) -> str:
    """What is said of a fan that does otherwise than it did."""
    full = full_speed(harness, motor)
    was, has = (SPEED.word(one / full) for one in (sound, rpm))
    slower = f"is {has}, {'faster' if rpm > sound else 'slower'} than it was"
    told = f"should be {was} and is {has}" if was != has else slower
    return f"{_called(harness, motor)} {told}"


def _called(harness: Harness, motor: str) -> str:
    """A fan as a customer calls it: by what it belongs to, unless another does so too."""
    unit = harness.parts[motor].belongs_to
    others = [one for name, one in harness.parts.items() if one.kind == "motor" and name != motor]
    return f"the {unit}" if unit and unit not in {one.belongs_to for one in others} else motor
