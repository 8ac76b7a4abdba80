"""The smallest sets of mistakes that explain a sheet.

Conflicts guide it, as in model-based diagnosis: a reading that the loom with the mistakes so far
does not give must be touched by the next one (R. Reiter, *A theory of diagnosis from first
principles*, Artificial Intelligence 32, 1987; from memory). All single mistakes are tried, then the
most promising sets grow by one, until some set gives every reading.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from circuitcheck.inspect.continuity.mistakes import (
    LEAST_SEEN,
    Library,
    Mistake,
    Overlay,
    applied,
)
from circuitcheck.inspect.continuity.ohms import (
    ANYTHING,
    CONDUCTS,
    SIGMAS,
    Band,
    Patch,
    Predictor,
    meets,
    meter_error,
)

LARGEST = 4
"""Sets of up to so many mistakes are looked through for the smallest."""
RARE = 0.1
"""A mistake of less weight (wires crossed from plug to plug) counts as two."""
RARE_COST, RARE_KEPT = 3, 20
"""Sets up to this size are looked through for such ones, and so many smaller sets are carried on."""
KEPT, WIDER = (60, 40, 20), 5
"""Sets that are carried on after one, two, three mistakes; and how many times as many in a second
pass, if the first finds nothing."""
MOST, ONWARD = 12, 8
"""Larger sets than that are not tried; those beyond ``LARGEST`` are grown from the so many best."""
LIKES_OF = 4
"""For so many of the sets found, what one of their mistakes can be exchanged for is looked up."""
FIT_STEPS = 50
"""Halvings of a range of nine decades: to far below any meter's digit."""


@dataclass(frozen=True, slots=True)
class Block:
    """Nets that some mistakes tie to each other; what happens in one block leaves the others alone.

    :param joins: the clipped checks that conduct through its nets, a bit each; ``doubtful``: that may
    """

    nets: frozenset[int]
    joins: int
    doubtful: int


@dataclass(frozen=True, slots=True)
class Found:
    """A set of mistakes, and what is still wrong with it.

    :param bad: the checks between two points that it does not explain, a bit each
    :param weight: logarithm of how usual it is
    """

    mistakes: tuple[Mistake, ...]
    overlay: Overlay
    blocks: tuple[Block, ...]
    bad: int
    weight: float

    @property
    def specs(self) -> frozenset[str]:
        """The names of its mistakes."""
        return frozenset(one.spec for one in self.mistakes)

    @property
    def nets(self) -> frozenset[int]:
        """All nets that it touches."""
        return frozenset().union(*(block.nets for block in self.blocks))


@dataclass(frozen=True, slots=True)
class _Effect:
    """A mistake on its own: the nets and checks it touches, and what they then read."""

    mistake: Mistake
    block: Block
    touched: int
    bad: int


_Step = tuple[int, float, Found, "_Effect | None"]
"""Checks left unexplained, how unusual, the set so far, and the mistake to add to it if not added."""

_NONE = object()


