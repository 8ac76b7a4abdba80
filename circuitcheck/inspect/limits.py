"""The limits that a person may set, each with its usual value and where that comes from."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from circuitcheck.errors import UnknownName
from circuitcheck.expect.cautions import CONTINUOUS_SHARE

_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit.

    :param value: unless a person says otherwise, in ``unit``
    :param low: the least that makes sense
    :param high: the most that makes sense
    """

    name: str
    value: float
    unit: str
    what: str
    source: str
    low: float = 0.0
    high: float = 1e6


_ALL = (
    Limit("ambient", 60.0, "degC", "air around the loom under the bonnet", _PRACTICE, -40, 150),
    Limit("wire-temperature", 100.0, "degC", "what the insulation stands continuously",
          "class B of ISO 6722-1 (A 85, B 100, C 125 degC); from memory", 60, 250),
    Limit("bundle", 2.0, "", "wires that carry much current side by side",
          "feed and return; " + _PRACTICE, 1, 100),
    Limit("unfused-length", 1.02, "m", "wire between battery plus and the first fuse",
          "ABYC E-11, sheathed wire: 40 in (bare: 0.18 m); read (secondary); written for boats, taken "
          "over here", 0, 100),
    Limit("unfused-most", 1.83, "m", "the same, beyond which it is serious",
          "ABYC E-11, sheathed wire on the battery itself: 72 in; read (secondary)", 0, 100),
    Limit("fuse-share", CONTINUOUS_SHARE, "", "share of its rating that a fuse carries continuously",
          "70 to 80 % of the rating; " + _PRACTICE, 0.1, 1.0),
    Limit("run-up", 0.25, "s", "time constant with which a fan's starting current falls off",
          _PRACTICE, 0.01, 10),
    Limit("locked-time", 60.0, "s", "how long a motor may stand locked under current", _PRACTICE,
          0.1, 3600),
    Limit("resistor-share", 1.0, "", "share of its stated watts that a resistor may give off",
          _PRACTICE, 0.1, 3),
    Limit("cut-out-most", 200.0, "degC", "the hottest at which a thermal cut-out may open",
          _PRACTICE, 80, 400),
    Limit("making-times", 3.0, "", "times its rating that a contact may close on for an instant",
          _PRACTICE, 1, 20),
    Limit("breaking-times", 1.5, "", "times its rating that a contact may break now and then",
          _PRACTICE, 1, 20),
    Limit("break-contact-share", 0.75, "", "rating of a break contact over that of the make contact",
          "30 A beside 40 A in an open relay guide; read", 0.1, 1),
    Limit("switch-amps", 30.0, "A", "rating of a switch contact that states none", _PRACTICE, 0.1, 500),
    Limit("feed-drop", 1.0, "V", "lost from battery plus to a motor, per 12 V, at full load",
          "0.5 V for the wires, and contacts and fuses on top; open texts disagree; " + _PRACTICE,
          0.01, 12),
    Limit("ground-drop", 0.3, "V", "lost from a motor to battery minus, per 12 V, at full load",
          "0.1 to 0.5 V by source, 0.3 V in an open service text; " + _PRACTICE, 0.01, 12),
    Limit("contact-drop", 0.2, "V", "added to that where the return passes a switch or relay, per 12 V",
          "a closed switch: up to 0.2 V; " + _PRACTICE, 0, 12),
    Limit("heavy", 5.0, "A", "from where a circuit counts as heavy", _PRACTICE, 0.1, 500),
    Limit("aged-joint", 0.1, "ohm", "a ground joint when it has aged", _PRACTICE, 0.001, 10),
    Limit("volts-share", 0.25, "", "by how much the volts of a part may differ from its own",
          "supply codes of ISO 16750-2 reach 16 V in a 12 V system; from memory", 0.05, 1),
    Limit("coil-hot", 85.0, "degC", "a relay coil at its hottest",
          "data sheets state coils up to 85 degC; read", 20, 155),
    Limit("sneak-share", 0.05, "", "share of its own current from which a load counts as fed",
          _PRACTICE, 0.001, 1),
)  # fmt: skip

LIMITS: dict[str, Limit] = {one.name: one for one in _ALL}
"""Every limit by its name."""


@dataclass(frozen=True)
class Limits:
    """The limits of one inspection.

    >>> Limits.of(["ambient=80 degC"])["ambient"]
    80.0
    """

    given: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, texts: Iterable[str]) -> Limits:
        """From texts such as ``ambient=80`` or ``ambient=80 degC``.

        :raises UnknownName: if there is no such limit
        :raises ValueError: if the value is no number, has another unit or makes no sense
        """
        return cls(dict(_parse(text) for text in texts))

    def __getitem__(self, name: str) -> float:
        return self.given.get(name, LIMITS[name].value)

    def __iter__(self) -> Iterator[str]:
        return iter(LIMITS)


def _parse(text: str) -> tuple[str, float]:
    name, sign, value = (one.strip() for one in text.partition("="))
    if not sign:
        raise ValueError(f"found '{text}'; must be NAME=VALUE, such as ambient=80")
    if name not in LIMITS:
        raise UnknownName("limit", name, LIMITS)
    limit = LIMITS[name]
    match = re.fullmatch(r"([+-]?\d+\.?\d*|\.\d+)\s*(\S*)", value)
    if match is None or match[2] not in ("", limit.unit):
        unit = f" in {limit.unit}" if limit.unit else " without a unit"
        raise ValueError(f"{name}: found '{value}'; must be a number{unit}, such as {limit.value:g}")
    number = float(match[1])
    if not limit.low <= number <= limit.high:
        must = f"from {limit.low:g} to {limit.high:g} {limit.unit}".rstrip()
        raise ValueError(f"{name}: found '{value}'; must be {must}")
    return name, number
