"""Quantities as people write them, ``12 mohm``, checked for their unit and turned into base units.

Each kind of quantity has a closed list of spellings. A general parser of SI prefixes would read
``1.8 m`` as milli and ``6 mm2`` as a thousandth of a square metre; here M and m cannot be mixed up.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import CoreSchema, PydanticCustomError
from pydantic_core.core_schema import no_info_plain_validator_function

from circuitcheck.physics.copper import awg_area

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)

_WRITTEN_OUT = {
    "ohms": "ohm",
    "mohms": "mohm",
    "kohms": "kohm",
    "Mohms": "Mohm",
    "volt": "V",
    "volts": "V",
    "amp": "A",
    "amps": "A",
    "watt": "W",
    "watts": "W",
    "mins": "min",
}


@dataclass(frozen=True, eq=False)
class Unit:
    """A kind of quantity: its spellings with their size in the base unit, and the allowed range.

    Beside ``float`` in the annotation of a field it tells pydantic how that field is read.
    """

    what: str
    example: str
    spellings: dict[str, float]
    low: float = 0.0
    high: float = math.inf
    low_allowed: bool = False

    def parse(self, given: Any) -> float:
        """The value in base units.

        :raises PydanticCustomError: with what was found and what it must be
        """
        text = str(given).strip() if isinstance(given, str | int | float) else repr(given)
        match = _NUMBER.fullmatch(text)
        if match is None:
            raise self._wrong(text, f"must be {self.what} with its unit, such as {self.example}")
        number, unit = float(match[1]), match[2].strip()
        if unit not in self._written:
            raise self._wrong(text, self._unit_advice(unit))
        value = number * self._written[unit]
        inside = self.low < value < self.high or (self.low_allowed and value == self.low)
        if not inside or not math.isfinite(value):
            raise self._wrong(text, self._range_advice(value))
        return value

    @cached_property
    def _written(self) -> dict[str, float]:
        """The spellings, and units written out or in the plural, which errors need not offer."""
        also = {
            word: self.spellings[unit] for word, unit in _WRITTEN_OUT.items() if unit in self.spellings
        }
        return {**also, **self.spellings}

    def _unit_advice(self, unit: str) -> str:
        names = ", ".join(name for name in self.spellings if name and name.isascii())
        wrong = "without a unit" if not unit else f"in '{unit}'"
        if unit.startswith(","):
            return f"must have a decimal point and a unit, such as {self.example}"
        return f"must be {self.what} in {names}, such as {self.example}, not {wrong}"

    def _range_advice(self, value: float) -> str:
        """The limit that was passed; below zero is told so, and not the nanoohms of the true limit."""
        if value > self.low:
            limit = f"below {self._bound(self.high)}" if self.high < math.inf else "finite"
        else:
            low = 0.0 if value <= 0.0 <= self.low else self.low
            limit = f"{'at least' if self.low_allowed else 'above'} {self._bound(low)}"
        return f"must be {self.what} {limit}, such as {self.example}"

    def _bound(self, value: float) -> str:
        names = {name: size for name, size in self.spellings.items() if name and name.isascii()}
        if value == 0.0:
            names = {name: size for name, size in names.items() if size == 1.0} or names
        texts = [f"{value / size:g} {name}" for name, size in names.items()] or [f"{value:g}"]
        return min(texts, key=lambda text: ("e" in text.split(" ")[0], len(text)))

    def _wrong(self, found: str, must: str) -> PydanticCustomError:
        return PydanticCustomError("quantity", "{must}", {"must": must, "found": found})

    @property
    def named_by_its_key(self) -> Unit:
        """The same, but a bare number will do: the key (``ohms: 0.4``) says the unit."""
        return replace(self, spellings={**self.spellings, "": 1.0})

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        units = "|".join(re.escape(name) for name in self._written)
        return {
            "type": ["string", "number"] if "" in self.spellings else "string",
            "description": f"{self.what}, such as {self.example}",
            "pattern": rf"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*({units})\s*$",
        }


OHM = Unit(
    "a resistance",
    "'0.40 ohm' or '12 mohm'",
    {
        "ohm": 1.0,
        "mohm": 1e-3,
        "kohm": 1e3,
        "Mohm": 1e6,
        "Ω": 1.0,
        "mΩ": 1e-3,
        "kΩ": 1e3,
        "MΩ": 1e6,
    },
    low=1e-7,
    high=1e9,
)
VOLT = Unit("a voltage", "'12.6 V' or '80 mV'", {"V": 1.0, "mV": 1e-3}, high=100.0)
AMP = Unit("a current", "'15 A' or '120 mA'", {"A": 1.0, "mA": 1e-3}, high=5000.0)
WATT = Unit("a power", "'60 W'", {"W": 1.0, "kW": 1e3}, low=1e-3, high=1e5)
METRE = Unit(
    "a length", "'1.8 m' or '450 mm'", {"m": 1.0, "cm": 1e-2, "mm": 1e-3}, low=1e-4, high=1000.0
)
CELSIUS = Unit("a temperature", "'92 degC'", {"degC": 1.0, "°C": 1.0}, low=-60.0, high=300.0)
PERCENT = Unit("a share", "'5 %'", {"%": 0.01, "": 1.0}, high=1.0, low_allowed=True)
RPM = Unit("a speed", "'2600 rpm'", {"rpm": 1.0, "": 1.0}, high=100_000.0)
MINUTE = Unit(
    "a time", "'4 min' or 4", {"min": 1.0, "": 1.0, "h": 60.0}, high=10_000.0, low_allowed=True
)
COUNT = Unit("a whole number", "3", {"": 1.0}, high=1000.0)

Ohm = Annotated[float, OHM]
Volt = Annotated[float, VOLT]
Amp = Annotated[float, AMP]
Metre = Annotated[float, METRE]
Celsius = Annotated[float, CELSIUS]
Percent = Annotated[float, PERCENT]
Rpm = Annotated[float, RPM]
Minute = Annotated[float, MINUTE]
Count = Annotated[float, COUNT]
Ohms = Annotated[float, OHM.named_by_its_key]
Volts = Annotated[float, VOLT.named_by_its_key]
Amps = Annotated[float, AMP.named_by_its_key]
Watts = Annotated[float, WATT.named_by_its_key]

_MM2 = Unit("a wire section", "'4 mm2' or '12 AWG'", {"mm2": 1.0, "mm²": 1.0}, low=0.01, high=1000.0)
_AWG = re.compile(r"(\d{1,2}|[1-4]/0)\s*AWG")


def parse_section(given: Any) -> float:
    """A wire section [mm2] from ``4 mm2`` or ``12 AWG`` (``2/0 AWG`` for the large ones).

    >>> parse_section("4 mm2"), round(parse_section("12 AWG"), 3)
    (4.0, 3.309)
    """
    match = _AWG.fullmatch(str(given).strip())
    if match:
        text = match[1]
        return awg_area(1 - int(text[0]) if text.endswith("/0") else int(text))
    return _MM2.parse(given)


Section = Annotated[
    float,
    BeforeValidator(parse_section),
    WithJsonSchema({"type": "string", "description": "a wire section, such as '4 mm2' or '12 AWG'"}),
]


def parse_yes_no(given: Any) -> bool:
    """``yes`` or ``no``.

    :raises PydanticCustomError: for anything else
    """
    text = str(given).strip().lower()
    if text in ("yes", "no", "true", "false"):
        return text in ("yes", "true")
    must = {"must": "must be yes or no", "found": str(given)}
    raise PydanticCustomError("quantity", "{must}", must)


YesNo = Annotated[
    bool,
    BeforeValidator(parse_yes_no),
    WithJsonSchema({"enum": ["yes", "no", True, False]}),
]