class Search:
    """One sheet of readings against a library of mistakes."""

    def __init__(self, library: Library, predictor: Predictor, measured: Sequence[Band | None]) -> None:
        self.library, self.predictor, self.measured = library, predictor, measured
        self.drawn = library.drawn
        done = [(1 << n, check.clipped, measured[n]) for n, check in enumerate(predictor.checks)]
        self.plain = sum(bit for bit, clipped, one in done if one is not None and not clipped)
        self.reads_open = sum(
            bit for bit, clipped, one in done if clipped and one is not None and not meets(one, CONDUCTS)
        )
        self.conducts = sum(
            bit for bit, clipped, one in done if clipped and one is not None and meets(one, CONDUCTS)
        )
        bad = sum(
            1 << number
            for number, (check, one) in enumerate(zip(predictor.checks, measured, strict=True))
            if one is not None and not check.clipped and not meets(one, predictor.sound[number])
        )
        self._touching: dict[frozenset[int], int] = {}
        self._known: dict[object, tuple[Block, int, int]] = {}
        self.untouched = self._joined_as_drawn()
        self.sound = Found((), {}, (), bad, 0.0)
        self.effects = [self._effect(one) for one in library.mistakes if not one.value_of]
        self.valued = [one for one in library.mistakes if one.value_of]

    def wrong(self, one: Found) -> int:
        """The checks that a set does not explain, a bit each."""
        return self._wrong(one.bad, one.blocks)

    def _joined_as_drawn(self) -> list[tuple[int, int, int]]:
        """Nets that alone make clipped checks conduct (or perhaps conduct) as drawn: net and bits."""
        found = []
        for net in range(len(self.drawn.nets)):
            numbers = [n for n in self.predictor.touching([net]) if self.predictor.checks[n].clipped]
            bands = self.predictor.bands_within(net, numbers) if numbers else {}
            joins = sum(1 << n for n, band in bands.items() if band == CONDUCTS)
            doubtful = sum(1 << n for n, band in bands.items() if band == ANYTHING)
            if joins or doubtful:
                found.append((net, joins, doubtful))
        return found

    def _wrong(self, bad: int, blocks: Iterable[Block]) -> int:
        """With what the nets that no mistake touches add to the checks with clips."""
        joins = doubtful = 0
        for net, its_joins, its_doubtful in self.untouched:
            if not any(net in block.nets for block in blocks):
                joins |= its_joins
                doubtful |= its_doubtful
        for block in blocks:
            joins |= block.joins
            doubtful |= block.doubtful
        return bad | self.reads_open & joins | self.conducts & ~joins & ~doubtful

    def smallest(self) -> tuple[list[Found], list[Found]]:
        """The smallest sets that explain every reading, most usual first; the best others if none."""
        if not self.wrong(self.sound):
            return [self.sound], []
        whole, closest = self._pass(LARGEST, 1)
        if not whole:  # seldom, and then worth the seconds
            whole, again = self._pass(LARGEST - 1, WIDER)
            closest = closest or again
        if not whole:
            whole, closest = self._onward(closest)
        return self._with_likes(whole), closest

    def _onward(self, carried: list[Found]) -> tuple[list[Found], list[Found]]:
        """Larger sets, one mistake at a time, as long as each explains some check more."""
        for _ in range(MOST - LARGEST):
            steps = [step for one in carried for step in self._steps(one, rare=False)]
            steps.sort(key=lambda step: step[:2])
            whole = _once(self._taken(step) for step in steps if step[0] == 0)
            whole = [one for one in whole if self._holds(one)]
            if whole:
                return whole, []
            fewest = min((self.wrong(one).bit_count() for one in carried), default=0)
            going = _once(self._taken(step) for step in steps[: 3 * ONWARD] if 0 < step[0] < fewest)
            if not going:
                break
            carried = going[:ONWARD]
        return [], carried[:3]

    def _with_likes(self, whole: list[Found]) -> list[Found]:
        """Sets of the same size with one mistake exchanged: those that the narrow search has dropped."""
        found = {one.specs: one for one in whole}
        for one in whole[:LIKES_OF] if whole and len(whole[0].mistakes) > 1 else ():
            for left_out in range(len(one.mistakes)):
                rest = self.sound
                for number, mistake in enumerate(one.mistakes):
                    if number != left_out:
                        weight = rest.weight + math.log(mistake.weight)
                        rest = self._together(rest, mistake, weight)
                if not self.wrong(rest):
                    continue
                for step in self._steps(rest, rare=False, whole=True):
                    if step[0] == 0:
                        like = self._taken(step)
                        if like.specs not in found and self._holds(like):
                            found[like.specs] = like
        return sorted(found.values(), key=lambda one: -one.weight)

    def _pass(self, largest: int, width: int) -> tuple[list[Found], list[Found]]:
        """One look through the sets, ``width`` times as many carried on as usual."""
        carried = [[self.sound]]
        for cost in range(1, largest + 1):
            end = cost == largest and width > 1  # nothing is grown from what a second pass leaves
            steps = [step for one in carried[-1] for step in self._steps(one, rare=False, whole=end)]
            if 2 <= cost <= RARE_COST:
                fewer = carried[-2][:RARE_KEPT]
                steps += [step for one in fewer for step in self._steps(one, rare=True, whole=end)]
            steps.sort(key=_order)
            whole = _once(self._taken(step) for step in steps if step[0] == 0)
            whole = [one for one in whole if self._holds(one)]
            if whole:
                return whole, []
            kept = width * KEPT[min(cost, len(KEPT)) - 1]
            going = [step for step in steps if step[0] > 0][: 3 * kept]
            carried.append(_once(self._taken(step) for step in going)[:kept])
        return [], next(some for some in reversed(carried) if some)[:ONWARD]

    def _holds(self, one: Found) -> bool:
        """Whether the set gives every reading when it is worked out as a whole."""
        bands = self.predictor.bands(one.overlay)
        return all(
            meets(measured, bands.get(number, self.predictor.sound[number]))
            for number, measured in enumerate(self.measured)
            if measured is not None
        )

    def _masks(self, nets: frozenset[int], overlay: Overlay) -> tuple[Block, int, int]:
        """Some nets with the checks between two points that touch them, and those they get wrong.

        The same mistakes meet again beside others elsewhere: what has been worked out is kept.
        """
        inside = self.predictor.inside(nets, overlay)
        key = nets, frozenset(inside.items())
        if key not in self._known:
            self._known[key] = self._worked_out(nets, self.predictor.patch_in(nets, inside))
        return self._known[key]

    def _worked_out(self, nets: frozenset[int], patch: Patch) -> tuple[Block, int, int]:
        touched = bad = joins = doubtful = 0
        for number in self.predictor.touching(nets):
            bit, check, measured = 1 << number, self.predictor.checks[number], self.measured[number]
            touched |= bit
            if measured is None:
                continue
            if bit & self.plain:
                if not meets(measured, self.predictor.between(check, patch)):
                    bad |= bit
                continue
            band = self.predictor.clipped_within(number, nets, patch)
            if band == CONDUCTS:
                joins |= bit
            elif band == ANYTHING:
                doubtful |= bit
        return Block(nets, joins, doubtful), touched, bad

    def _effect(self, mistake: Mistake) -> _Effect:
        change = applied(self.drawn, {}, mistake)
        nets = self.predictor.touched(change)
        return _Effect(mistake, *self._masks(nets, change))

    def _next_conflict(self, one: Found) -> tuple[int, frozenset[int]]:
        """The unexplained check that the fewest nets bear on, and those nets."""
        wrong, best = self.wrong(one), None
        for number, check in enumerate(self.predictor.checks):
            if not wrong >> number & 1:
                continue
            nets = frozenset(self.drawn.net_of[end] for end in (*check.red, *check.black))
            nets = nets.union(*(block.nets for block in one.blocks if block.nets & nets))
            if best is None or len(nets) < len(best[1]):
                best = (number, nets)
        assert best is not None
        return best

    def _steps(self, one: Found, *, rare: bool, whole: bool = False) -> Iterable[_Step]:
        """The set with each mistake that bears on its next conflict, not yet put together.

        :param whole: whether only a set that explains everything is wanted
        """
        number, nets = self._next_conflict(one)
        where = self.predictor.patch(one.overlay).joined
        specs = one.specs
        for effect in self.effects:
            mistake = effect.mistake
            if (mistake.weight < RARE) is not rare or effect.block.nets.isdisjoint(nets):
                continue
            weight = one.weight + math.log(mistake.weight)
            if not any(block.nets & effect.block.nets for block in one.blocks):
                bad = one.bad & ~effect.touched | effect.bad
                wrong = self._wrong(bad, (*one.blocks, effect.block))
                yield (wrong.bit_count(), -weight, one, effect)
            elif mistake.spec not in specs and not (whole and self._leaves(one, effect)):
                for same in self._placed(mistake, where):
                    more = self._together(one, same, weight)
                    yield (self.wrong(more).bit_count(), -weight, more, None)
        for more in () if rare else self._with_values(one, number, nets):
            yield (self.wrong(more).bit_count(), -more.weight, more, None)

    def _leaves(self, one: Found, effect: _Effect) -> bool:
        """Whether some check that a set does not explain has no probe on what a mistake can touch."""
        tied = [block.nets for block in one.blocks if block.nets & effect.block.nets]
        nets = effect.block.nets.union(*tied)
        if nets not in self._touching:
            self._touching[nets] = sum(1 << number for number in self.predictor.touching(nets))
        return bool(self.wrong(one) & ~self._touching[nets])

    def _placed(self, mistake: Mistake, where: Mapping[str, int]) -> Iterable[Mistake]:
        """An extra joint once for each pair of clusters that earlier mistakes have made of its nets."""
        if mistake.joint is None:
            return [mistake]
        found: dict[tuple[int, ...], Mistake] = {}
        for same in (mistake, *self.library.elsewhere(mistake)):
            assert same.joint is not None
            clusters = tuple(where.get(end, -1 - self.drawn.net_of[end]) for end in same.joint)
            if clusters[0] != clusters[1] or same is mistake:
                found.setdefault(clusters, same)
        return found.values()

    def _taken(self, step: _Step) -> Found:
        """A step put together. Mistakes that share no net add up, check by check."""
        _, weight, one, effect = step
        if effect is None:
            return one
        return Found(
            (*one.mistakes, effect.mistake),
            {**one.overlay, **applied(self.drawn, {}, effect.mistake)},
            (*one.blocks, effect.block),
            one.bad & ~effect.touched | effect.bad,
            -weight,
        )

    def _together(self, one: Found, mistake: Mistake, weight: float) -> Found:
        """Mistakes that share a net are worked out as one change, other blocks left as they are."""
        overlay = applied(self.drawn, one.overlay, mistake)
        fresh = {key: new for key, new in overlay.items() if one.overlay.get(key, _NONE) is not new}
        fresh_nets = self.predictor.touched(fresh) | self.predictor.touched(
            {key: one.overlay[key] for key in fresh if key in one.overlay}
        )
        tied = [block for block in one.blocks if block.nets & fresh_nets]
        nets = fresh_nets.union(*(block.nets for block in tied))
        block, touched, bad = self._masks(nets, overlay)
        rest = tuple(other for other in one.blocks if other not in tied)
        return Found((*one.mistakes, mistake), overlay, (*rest, block), one.bad & ~touched | bad, weight)

    def _with_values(self, one: Found, number: int, nets: frozenset[int]) -> Iterable[Found]:
        """The set with each mistake whose value can be fitted to the reading of a check."""
        check, measured = self.predictor.checks[number], self.measured[number]
        if check.clipped or check.diode or measured is None or measured[0] != measured[1]:
            return
        target = max(measured[0], 0.0)
        if not math.isfinite(target):
            return
        spread = meter_error(target) / SIGMAS
        for mistake in self.valued:
            now = one.overlay.get(mistake.value_of, self.drawn.elements[mistake.value_of])
            if now is None or mistake.spec in one.specs:
                continue
            if not {self.drawn.net_of.get(now.tail), self.drawn.net_of.get(now.head)} & nets:
                continue
            ohm = self._fitted(one, mistake, check.red[0], check.black[0], target)
            if ohm is not None and abs(ohm - now.ohm) >= LEAST_SEEN:
                weight = one.weight + math.log(mistake.weight)
                yield self._together(one, mistake.valued(ohm, max(spread, now.spread)), weight)

    def _fitted(self, one: Found, mistake: Mistake, red: str, black: str, target: float) -> float | None:
        """The resistance [ohm] of its element that gives a reading; None if none does."""

        def reads(ohm: float) -> float:
            overlay = applied(self.drawn, one.overlay, mistake.valued(ohm, 0.0))
            patch = self.predictor.patch(overlay)
            if red not in patch.joined or patch.joined.get(black) != patch.joined[red]:
                return math.inf
            return patch.ohms_from(red)[black][0]

        low, high = 1e-3, 1e6
        least, most = reads(low), reads(high)
        if not least - 0.5 <= target <= most or most - least < LEAST_SEEN:
            return None
        series = low + target - least
        if series > low and abs(reads(series) - target) < 0.01:
            return series
        for _ in range(FIT_STEPS):
            middle = math.sqrt(low * high)
            low, high = (middle, high) if reads(middle) < target else (low, middle)
        return low


def _order(step: _Step) -> tuple[int, float, bool]:
    """Of steps as good as each other, mistakes that have nothing to do with those before come first."""
    return (step[0], step[1], step[3] is None)


def _once(found: Iterable[Found]) -> list[Found]:
    """Each set once, in the order given."""
    seen: dict[frozenset[str], Found] = {}
    for one in found:
        seen.setdefault(one.specs, one)
    return list(seen.values())
