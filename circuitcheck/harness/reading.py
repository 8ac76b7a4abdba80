"""One reading as taken: a number, an open line, or a word for what was seen and heard."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pydantic_core import PydanticCustomError

from circuitcheck.errors import nearest
from circuitcheck.harness.model import Observation
from circuitcheck.parts.quantity import AMP, OHM, RPM, VOLT, Unit

WORDS = {
    "speed": ("off", "slow", "fast"),
    "lamp": ("dark", "dim", "bright"),
    "click": ("silent", "clicks"),
    "hear": ("silent", "runs"),
    "turn": ("loose", "free", "stiff", "stuck"),
    "fuse": ("whole", "blown"),
}
ALSO_SAID = {
    "speed": {
        "stopped": "off",
        "stops": "off",
        "stands": "off",
        "still": "off",
        "not turning": "off",
        "slowly": "slow",
        "full": "fast",
        "full speed": "fast",
    },
    "lamp": {
        "off": "dark",
        "out": "dark",
        "unlit": "dark",
        "glows": "dim",
        "glow": "dim",
        "glowing": "dim",
        "glimmers": "dim",
        "full": "bright",
        "fully lit": "bright",
    },
    "click": {"click": "clicks", "clicked": "clicks", "no click": "silent", "quiet": "silent"},
    "hear": {"quiet": "silent", "nothing": "silent", "turns": "runs", "races": "runs"},
    "turn": {
        "slips": "loose",
        "freely": "free",
        "turns freely": "free",
        "easy": "free",
        "hard": "stiff",
        "turns hard": "stiff",
        "scrapes": "stiff",
        "seized": "stuck",
        "blocked": "stuck",
        "jammed": "stuck",
        "held": "stuck",
        "does not turn": "stuck",
    },
    "fuse": {
        "ok": "whole",
        "good": "whole",
        "intact": "whole",
        "blew": "blown",
        "burnt": "blown",
        "gone": "blown",
    },
}
"""What people write for the same, by the kind of reading."""
NOT_TAKEN = ("", "-", "--", "\u2013", "\u2014", "not taken", "not done")
OPEN_LINE = "OL"
BUZZES = "buzzes"
RUNS = "runs"
"""A fan that turns, nobody having said how fast."""
CHATTERS = (BUZZES, "buzz", "buzzing", "chatters", "chatter", "chattering", "flickers", "flickering")

_UNITS: dict[str, Unit] = {
    kind: replace(unit, spellings={**unit.spellings, "": 1.0}, low=low, high=high)
    for kind, unit, low, high in (
        ("volts", VOLT, -1000.0, 1000.0),
        ("drop", VOLT, -1000.0, 1000.0),
        ("amps", AMP, -5000.0, 5000.0),
        ("ohms", OHM, -1.0, math.inf),
        ("speed", RPM, -1.0, math.inf),
    )
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as taken.

    :param test: the test it was taken in; a made-up name for a set-up of its own
    :param name: its name in that test
    :param value: number in the base unit (infinite for an open line), or NaN if it is a word
    :param word: the word, for looked-at readings
    """

    test: str
    name: str
    observation: Observation
    value: float
    word: str = ""

    @property
    def shown(self) -> str:
        """As a person would write it."""
        if self.word:
            return self.word
        if math.isinf(self.value):
            return OPEN_LINE
        units = {"volts": "V", "drop": "V", "amps": "A", "ohms": "ohm", "speed": "rpm"}
        return f"{self.value:g} {units.get(self.observation.kind, '')}".strip()


def parse_reading(kind: str, text: str) -> tuple[float, str] | None:
    """Value and word of a reading; None if it was not taken.

    :raises PydanticCustomError: if it is neither a word nor a quantity of this kind
    """
    text = text.strip()
    said = text.casefold()
    if said in NOT_TAKEN:
        return None
    if said in CHATTERS:
        return math.nan, BUZZES
    words = WORDS.get(kind, ())
    said = ALSO_SAID.get(kind, {}).get(said, said)
    if said in words:
        return math.nan, said
    if kind == "ohms" and text.upper() in (OPEN_LINE, "OPEN", "INFINITE"):
        return math.inf, ""
    if kind in _UNITS:
        try:
            return _UNITS[kind].parse(text), ""
        except PydanticCustomError as error:
            if not words:
                raise
            found = (error.context or {}).get("found", text)
            must = f"must be {', '.join(words)}, or {_UNITS[kind].example}"
            raise PydanticCustomError("quantity", "{must}", {"must": must, "found": found}) from None
    near = nearest(text, words)
    must = f"must be {' or '.join(words)}" + (f" (nearest: {near})" if near else "")
    raise PydanticCustomError("quantity", "{must}", {"must": must, "found": text})
