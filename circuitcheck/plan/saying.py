"""The words of a symptom: which fans, what they do, and where. Every word is used, or it is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import NoReturn

from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import word_for
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.harness.readings import RUNS
from circuitcheck.plan.setups import conditions

Place = tuple[str, Setup]
"""A condition of use with its title."""

_DO = r"run|runs|running|turn|turns|turning|work|works|working|start|starts|come|comes|go|goes"
_STATES = (
    (
        "off",
        rf"not (?:{_DO})(?: on\b)?|never (?:runs?|works?|starts?|turns?)|dead|stands? still"
        r"|stopped|off|no",
    ),
    ("slow", r"slow|slowly|weak|weakly"),
    ("fast", r"fast|full"),
    (RUNS, _DO),
)
_PASSING = r"comes? and goes?|on and off|sometimes|at times|now and then|intermittent(?:ly)?"
_STEADY = r"never stops?|not stop|always|all the time"
_WELL = r"(?:fine|ok|okay|good|normal|normally|all right|well|properly)"
_FINE = rf"(?:but |and )?(?:(?:is|are|runs?|works?|turns?) )?(?:just )?{_WELL}"
_NOT_FINE = rf"(?:not|no|never)(?: \w+)? {_WELL}"
_KEY = r"(?:(?:with|when|on|after) )?(?:the )?(?:ignition|key)(?: is| switched| turned)* (on|off)"
_SWITCHED_OFF = r"(?:after )?(?:switch|turn)(?:ed|ing)? (?:it |the (?:ignition|engine) )?off|parked"
_BLOWS = (
    r"(?:keeps?|kept|always|goes on) (?:on )?blow(?:s|ing)|blow(?:s|ing|n)(?: again)?|blew(?: again)?"
)
_AGAIN = re.compile("keep|kept|always|goes on|again|blows|blowing")
_SIDES = r"off-?side|near-?side|driver'?s(?: side)?|passenger'?s?(?: side)?"
_SPEED = r"(?:(?:at|on|in) )?(full|fast|high|top|slow|low) speed|(?:at|on|in) (full|fast|slow)"
_FILLERS = frozenset(
    re.findall(
        r"\w+",
        """
    the a an is are it at in on of with when and or but engine do does did will to still switch
    position positions all has have there keep keeps even
