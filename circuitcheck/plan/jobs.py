"""What a circuit is there for: every fan at every speed that it has in use."""

from __future__ import annotations

from collections.abc import Sequence

from circuitcheck.expect.expected import word_for
from circuitcheck.expect.words import SPEED
from circuitcheck.harness.readings import Sheet
from circuitcheck.plan.candidates import Candidate, opening
from circuitcheck.plan.planner import Planner
from circuitcheck.plan.setups import in_use

OFF = SPEED.words[0]


def jobs(planner: Planner, known: Sequence[Candidate]) -> dict[int, list[int]]:
    """The looks that show every fan at every speed it has in use, each where it takes least.

    :returns: places of the looks in each candidate needed, by its number
    """
    best: dict[tuple[str, ...], tuple[float, int, list[int]]] = {}
    for number, one in enumerate(known):
        speeds = _speeds(planner, one)
        words = tuple(speeds.values())
        if set(words) <= {OFF}:
            continue
        minutes = one.minutes_for(speeds) + opening(planner.harness, one.access)
        if words not in best or minutes < best[words][0]:
            best[words] = minutes, number, list(speeds)
    return {number: looks for _, number, looks in best.values()}


def unseen(planner: Planner, sheet: Sheet) -> list[str]:
    """Fans with the speeds at which they have not been seen to run, such as ``right fan fast``."""
    wanted: dict[tuple[str, str], None] = {}
    for one in planner.candidates:
        for place, word in _speeds(planner, one).items():
            if word != OFF:
                wanted.setdefault((one.observations[place][1].points[0], word))
    seen = {
        (one.observation.points[0], one.word)
        for one in sheet.readings
        if one.observation.kind == "speed"
    }
    parts = planner.harness.parts
    return [
        f"{parts[motor].belongs_to or motor} {word}"
        for motor, word in wanted
        if (motor, word) not in seen
    ]


def _speeds(planner: Planner, one: Candidate) -> dict[int, str]:
    """In a condition of use, what each fan does in a sound circuit, by the place of the look."""
    if not in_use(one.setup):
        return {}
    sound = planner.sound_values(one)
    return {
        place: word_for(planner.harness, observation, float(sound[place]))
        for place, (_, observation) in enumerate(one.observations)
        if observation.kind == "speed"
    }
