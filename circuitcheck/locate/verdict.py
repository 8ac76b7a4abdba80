"""The conclusion: suspects in order, groups that the readings cannot part, and every reading."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from circuitcheck.notebook import html_table, text_table

_COLUMNS = ("group", "chance", "suspect", "replace", "estimate")
Word = Literal["sound", "located", "narrowed", "unexplained"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """An unknown value with the range that holds it nine times in ten."""

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True)
class SuspectResult:
    """One suspect as it stands.

    :param group: 1 for the leading one and all that these readings cannot tell from it, and so on
    :param replace: the unit to replace or repair; empty for sound
    :param seen_in: of a fault that comes and goes, the tests that met it; ``gone_in`` those that did not
    :param as_ohm: of the tests that met it as a bad contact, each with its resistance [ohm]
    """

    spec: str
    where: str
    fault: str
    replace: str
    probability: float
    group: int
    estimate: Estimate | None
    reasons: tuple[str, ...]
    remedy: str = ""
    seen_in: tuple[str, ...] = ()
    gone_in: tuple[str, ...] = ()
    as_ohm: tuple[tuple[str, float], ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self) | {
            "reasons": list(self.reasons),
            "seen_in": list(self.seen_in),
            "gone_in": list(self.gone_in),
            "as_ohm": dict(self.as_ohm),
        }


@dataclass(frozen=True, slots=True)
class ReadingResult:
    """One reading against the sound circuit.

    :param measured: number or word
    :param expected: number or word a sound circuit gives; None for an open line
    :param fits: whether it is what a sound circuit gives
    :param misread: chance that it was misread, under the leading suspect
    """

    test: str
    name: str
    measured: float | str
    expected: float | str | None
    low: float | None
    high: float | None
    fits: bool
    unit: str = ""
    misread: float = 0.0
    shown: str = ""
    expected_word: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Repair:
    """The fewest units that cover what is likely.

    :param units: what to put right together; empty for a sound circuit
    :param chance: that nothing is wrong any more after that
    """

    units: tuple[str, ...]
    chance: float

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"units": list(self.units), "chance": round(self.chance, 4)}


@dataclass(frozen=True, slots=True)
class Culprit:
    """One thing that is wrong: a fault, or several of which any one would account for it as well.

    :param faults: likeliest first
    :param replace: the units to replace or repair for them
    :param chance: that one of them is there, whatever else is wrong
    """

    faults: tuple[str, ...]
    replace: tuple[str, ...]
    chance: float

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "faults": list(self.faults),
            "replace": list(self.replace),
            "chance": round(self.chance, 4),
        }


@dataclass(frozen=True, slots=True)
class Hinge:
    """A reading that alone decides what to put right.

    :param instead: what would be likeliest to be put right if it was misread; empty for sound
    :param chance: of that, if it was
    """

    test: str
    name: str
    instead: str
    chance: float

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return asdict(self)


@dataclass(frozen=True)
class Verdict:
    """What the readings say.

    :param verdict: sound, located (one unit to replace), narrowed (several left) or unexplained
    :param suspects: most likely first; those left out have a chance below one in ten thousand
    :param repeat: readings that are likely to be wrong, as ``test: name``
    :param repair: the units that together cover what is likely
    :param hinges: readings that alone decide it
    :param put_right: units that were put right before the readings
    :param culprits: fault by fault what takes part in the suspects, the likeliest first
    """

    harness: str
    verdict: Word
    suspects: tuple[SuspectResult, ...]
    readings: tuple[ReadingResult, ...]
    summary: str
    repeat: tuple[str, ...] = ()
    repair: Repair = field(default=Repair((), 1.0))
    hinges: tuple[Hinge, ...] = ()
    put_right: tuple[str, ...] = ()
    culprits: tuple[Culprit, ...] = ()

    def __str__(self) -> str:
        return f"{self.verdict}: {self.summary}\n\n{text_table(_COLUMNS, self._rows()[:12])}"

    def _repr_html_(self) -> str:
        return html_table(f"{self.verdict}: {self.summary}", _COLUMNS, self._rows())

    def _rows(self) -> list[tuple[object, ...]]:
        return [
            (
                one.group,
                f"{one.probability:.1%}",
                one.spec,
                one.replace,
                "" if one.estimate is None else f"{one.estimate.value:.3g} {one.estimate.unit}",
            )
            for one in self.suspects
        ]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {
            "harness": self.harness,
            "verdict": self.verdict,
            "summary": self.summary,
            "suspects": [one.to_dict() for one in self.suspects],
            "readings": [one.to_dict() for one in self.readings],
            "culprits": [one.to_dict() for one in self.culprits],
            "repeat": list(self.repeat),
            "repair": self.repair.to_dict(),
            "hinges": [one.to_dict() for one in self.hinges],
            "put_right": list(self.put_right),
        }
