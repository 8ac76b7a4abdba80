"""The Python way in: the same verbs as the command line, on one object."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from circuitcheck.circuit.build import all_faults
from circuitcheck.errors import UnknownName
from circuitcheck.expect.expected import ChosenFault, ExpectedTest, expect_tests, find_fault
from circuitcheck.expect.vehicle import read_vehicle
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet, load_readings, parse_readings, sheet_text
from circuitcheck.locate.locate import locate
from circuitcheck.locate.verdict import Verdict
from circuitcheck.parts.fault import FaultMode


@dataclass(frozen=True)
class Loom:
    """A checked harness with what can be asked of it."""

    harness: Harness

    def faults(self) -> list[FaultMode]:
        """Every fault mode, with its unit to replace and its weight."""
        return all_faults(self.harness)

    def tests(self, test: str | None = None) -> list[str]:
        """The names of its tests, or the one asked for.

        :raises UnknownName: if there is no such test
        """
        if test is None:
            return list(self.harness.tests)
        if test not in self.harness.tests:
            raise UnknownName("test", test, self.harness.tests)
        return [test]

    def expect(self, test: str | None = None) -> list[ExpectedTest]:
        """What a sound circuit gives, in one test or in all.

        :raises UnknownName: if there is no such test
        """
        return expect_tests(self.harness, self.tests(test))

    def fault(self, *specs: str) -> list[ChosenFault]:
        """Faults by their names, perhaps with a value: ``E1 high resistance=0.8 ohm``.

        :raises UnknownName: if there is no such fault
        :raises ValueError: if a value does not fit
        """
        return [find_fault(self.harness, one) for spec in specs for one in spec.split(" + ")]

    def whatif(self, *specs: str, test: str | None = None) -> list[ExpectedTest]:
        """What the circuit gives with some faults.

        :raises UnknownName: if there is no such fault or test
        """
        return expect_tests(self.harness, self.tests(test), self.fault(*specs))

    def readings(self, *specs: str, spread: int, test: str | None = None) -> Sheet:
        """A sheet as one vehicle with some faults (none: sound) would give it.

        :param spread: seed that draws the vehicle and the errors of the meter
        """
        return self.sheet(self.written(*specs, spread=spread, test=test))

    def written(
        self, *specs: str, spread: int, test: str | None = None
    ) -> dict[str, dict[str, str]]:
        """The same as plain text values, test by test."""
        return read_vehicle(self.harness, self.tests(test), self.fault(*specs), spread)

    def sheet(self, given: Sheet | Mapping[str, Mapping[str, Any]] | str | Path) -> Sheet:
        """A sheet from a mapping ``{test: {name: reading}}`` or from a file.

        :raises ReadingsError: with every problem
        """
        if isinstance(given, Sheet):
            return given
        if isinstance(given, Mapping):
            return parse_readings(self.harness, sheet_text(self.harness.name, given), "<mapping>")
        return load_readings(self.harness, given)

    def locate(self, given: Sheet | Mapping[str, Mapping[str, Any]] | str | Path) -> Verdict:
        """The verdict on a sheet, a mapping, or a file of readings.

        :raises ReadingsError: with every problem of the sheet
        """
        return locate(self.harness, self.sheet(given))


def load(source: str | Path) -> Loom:
    """A loom by path, or by the name of a shipped harness.

    :raises UnknownName: if there is none of that name
    :raises DescriptionError: with every problem of the file
    """
    return Loom(load_harness(source))


