"""The Python way in: the same verbs as the command line, on one object."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from circuitcheck.circuit.build import all_faults
from circuitcheck.errors import UnknownName
from circuitcheck.expect.expected import ChosenFault, Expectation, expect_tests, find_fault
from circuitcheck.expect.vehicle import read_vehicle
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import Sheet, load_readings, parse_readings, sheet_text
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.verdict import Verdict
from circuitcheck.parts.fault import FaultMode

if TYPE_CHECKING:
    from circuitcheck.inspect.continuity.buzz import BuzzResult, ContinuitySheet


@dataclass(frozen=True)
class Loom:
    """A checked harness with what can be asked of it."""

    harness: Harness

    @cached_property
    def _locator(self) -> Locator:
        return Locator(self.harness)

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

    def expect(self, test: str | None = None) -> Expectation:
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

    @overload
    def whatif(self, *specs: str, test: str | None = None, spread: None = None) -> Expectation: ...

    @overload
    def whatif(self, *specs: str, test: str | None = None, spread: int) -> Sheet: ...

    def whatif(
        self, *specs: str, test: str | None = None, spread: int | None = None
    ) -> Expectation | Sheet:
        """What the circuit gives with some faults; with a seed, the sheet of one such vehicle.

        :param spread: seed that draws the vehicle and the errors of its meter
        :raises UnknownName: if there is no such fault or test
        """
        if spread is None:
            return expect_tests(self.harness, self.tests(test), self.fault(*specs))
        return self.sheet(self.written(*specs, test=test, spread=spread))

    def written(
        self, *specs: str, test: str | None = None, spread: int | None = None
    ) -> dict[str, dict[str, str]]:
        """What a mechanic would write down, test by test.

        :param spread: seed of the vehicle; None for that of the description, read without error
        """
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
        return self._locator.locate(self.sheet(given))

    @overload
    def buzz(
        self, given: None = None, *, fitted: bool = False, one_by_one: bool = False
    ) -> ContinuitySheet: ...

    @overload
    def buzz(self, given: str | Path) -> BuzzResult: ...

    def buzz(
        self, given: str | Path | None = None, *, fitted: bool = False, one_by_one: bool = False
    ) -> ContinuitySheet | BuzzResult:
        """The continuity sheet of the unpowered loom; or what a filled one says.

        :param given: path of the filled sheet; what it says of bench or fitted counts
        :raises ReadingsError: with every problem of the sheet
        """
        from circuitcheck.inspect.continuity.buzz import continuity_sheet, read_file  # noqa: PLC0415

        if given is None:
            return continuity_sheet(self.harness, fitted=fitted, one_by_one=one_by_one)
        return read_file(self.harness, given)


def load(source: str | Path) -> Loom:
    """A loom by path, or by the name of a shipped harness.

    :raises UnknownName: if there is none of that name
    :raises DescriptionError: with every problem of the file
    """
    return Loom(load_harness(source))
