"""The tests there are to choose from: the harness's own, and those the circuit itself suggests.

A candidate is a set-up with everything that could be read in it. Made ones are conditions of use,
plugs undone, contacts bridged at the socket or the plug, a lead from the battery to a load, ohms of a
part that is undone, and a known good spare put in. One that would pass more than a lead's fuse can
carry, or blow a fuse of a sound vehicle, is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from circuitcheck.circuit.build import lead_keys
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead
from circuitcheck.harness.model import Harness, Observation, Setup, Test
from circuitcheck.harness.units import beside
from circuitcheck.plan.made import SPARE, minutes_of, steps_of
from circuitcheck.plan.readable import observations
from circuitcheck.plan.setups import in_use, made_setups, state_of, warmed

READING = 0.5
"""Minutes to take one more reading in a set-up; common practice, no source."""
_METER = 1.5
"""Minutes more to get at anything with a tool; common practice, no source."""
_LEAD_LIMIT = 25.0
"""A candidate may not pass more than this through a lead [A]: under the lead's fuse."""
_BUSY = 0.75
"""Share of the most that a fuse ever carries in a sound circuit, from which it is put to the test."""
LOOKS = ("eyes", "helper")
"""What a look, a listen or a hand takes."""
TOOLS = ("meter", "clamp", "lamp", "leads", "spares", "helper")
"""What a person may or may not have; a helper turns the key and tells what the fans do."""


@dataclass(frozen=True)
class Candidate:
    """A set-up and what could be read in it.

    :param name: of the harness's own test, or made up from the set-up
    :param observations: by their names
    :param listed: how many of them, from the first, the harness's own test lists
    :param minutes: for the set-up alone
    :param access: entries of the harness's ``access`` that must be open for any reading
    :param for_listed: the same for a listed reading that is more than a look
    :param lead: what the lead has to carry, if there is one
    :param needs: of ``TOOLS``, what the set-up takes
    :param probing: minutes more if anything but the eyes and ears is needed
    :param carried: what each fuse carries in a sound circuit [A]
    """

    name: str
    title: str
    setup: Setup
    observations: tuple[tuple[str, Observation], ...]
    listed: int
    minutes: float
    access: tuple[str, ...]
    lead: Lead | None
    needs: frozenset[str]
    probing: float = 0.0
    carried: Mapping[str, float] = field(default_factory=dict)
    for_listed: tuple[str, ...] = ()

    @property
    def free(self) -> bool:
        """Whether it can be looked at without undoing, opening or warming up anything."""
        return in_use(self.setup) and not warmed(self.setup) and not self.access

    def as_test(self) -> Test:
        """The same as a test of a harness, everything that could be read in it listed."""
        return Test(
            title=self.title,
            setup=self.setup,
            observe=dict(self.observations),
            minutes=self.minutes_for(range(len(self.observations))),
            access=list(self.access),
        )

    def minutes_for(self, places: Iterable[int]) -> float:
        """Minutes of some of its readings together, opening left out."""
        chosen = [tool_of(self.observations[place][1]) for place in places]
        probing = self.probing if any(tool not in LOOKS for tool in chosen) else 0.0
        return self.minutes + probing + READING * len(chosen)

    def opens(self, harness: Harness, place: int) -> tuple[str, ...]:
        """What must be open to take one of its readings, the set-up's own ``access`` left out."""
        observation = self.observations[place][1]
        measured = place < self.listed and tool_of(observation) not in LOOKS
        return tuple(
            dict.fromkeys([*(self.for_listed if measured else ()), *access_of(harness, observation)])
        )


def candidates(harness: Harness) -> list[Candidate]:
    """Every test worth thinking of, each set-up once."""
    found: list[Candidate] = []
    seen: set[str] = set()
    for name, test in harness.tests.items():
        made = candidate_of(harness, name, test.title, test.setup, dict(test.observe), test.minutes)
        if made is not None:
            seen.add(state_of(harness, test.setup))
            found.append(_opening_for(made, test.access))
    for title, setup in made_setups(harness):
        state = state_of(harness, setup)
        if state not in seen:
            seen.add(state)
            made = candidate_of(harness, _slug(title), title, setup, {}, None)
            if made is not None:
                found.append(made)
    return found + list(_new_fuses(harness, found))


def _opening_for(made: Candidate, access: Sequence[str]) -> Candidate:
    """A test of the harness with what must be open; in ordinary use a look needs nothing open."""
    if in_use(made.setup):
        return replace(made, for_listed=tuple(access))
    return replace(made, access=tuple(dict.fromkeys([*access, *made.access])))


