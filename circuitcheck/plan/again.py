"""A reading taken once more before testing stops, so that no slip of the eye decides a repair."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from circuitcheck.expect.bench import Bench
from circuitcheck.harness.readings import Reading, Sheet
from circuitcheck.locate.evidence import DOUBTED, times_taken
from circuitcheck.locate.verdict import Hinge, Verdict
from circuitcheck.plan.asked import NextTest, told_alone
from circuitcheck.plan.candidates import READING, Candidate, candidate_of, tool_of
from circuitcheck.plan.outcomes import outcomes_of
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner
from circuitcheck.plan.stands import minutes_now, stand_of

_MOST = 5.0
"""Minutes that one reading more may take, its set-up made anew; common practice, no source."""
_LOOKS = {
    "speed": "Look at",
    "lamp": "Look at",
    "click": "Listen to",
    "hear": "Listen to",
    "turn": "Turn by hand",
    "fuse": "Look at the fuse of",
}


_LEADS = ("bridge", "feed", "ground")
"""How the keys of leads begin, which have a fuse and are none."""


@dataclass(frozen=True)
class Repeat:
    """A reading to be taken once more.

    :param why: what rests on it
    :param candidate: its set-up, with that reading alone in it
    """

    test: NextTest
    why: str
    candidate: Candidate


def once_more(planner: Planner, sheet: Sheet, outlook: Outlook, options: Options) -> Repeat | None:
    """The reading to take once more; None if nothing rests on one that was taken only once."""
    if outlook.verdict is None:
        return None
    for reading, why in _doubtful(sheet, outlook.verdict):
        candidate = _candidate(planner, sheet, reading)
        tools = {tool_of(reading.observation), *candidate.needs} - {"eyes"}
        if candidate.name in options.skip or _minutes(planner, sheet, candidate) > _MOST:
            continue
        if tools <= options.tools:
            return Repeat(_told(planner, sheet, outlook, options, candidate), why, candidate)
    return None


def _doubtful(sheet: Sheet, verdict: Verdict) -> Iterator[tuple[Reading, str]]:
    """Readings taken once that are likely to be wrong, or that alone decide what to put right."""
    asked: dict[tuple[str, str], str] = {}
    for one in verdict.readings:
        if one.misread > DOUBTED:
            asked[one.test, one.name] = "it does not go with the other readings"
    for hinge in [one for one in verdict.hinges if _turns(verdict, one)][:1]:
        instead = (
            f"{hinge.instead} would be the likelier to put right"
            if hinge.instead
            else ("the wiring would be sound")
        )
        asked.setdefault(
            (hinge.test, hinge.name), "the verdict rests on it alone; had it been misread, " + instead
        )
    for reading in sheet.readings:
        why = asked.get((reading.test, reading.name))
        if why and times_taken(sheet, reading) == 1:
            yield reading, f"{_named(reading)} once more: {why}."


def _turns(verdict: Verdict, hinge: Hinge) -> bool:
    """Whether another reading would change what is put right, and not only in which order.

    Two wires that meet in a splice differ by less than a meter shows: which of them stands first may
    hang on one reading, and taking it again decides nothing.
    """
    return not hinge.instead or not set(hinge.instead.split(" and ")).issubset(verdict.repair.units)


def _named(reading: Reading) -> str:
    """What to do: ``Look at M1``, ``Measure volts from X1.1 to G1.-``."""
    kind, points = reading.observation.kind, reading.observation.points
    look = _LOOKS.get(kind, "Measure")
    if kind == "fuse" and not points[0].startswith(_LEADS):
        look = "Look at"
    if not reading.name.startswith(f"{kind} "):
        return f"{look} {reading.name}"
    if len(points) == 1:
        return f"{look} {points[0]}" if kind in _LOOKS else f"{look} {kind} of {points[0]}"
    what = "volts lost" if kind == "drop" else kind
    return f"{look} {what} from {points[0]} to {points[1]}"


def _candidate(planner: Planner, sheet: Sheet, reading: Reading) -> Candidate:
    """The set-up of a reading with that reading alone in it; one's own set-ups are made up anew."""
    test = sheet.setups[reading.test]
    for one in planner.candidates:
        if one.setup == test.setup:
            names = [label for label, each in one.observations if each == reading.observation]
            name = names[0] if names else reading.name
            return replace(one, observations=((name, reading.observation),), listed=0)
    made = candidate_of(
        planner.harness,
        reading.test,
        test.title,
        test.setup,
        {reading.name: reading.observation},
        test.minutes,
    )
    assert made is not None  # it has a reading, and its minutes are known
    return replace(made, observations=made.observations[:1], listed=0)


def _told(
    planner: Planner, sheet: Sheet, outlook: Outlook, options: Options, candidate: Candidate
) -> NextTest:
    """The test in words, with what it tells: what any reading of it would tell by now."""
    known, (_, observation) = outlook.known, candidate.observations[0]
    bench = Bench(planner.harness, candidate.setup, candidate.observations)
    values = known.predicted(known.predictor(), bench)
    outcomes = outcomes_of(planner.harness, observation, values[:, 0])
    minutes = _minutes(planner, sheet, candidate)
    cells = tuple((one,) for one in range(len(outcomes.labels)))
    planned = Planned(candidate, (0,), minutes, (), outcomes.chances, cells)
    test = told_alone(planner, outlook, planned, values, options.price)
    return replace(test, title=f"Once more: {candidate.title}")


def _minutes(planner: Planner, sheet: Sheet, candidate: Candidate) -> float:
    """Minutes of the reading from how the vehicle stands: where it was taken last, half a minute.

    What it needs open is open since it was taken first.
    """
    stand = stand_of(sheet)
    if stand is not None and stand.setup == candidate.setup:
        return READING
    return minutes_now(planner.harness, stand, candidate, (0,))