""",
    )
)
_NAMED_PLACES = {"high": "high", "hot": "high", "low": "low", "warm": "low", "cold": "cold"}


@dataclass(frozen=True)
class Said:
    """What a symptom says.

    :param word: what the fans do in ``places``: off, slow, fast or runs
    :param elsewhere: where they do the opposite, because it is said of ``places`` only
    :param passing: whether it comes and goes
    :param alone: whether it is said of these fans only, so that the others do the opposite
    :param fine: where they do as they should
    :param fuse: a fuse that is found blown
    :param again: whether a new one blows as well
    """

    motors: tuple[str, ...]
    word: str
    places: tuple[Place, ...]
    elsewhere: tuple[Place, ...] = ()
    passing: bool = False
    alone: bool = False
    fine: tuple[Place, ...] = ()
    fuse: str = ""
    again: bool = False


def sound_words(harness: Harness, setup: Setup) -> dict[str, str]:
    """What every fan does in a sound circuit."""
    motors = _all_motors(harness)
    observe = tuple((name, Observation.model_validate({"speed": name})) for name in motors)
    run = Bench(harness, setup, observe).run([{}])
    return {
        name: word_for(harness, what, float(value))
        for (name, what), value in zip(observe, run.values[0], strict=True)
    }


def listen(harness: Harness, text: str) -> Said:
    """The meaning of a symptom.

    :raises ValueError: with the words that are understood, if one is left over or something is missing
    """
    return _Listener(harness, text).said()


class _Listener:
    """Takes one phrase after the other out of a text, until nothing is left."""

    def __init__(self, harness: Harness, text: str) -> None:
        self.harness, self.text = harness, text
        left = " ".join(text.casefold().replace("\u2019", "'").split()).rstrip(".! ")
        left = left.replace("cannot", "not").replace("can't", "not").replace("won't", "will not")
        self.left = re.sub(r"(?<=\d) ?- ?(?=\d)", " to ", left.replace("n't", " not"))
        self.alone = False

    def take(self, pattern: str) -> re.Match[str] | None:
        """The first match of a phrase, which is then used up."""
        match = re.search(rf"(?<![\w-])(?:{pattern})(?![\w-])", self.left)
        if match:
            self.left = f"{self.left[: match.start()]} {self.left[match.end() :]}"
            self.left = " ".join(self.left.split())
        return match

    def said(self) -> Said:
        """All of it, in the order in which phrases hide one another."""
        fuse, again = self._fuse()
        rest = re.sub(r"[\s,;]+", " ", self.left).split()
        if fuse and not [one for one in rest if one not in _FILLERS]:
            return Said((), "", (), fuse=fuse, again=again)
        return replace(self._of_fans(), fuse=fuse, again=again)

    def _fuse(self) -> tuple[str, bool]:
        """A fuse said to blow, and whether a new one does so too."""
        fuses = [name for name, part in self.harness.parts.items() if part.kind == "fuse"]
        names = "|".join(re.escape(one.casefold()) for one in fuses)
        named = rf"(?:the )?(?:fuses? )?({names})(?: fuse)?" if fuses else r"(?!)()"
        what = rf"(?:{named}|(?:the |a |its )?fuses?)"
        match = self.take(rf"{what} (?:has |is |have |are )?(?:{_BLOWS})|(?:{_BLOWS}) {what}")
        if match is None:
            if self.take(_BLOWS):
                self.refuse(
                    f"the fuses here are {', '.join(fuses)}" if fuses else "there is no fuse here"
                )
            return "", False
        name = next((one for one in match.groups() if one), "")
        if not name and len(fuses) != 1:
            self.refuse(
                "say which fuse, as in " + " or ".join(f"'{one} keeps blowing'" for one in fuses)
            )
        known = {one.casefold(): one for one in fuses}
        return known[name] if name else fuses[0], bool(_AGAIN.search(match[0]))

    def _fine(self) -> list[Place]:
        """Where it is said to be as it should: ``fine on high``."""
        if self.take(_NOT_FINE):
            self.refuse("say what it does: 'dead' or 'slow'")
        before, self.left = self.left, ""
        match = re.search(rf"(?<![\w-])(?:{_FINE})(?![\w-])", before)
        if match is None:
            self.left = before
            return []
        place = rf"(?:and |or )?(?:on|in|at|positions?|speeds?|{self._place_words(off=False)})"
        end = re.search(
            rf"(?:[,;]|(?<!\w)(?:but|and)(?!\w))(?! *{place}(?![\w-]))", before[match.end() :]
        )
        upto = match.end() + end.start() if end else len(before)
        self.left = before[match.end() : upto].strip()
        speed = self.take(_SPEED)
        slow = speed is not None and (speed[1] or speed[2]) in ("slow", "low")
        places = self._named("low" if slow else "high") if speed else self._places()
        if not places:
            self.refuse("say where it is fine, as in 'fine on high'")
        rest = f"{before[: match.start()]} {self.left} {before[upto:]}"
        self.left = re.sub(r"(?:\s*[,;])+", ",", " ".join(rest.split())).strip(" ,;")
        return places

    def _of_fans(self) -> Said:
        """What is said of the fans."""
        self.left = re.sub(r"(?<![\w-])(left|right)[- ]hand(?: side)?(?![\w-])", r"\1", self.left)
        motors = self._motors()
        if side := self.take(_SIDES):
            self.refuse(f"'{side[0]}' depends on the country; say which fan")
        self.usable = self._where_it_runs(motors)
        fine = self._fine()
        key = self.take(f"{_KEY}|{_SWITCHED_OFF}")
        passing = bool(self.take(_PASSING))
        steady = bool(self.take(_STEADY))
        only = bool(self.take("only|just"))
        speed = self.take(_SPEED)
        at_speed = "" if speed is None else str(speed[1] or speed[2])
        places = self._places()
        word = self._state()
        if at_speed and (places or steady):
            word = self._at_speed(at_speed, word)
        elif only and not places and "slow" in (at_speed, word):
            self.refuse("'only slow' can be 'slow on high', or 'runs on low' with 'dead on high'")
        elif at_speed:
            places = self._named("low" if at_speed in ("slow", "low") else "high")
        elif only and not places and word == "fast":
            places, word = self._named("high"), RUNS
        self._nothing_left()
        if not word and (steady or passing):
            word = RUNS if steady else "off"
        if not word:
            raise ValueError(f"'{self.text}' does not say what the fan does. {self._can_be_said()}")
        if key:
            places = self._keyed(key[1] != "on", motors, places)
        if fine:
            if only:
                self.refuse("'only' and 'fine' do not go together")
            places = [one for one in places or self.usable if places or one not in fine]
            if not places or any(one in fine for one in places):
                self.refuse(f"where it is fine, it cannot be '{word}' as well")
        said = Said(motors, word, tuple(places), passing=passing, fine=tuple(fine))
        return self._concluded(said, steady, only)

    def _keyed(self, off: bool, motors: tuple[str, ...], places: list[Place]) -> list[Place]:
        """The places with the ignition on, or off.

        Off without a place is with the engine still hot, when most can keep a fan running; cold where
        the fans of this circuit may run on while it is hot.
        """
        if all(part.kind != "ignition" for part in self.harness.parts.values()):
            self.refuse(
                "no ignition switch is part of this circuit, its fans may run with the key off; "
                "say 'runs cold' if they should not"
            )
        if not off:
            return places
        hot, cold = ([_keyed_off(one) for one in self._named(name)] for name in ("high", "cold"))
        if places:
            return [_keyed_off(one) for one in places]
        runs_on = any(sound_words(self.harness, hot[0][1])[one] != "off" for one in motors)
        return cold if runs_on else hot

    def _at_speed(self, at_speed: str, word: str) -> str:
        """``at full speed`` where it is also said when: what the fan does."""
        if word not in ("", RUNS):
            self.refuse(f"'{at_speed} speed' and '{word}' do not go together")
        return "slow" if at_speed in ("slow", "low") else "fast"

    def _concluded(self, said: Said, steady: bool, only: bool) -> Said:
        """With the places that ``always``, ``only`` and silence stand for."""
        places = said.places
        elsewhere: tuple[Place, ...] = ()
        if steady and not places:
            places = tuple(self.usable) if said.word == "off" else tuple(self._named("cold"))
        if only:
            if not places or said.word not in (RUNS, "off"):
                self.refuse("'only' must stand with a place, as in 'runs only on high'")
            elsewhere = tuple(one for one in self.usable if one not in places)
            if not elsewhere:
                self.refuse("'only' leaves no other speed in this circuit")
        if said.passing and only:
            self.refuse(
                "'only' and 'comes and goes' do not go together: record the looks of two tries "
                "as two tests of a sheet"
            )
        return replace(said, places=places or (self.usable[-1],), elsewhere=elsewhere, alone=self.alone)

    def _motors(self) -> tuple[str, ...]:
        """The motors meant: by name, by unit, by a word of the unit's name, or all of them."""
        motors = _all_motors(self.harness)
        if not motors:
            raise ValueError(f"{self.harness.name} has no fan")
        units = {n: (self.harness.parts[n].belongs_to or "").casefold() for n in motors}
        common = {"fan", "fans", "blower", "the", "motor", ""}
        handles = {n: {n.casefold(), *units[n].split()} - common for n in motors}
        every = sorted({re.escape(one) for words in handles.values() for one in words})
        names = "|".join([*every, "fans?", "blower", "motors?"])
        self.alone = bool(self.take(rf"only(?= (?:the )?(?:{names})(?![\w-]))"))
        found = [n for n in motors if [one for one in handles[n] if self.take(re.escape(one))]]
        for filler in ("both", "all(?= fans| motors| blowers)", "fans?", "blowers?", "motors?"):
            self.take(filler)
        return tuple(found or motors)

    def _where_it_runs(self, motors: tuple[str, ...]) -> list[Place]:
        """Conditions in which the fans run, the quietest first; where there are stages, those."""
        known = conditions(self.harness)
        warm = [one for one in known[1:] if one[1].running] or known[1:] or known
        running = [
            one for one in warm if any(sound_words(self.harness, one[1])[n] != "off" for n in motors)
        ]
        return running or warm[-1:]

    def _named(self, name: str) -> list[Place]:
        if name == "cold":
            return [conditions(self.harness)[0]]
        return [self.usable[-1 if name == "high" else 0]]

    def _positions(self) -> dict[str, tuple[str, str]]:
        """Positions of hand switches as they are said: the switch, and the position's own name."""
        return {
            str(one).casefold(): (name, str(one))
            for name, part in self.harness.parts.items()
            for one in getattr(part, "positions", None) or ()
        }

    def _place_words(self, *, off: bool = True) -> str:
        """A pattern of the words that name a place.

        :param off: whether ``off`` may be a position of a switch
        """
        known = [one for one in (*self._positions(), *_NAMED_PLACES) if off or one != "off"]
        return "|".join(map(re.escape, sorted(known, key=len, reverse=True)))

    def _places(self) -> list[Place]:
        """Positions of a switch or names of stages, one or a list: ``on 1, 2 and 3``, ``in 1 to 3``."""
        for name, part in self.harness.parts.items():
            if getattr(part, "positions", None):
                self.take(f"(?:with )?{re.escape(name.casefold())}")
        known = self._positions()
        item = self._place_words()
        before = r"(?:(?:on|in|at|when) )?(?:the )?(?:positions? |speeds? )?"
        item = rf"(?:{item})(?![\w-])"
        found: list[Place] = []
        bare_off = r"(?!off(?![\w-]))" if "off" in known else ""
        first = rf"(?:(?:on|in|at|when) (?:positions? )?|positions? |speeds? |{bare_off})"
        between = r"(?:\s*(?:,? ?(?:and|or)|,|to)\s*|\s+)"
        while match := self.take(rf"{first}{item}(?:{between}{before}{bare_off}{item})*"):
            found += self._listed(match[0], item, known)
        return list({repr(one): one for one in found}.values())

    def _listed(self, phrase: str, item: str, positions: dict[str, tuple[str, str]]) -> list[Place]:
        order = list(positions)
        names = re.findall(rf"(?<![\w-])(?:{item}|to(?= ))", phrase)
        chosen: list[str] = []
        for number, name in enumerate(names):
            if name != "to":
                chosen.append(name)
            elif 0 < number < len(names) - 1 and {names[number - 1], names[number + 1]} <= set(order):
                chosen += order[order.index(names[number - 1]) + 1 : order.index(names[number + 1])]
        return [place for name in chosen for place in self._one_place(name, positions)]

    def _one_place(self, name: str, positions: dict[str, tuple[str, str]]) -> list[Place]:
        if name not in positions:
            return self._named(_NAMED_PLACES[name])
        switch, position = positions[name]
        known = conditions(self.harness)
        return [one for one in known if one[1].switches == {switch: position}] or known[:1]

    def _state(self) -> str:
        """What the fan does; ``runs`` beside another word adds nothing."""
        self.take("(?:at )?all")
        found = [word for word, pattern in _STATES if self.take(pattern)]
        while any(self.take(pattern) for word, pattern in _STATES if word in found and word != RUNS):
            pass
        if not found and self.take("on"):
            found = [RUNS]
        if len(found) > 1 and found[-1] == RUNS and found[0] != "off":
            found.pop()
        if len(found) > 1:
            self.refuse(f"'{found[0]}' and '{found[1]}' are two things")
        return found[0] if found else ""

    def _nothing_left(self) -> None:
        left = [one for one in re.findall(r"[^\s,;]+", self.left) if one not in _FILLERS]
        if left:
            self.refuse(f"at '{left[0]}'")

    def refuse(self, why: str) -> NoReturn:
        """:raises ValueError: always, with what can be said."""
        raise ValueError(f"'{self.text}' is not understood: {why}. {self._can_be_said()}")

    def _can_be_said(self) -> str:
        parts = self.harness.parts
        motors = _all_motors(self.harness)
        fans = " or ".join(parts[one].belongs_to or one for one in motors)
        positions = [
            str(one)
            for part in parts.values()
            for one in getattr(part, "positions", None) or ()
            if one != getattr(part, "at_rest", "")
        ]
        where = f"on {', '.join(positions)}" if positions else "on low, on high, cold"
        when = f"in position {positions[-1]}" if positions else "on high"
        fuse = next((name for name, part in parts.items() if part.kind == "fuse"), "")
        blows = f"{fuse} keeps blowing; " if fuse else ""
        return (
            f"One plain sentence, of: {fans}; dead, not working, slow, fast, runs, never stops; "
            f"sometimes, comes and goes; {where}, only on ..., fine on ..., ignition off; {blows}"
            f"such as '{parts[motors[0]].belongs_to or motors[0]} dead {when}'"
        )


def _all_motors(harness: Harness) -> list[str]:
    return [name for name, part in harness.parts.items() if part.kind == "motor"]


def _keyed_off(place: Place) -> Place:
    """A place with the key turned off."""
    title, setup = place
    title = re.sub(r"^ignition on, |running, ", "", title)
    return f"ignition off, {title}", setup.model_copy(update={"ignition": "off", "running": False})