def _new_fuses(harness: Harness, known: Sequence[Candidate]) -> Iterator[Candidate]:
    """A new fuse put in, where it then carries the most for the fewest minutes: does it blow again?"""
    usable = [one for one in known if not one.setup.pull and not one.setup.swap]
    for name, part in harness.parts.items():
        if part.kind != "fuse" or not part.plugged:
            continue
        most = max((one.carried.get(name, 0.0) for one in usable), default=0.0)
        busy = [one for one in usable if one.carried.get(name, 0.0) > _BUSY * most > 0]
        if not busy:
            continue
        best = min(busy, key=lambda one: one.minutes + opening(harness, one.access))
        setup = best.setup.model_copy(update={"swap": [name]})
        title = f"New {name} put in: {best.title}"
        made = candidate_of(harness, _slug(f"new-{name}-{best.name}"), title, setup, {}, None)
        if made is not None:
            access = tuple(dict.fromkeys([*best.access, *made.access]))
            minutes = best.minutes + SPARE
            looks = tuple(one for one in made.observations if tool_of(one[1]) in LOOKS)
            # whatever a meter tells there, it tells without a new fuse
            yield replace(made, observations=looks, access=access, minutes=minutes)


def _slug(title: str) -> str:
    kept = "".join(one if one.isalnum() or one in ".+" else "-" for one in title)
    return "-".join(part for part in kept.split("-") if part).lower()


def candidate_of(
    harness: Harness,
    name: str,
    title: str,
    setup: Setup,
    listed: dict[str, Observation],
    minutes: float | None,
) -> Candidate | None:
    """A candidate; None if nothing can be read in it, or if a sound vehicle would suffer from it.

    :param listed: the observations of the harness's own test, by their names
    :param minutes: of the harness's own test; None if made up, and only then can it be refused
    """
    bench = Bench(harness, setup, ())
    point = bench.point({})
    leads = [abs(point.amps.get(key, 0.0)) for key in lead_keys(setup)]
    blown = any(state and "blown" in state_name for state_name, state in point.states.items())
    made_up = minutes is None
    if made_up and (blown or max(leads, default=0.0) > _LEAD_LIMIT or point.buzzing):
        return None
    everything = {**listed, **observations(harness, setup, listed.values(), point.volts)}
    if not everything:
        return None
    carried = {
        fuse: abs(point.amps.get(f"{fuse}:element", 0.0))
        for fuse, part in harness.parts.items()
        if part.kind == "fuse"
    }
    taken, probing = minutes_of(steps_of(harness, setup)), _METER
    if minutes is not None:
        own = max(minutes - READING * len(listed), 1.0)
        taken = min(taken, own) if in_use(setup) else own
        probing = own - taken
    return Candidate(
        name,
        title,
        setup,
        tuple(everything.items()),
        len(listed),
        taken,
        setup_access(harness, setup),
        bench.lead,
        _needs(harness, setup),
        probing,
        carried,
    )


def _needs(harness: Harness, setup: Setup) -> frozenset[str]:
    """What has to be at hand; who has fused leads has fuses, so that a fuse is no spare part."""
    spares = any(harness.parts[name].kind != "fuse" for name in setup.swap)
    leads = any((setup.bridge, setup.feed, setup.ground, setup.swap))
    return frozenset({"spares"} if spares else set()) | frozenset({"leads"} if leads else set())


def opening(harness: Harness, access: Iterable[str]) -> float:
    """Minutes to open some places."""
    return float(sum(harness.access[one].minutes for one in access))


def setup_access(harness: Harness, setup: Setup) -> tuple[str, ...]:
    """What must be open to do the set-up."""
    touched = [*setup.pull, *setup.unplug, *setup.swap]
    ends = [*(end for pair in setup.bridge for end in pair), *setup.feed, *setup.ground]
    touched += [end.partition(".")[0] for end in ends]
    found = [harness.parts[name].access for name in touched if name in harness.parts]
    return tuple(dict.fromkeys(one for one in found if one))


def access_of(harness: Harness, observation: Observation) -> tuple[str, ...]:
    """What must be open to take a reading."""
    if observation.kind in ("speed", "hear", "click", "lamp", "fuse") and len(observation.points) == 1:
        return ()  # seen or heard from outside; a fuse is in hand by then
    names = [point.partition(".")[0] for point in observation.points]
    if observation.kind == "turn":
        names = beside(harness, *observation.points)
    found = [harness.parts[name].access for name in names if name in harness.parts]
    return tuple(dict.fromkeys(one for one in found if one))


def tool_of(observation: Observation) -> str:
    """What it takes to take a reading."""
    if observation.kind == "amps":
        return "meter" if observation.inline else "clamp"
    if observation.kind == "click":
        return "helper"  # one turns the key, one listens
    if observation.kind in ("speed", "hear", "turn", "fuse"):
        return "eyes"  # an ear, a hand
    if observation.kind == "lamp":
        return "lamp" if len(observation.points) == 2 else "eyes"
    return "meter"
