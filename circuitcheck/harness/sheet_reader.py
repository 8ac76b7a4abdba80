"""What a sheet of readings says, taken entry by entry and checked against the harness."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from circuitcheck.errors import nearest
from circuitcheck.harness.convert import shown
from circuitcheck.harness.model import KINDS_OF_OBSERVATION, Harness, Observation, Test
from circuitcheck.harness.reading import Reading, parse_reading
from circuitcheck.harness.rules import Known, check_observation
from circuitcheck.harness.tree import Path_, Tree
from circuitcheck.harness.units import units
from circuitcheck.parts.quantity import OHM, PERCENT

PUT_RIGHT = "put_right"
"""The key of a sheet for what was put right before its readings."""
SYMPTOM = "symptom"
"""The key of a sheet for what the customer says."""
METER = "meter"
"""The key of a sheet for the meter that it was read with."""
METER_KEYS = {
    "input": replace(OHM, what="the input of a voltmeter", example="'1 Mohm' or '20 kohm'", low=1e3),
    "within": replace(PERCENT, what="a share of the reading", example="'5 %'", high=0.3),
}
"""What may be said of the meter: its resistance between the leads, and how far off it may be."""


@dataclass(frozen=True)
class Symptom:
    """What the customer says, as it stands in a sheet.

    :param file: where it stands; empty if it was not read from a sheet
    """

    text: str
    file: str = ""
    line: int = 0


@dataclass
class SheetReader:
    """Collects what a sheet says, and the problems on the way.

    :param put_right: units that were put right before the readings
    :param meter_ohm: input of the voltmeter [ohm]; None for a usual one
    :param meter_within: share of a number by which the meter may be off; None for a usual one
    """

    harness: Harness
    tree: Tree
    found: list[Reading] = field(default_factory=list)
    setups: dict[str, Test] = field(default_factory=dict)
    put_right: list[str] = field(default_factory=list)
    symptom: Symptom | None = None
    meter_ohm: float | None = None
    meter_within: float | None = None

    def take(self, test: str, name: str, text: Any, path: Path_) -> None:
        """A reading that a test lists."""
        known = self.harness.tests.get(test)
        if known is None:
            self.tree.report(
                path[:-1] or path,
                f"no test '{test}'",
                "must be a test of the harness",
                nearest(test, self.harness.tests),
            )
            return
        observation = known.observe.get(name)
        if observation is None:
            observation = self._added(name)
        if observation is None:
            self.tree.report(
                path,
                f"no reading '{name}' in test '{test}'",
                f"must be one of {', '.join(known.observe)}",
                nearest(name, known.observe),
            )
            return
        self.setups[test] = known
        self.add(test, name, observation, text, path)

    def _added(self, name: str) -> Observation | None:
        """``volts S1.2 G1.-`` as an observation."""
        kind, *points = name.split() or [""]
        if kind not in KINDS_OF_OBSERVATION or not points:
            return None
        target: Any = points[0] if len(points) == 1 else points
        try:
            return Observation.model_validate({kind: target})
        except ValidationError:
            return None

    def add(self, test: str, name: str, observation: Observation, text: Any, path: Path_) -> None:
        """A reading with its value; both are told if both are wrong."""
        before = len(self.tree.problems)
        check_observation(self.harness, self.tree, self.setups[test], path, observation, self.known)
        if len(self.tree.problems) > before:
            self.check_value(text, path)
            return
        parsed = self._value(observation, text, path)
        if parsed is not None:
            self.found.append(Reading(test, name, observation, *parsed))

    def check_value(self, text: Any, path: Path_) -> None:
        """Tell of what cannot be a reading of any kind, where it is in doubt what was looked at."""
        for kind in KINDS_OF_OBSERVATION:
            try:
                parse_reading(kind, str(text))
            except PydanticCustomError:
                continue
            return
        self.tree.report(path, shown(text), "must be a reading, such as 12.4 V, OL, slow or dark")

    def _value(self, observation: Observation, text: Any, path: Path_) -> tuple[float, str] | None:
        """What was read; None if nothing was, or if it cannot be."""
        if isinstance(text, dict | list):
            self.tree.report(path, "a list or mapping", "must be one value, such as 12.4 V")
            return None
        try:
            return parse_reading(observation.kind, str(text))
        except PydanticCustomError as error:
            context = error.context or {}
            self.tree.report(path, f"'{context['found']}'", str(context["must"]))
            return None

    def take_symptom(self, text: Any, path: Path_) -> None:
        """What the customer says; its words are understood where the symptom is used."""
        if isinstance(text, dict | list) or not text.strip():
            self.tree.report(
                path, "no sentence", "must be one plain sentence, such as 'fan dead on low'"
            )
            return
        self.symptom = Symptom(text.strip(), self.tree.file, self.tree.line(path))

    def take_meter(self, key: str, text: Any, path: Path_) -> None:
        """Something of the meter: one of ``METER_KEYS``."""
        try:
            value = METER_KEYS[key].parse(str(text))
        except PydanticCustomError as error:
            self.tree.report(path, f"'{text}'", str((error.context or {})["must"]))
            return
        if key == "input":
            self.meter_ohm = value
        else:
            self.meter_within = value

    def take_put_right(self, unit: Any, path: Path_) -> None:
        """A unit that was put right before these readings were taken."""
        if isinstance(unit, dict | list):
            self.tree.report(path, "a list or mapping", "must be the name of a unit, such as K1")
            return
        known = self._units
        if unit in known:
            self.put_right.append(unit)
            return
        must = "must be a unit to put right, as a verdict names it"
        assembly = getattr(
            self.harness.parts.get(unit.partition(".")[0]) or self.harness.wires.get(unit),
            "belongs_to",
            None,
        )
        if assembly:
            must += f"; {unit} is put right with the {assembly}"
        elif all(one in known for one in unit.split(" and ")):
            must += f"; each by itself: {', '.join(unit.split(' and '))}"
        self.tree.report(
            path, f"'{unit}'" if unit else "nothing", must, assembly or nearest(unit, known)
        )

    @cached_property
    def known(self) -> Known:
        """What can be named in the harness."""
        return Known.of(self.harness)

    @cached_property
    def _units(self) -> list[str]:
        return units(self.harness)
