"""The Python way in: the same verbs as the command line, on one object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from circuitcheck.circuit.build import all_faults
from circuitcheck.circuit.chosen import ChosenFault, find_fault
from circuitcheck.errors import Problem, ReadingsError, UnknownName
from circuitcheck.expect.expected import Expectation, expect_tests
from circuitcheck.expect.vehicle import read_vehicle
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.model import Harness
from circuitcheck.harness.readings import (
    SYMPTOM,
    Sheet,
    Symptom,
    load_readings,
    parse_readings,
    sheet_text,
)
from circuitcheck.harness.units import units
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.verdict import Verdict
from circuitcheck.parts.fault import FaultMode

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from circuitcheck.inspect.continuity.buzz import BuzzResult, ContinuitySheet
    from circuitcheck.inspect.inspection import Inspection
    from circuitcheck.inspect.powerup.judge import PowerupResult
    from circuitcheck.inspect.powerup.plan import PowerupPlan
    from circuitcheck.learn.explanation import Explanation
    from circuitcheck.learn.resistor.answer import Sizing
    from circuitcheck.learn.session import Session
    from circuitcheck.locate.why import Why
    from circuitcheck.plan.next_test import Next
    from circuitcheck.plan.planner import Planner
    from circuitcheck.plan.prove import Proof
    from circuitcheck.plan.tree import Plan

Given = Sheet | Mapping[str, Mapping[str, Any]] | str | Path
"""A sheet of readings: loaded, as a mapping ``{test: {name: reading}}``, or a path."""


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

    def faults_of(
        self, parts: Sequence[str] = (), unit: str | None = None, kind: str | None = None
    ) -> list[FaultMode]:
        """Some of them.

        :param parts: the parts and wires that they are of, terminals included; all if none are given
        :param unit: what they ask to be put right
        :param kind: a word or more of what they are, as ``short`` or ``high resistance``
        :raises UnknownName: if there is no such part, unit or kind of fault
        """
        found = self.faults()
        of = {one.spec: one.where.partition(".")[0] for one in found}
        for name in parts:
            if name not in of.values():
                raise UnknownName("part or wire", name, dict.fromkeys(of.values()))
        units_here = dict.fromkeys(one.replace for one in found)
        if unit is not None and unit not in units_here:
            raise UnknownName("unit", unit, units_here)
        kinds = dict.fromkeys(one.mode for one in found)
        if kind is not None and not any(kind in one for one in kinds):
            raise UnknownName("kind of fault", kind, kinds)
        return [
            one
            for one in found
            if (not parts or of[one.spec] in parts)
            and unit in (None, one.replace)
            and (kind or "") in one.mode
        ]

    def tests(self, test: str | None = None) -> list[str]:
        """The names of its tests, or the one asked for.

        :raises UnknownName: if there is no such test
        """
        if test is None:
            return list(self.harness.tests)
        if test not in self.harness.tests:
            raise UnknownName("test", test, self.harness.tests)
        return [test]

    def knowing(self, test: str | None) -> Loom:
        """The same with a test among its own that only ``next``, ``plan`` or ``prove`` has named.

        Every observation is in it that could be taken there.

        :raises UnknownName: if neither the harness nor those have such a test
        """
        if test is None or test in self.harness.tests:
            return self
        from circuitcheck.plan.candidates import candidates  # noqa: PLC0415

        made = {one.name: one for one in candidates(self.harness)}
        if test not in made:
            raise UnknownName("test", test, [*self.harness.tests, *made])
        tests = {**self.harness.tests, test: made[test].as_test()}
        return Loom(self.harness.model_copy(update={"tests": tests}))

    def expect(self, test: str | None = None) -> Expectation:
        """What a sound circuit gives, in one test or in all.

        :raises UnknownName: if there is no such test
        """
        loom = self.knowing(test)
        return expect_tests(loom.harness, loom.tests(test))

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
            loom = self.knowing(test)
            return expect_tests(loom.harness, loom.tests(test), self.fault(*specs))
        return self.sheet(self.written(*specs, test=test, spread=spread))

    def written(
        self, *specs: str, test: str | None = None, spread: int | None = None
    ) -> dict[str, dict[str, str]]:
        """What a mechanic would write down, test by test.

        :param spread: seed of the vehicle; None for that of the description, read without error
        """
        loom = self.knowing(test)
        return read_vehicle(loom.harness, loom.tests(test), self.fault(*specs), spread)

    def sheet(self, given: Given) -> Sheet:
        """A sheet from a mapping ``{test: {name: reading}}`` or from a file.

        :raises ReadingsError: with every problem
        """
        if isinstance(given, Sheet):
            return given
        if isinstance(given, Mapping):
            text = sheet_text(self.harness.name, given)
            return self.understood(parse_readings(self.harness, text, "<mapping>"))
        try:
            return self.understood(load_readings(self.harness, given))
        except ReadingsError as error:
            if not isinstance(error.unheard, Symptom):
                raise
            heard = [*error.problems, *self._misheard(error.unheard)]
        raise ReadingsError(sorted(heard, key=lambda one: one.line))

    def _misheard(self, said: Symptom) -> list[Problem]:
        """What is wrong with the words of a symptom, of a sheet that has other mistakes too."""
        try:
            self.understood(Sheet("", (), {}, symptom=said))
        except ReadingsError as error:
            return list(error.problems)
        return []

    def understood(self, sheet: Sheet) -> Sheet:
        """A sheet with its symptom among the readings.

        :raises ReadingsError: if the symptom is not understood
        """
        if sheet.symptom is None:
            return sheet
        from circuitcheck.plan.symptom import symptom_sheet, with_symptom  # noqa: PLC0415

        said = sheet.symptom
        try:
            return with_symptom(symptom_sheet(self.harness, said.text), sheet)
        except ValueError as error:
            raise ReadingsError(
                [Problem(said.file, said.line, SYMPTOM, f"'{said.text}'", str(error))]
            ) from None

    def _metered(self, sheet: Sheet) -> Loom:
        """The loom as the meter of a sheet loads it, and as far off as that may be."""
        said = {"meter_ohm": sheet.meter_ohm, "meter_within": sheet.meter_within}
        new = {
            key: value
            for key, value in said.items()
            if value is not None and value != getattr(self.harness, key)
        }
        return Loom(self.harness.model_copy(update=new)) if new else self

    def _found(self, given: Given) -> Sheet:
        """A sheet with readings on it, and not only with what was put right.

        :raises ReadingsError: with every problem of the sheet
        """
        sheet = self.sheet(given)
        if not sheet.readings:
            name = str(given) if isinstance(given, str | Path) else sheet.title or "the sheet"
            raise ReadingsError(
                [Problem(name, 0, "", "no readings", "must have at least one reading that was taken")]
            )
        return sheet

    def explain(self, test: str, *specs: str, observe: str | None = None) -> Explanation:
        """Why an observation of a test is what it is, step by step.

        :param specs: faults, as for :meth:`whatif`
        :param observe: one observation of the test; without one, what the battery delivers
        :raises UnknownName: if there is no such test, fault or observation
        """
        from circuitcheck.learn.explanation import explain  # noqa: PLC0415

        loom = self.knowing(test)
        return explain(loom.harness, test, self.fault(*specs), observe)

    def practise(self, level: int = 1, seed: int = 0) -> Session:
        """A vehicle with a hidden fault: ``.feed("volts G1.+ G1.-")``, at the end ``.debrief()``.

        :param level: 1 something open, 2 a bad ground, 3 a changed resistance, 4 two faults, 5 a trap
        :raises ValueError: if there is no such level, or nothing of its kind here that would show
        """
        from circuitcheck.learn.case import draw_case  # noqa: PLC0415
        from circuitcheck.learn.session import Session  # noqa: PLC0415

        return Session(draw_case(self.harness, level, seed))

    def picture(self, name: str, test: str, *specs: str, through: str | None = None) -> Figure:
        """A picture of a test: ``staircase``, ``crossing``, ``supply`` or ``resistor``.

        A matplotlib figure; :func:`circuitcheck.learn.plots.save` writes it as SVG or PNG.

        :param specs: faults, as for :meth:`whatif`
        :param through: for the staircase, a branch or terminal that the way should pass
        :raises UnknownName: if there is no such picture, test or fault
        :raises ValueError: if the test has nothing of the kind to show, or matplotlib is missing
        """
        from circuitcheck.learn.plots import picture  # noqa: PLC0415

        loom = self.knowing(test)
        return picture(name, loom.harness, test, self.fault(*specs), through)

    def resistor(self, **wanted: Any) -> Sizing:
        """A series resistor sized for a slow fan: ``loom.resistor(share=0.6)``.

        :param wanted: fields of :class:`~circuitcheck.learn.resistor.answer.Ask`
        :raises UnknownName: if a motor, resistor or wire that is named is not there
        :raises ValueError: if no resistor slows a fan, or what is wanted cannot be had
        """
        from circuitcheck.learn.resistor.answer import Ask  # noqa: PLC0415
        from circuitcheck.learn.resistor.sizing import size_resistor  # noqa: PLC0415

        return size_resistor(self.harness, Ask(**wanted))

    def inspect(
        self, *limits: str, accepted: Mapping[str, str] | None = None, rules: Sequence[str] = ()
    ) -> Inspection:
        """The design judged by the rules of ``docs/inspect.md``.

        :param limits: limits of one's own, as ``ambient=80 degC``
        :param accepted: the reason for each finding that one lives with, by ``rule place``
        :param rules: ids of the rules to put; all of them if none are given
        :raises UnknownName: if there is no such limit or rule
        :raises ValueError: if a limit makes no sense, or a finding is accepted without a reason
        """
        from circuitcheck.inspect.inspection import (  # noqa: PLC0415
            inspect_harness,
            read_acceptances,
        )
        from circuitcheck.inspect.limits import Limits  # noqa: PLC0415

        reasons = read_acceptances(f"{key}: {why}" for key, why in (accepted or {}).items())
        return inspect_harness(self.harness, Limits.of(limits), reasons, rules)

    def locate(self, given: Given) -> Verdict:
        """The verdict on a sheet, a mapping, or a file of readings.

        :raises ReadingsError: with every problem of the sheet
        """
        sheet = self._found(given)
        return self._metered(sheet)._locator.locate(sheet)

    def why(self, given: Given) -> Why:
        """The verdict on a sheet, with what every reading speaks for and against each suspect.

        :raises ReadingsError: with every problem of the sheet
        """
        sheet = self._found(given)
        return self._metered(sheet)._locator.why(sheet)

    @cached_property
    def _planner(self) -> Planner:
        from circuitcheck.plan.planner import Planner  # noqa: PLC0415  (only where it is asked for)

        return Planner(self.harness, self._locator)

    def begun(self, given: Given | None = None, symptom: str | None = None) -> Sheet:
        """What is known so far: the readings of a sheet, what the customer says, both or nothing.

        :raises ReadingsError: with every problem of the sheet
        :raises ValueError: if the symptom is not understood, or the sheet has one too
        """
        sheet = Sheet("", (), {}) if given is None else self.sheet(given)
        if symptom is None:
            return sheet
        if sheet.symptom is not None:
            raise ValueError(f"the sheet has a symptom, '{sheet.symptom.text}': change it there")
        from circuitcheck.plan.symptom import symptom_sheet, with_symptom  # noqa: PLC0415

        return with_symptom(symptom_sheet(self.harness, symptom), sheet)

    def next(self, given: Given | None = None, symptom: str | None = None, **options: Any) -> Next:
        """The test to do now, after the readings so far.

        :param symptom: what the customer says, unless the sheet says it
        :param options: fields of :class:`~circuitcheck.plan.planner.Options`
        :raises ReadingsError: with every problem of the sheet
        """
        from circuitcheck.plan.next_test import next_test  # noqa: PLC0415
        from circuitcheck.plan.planner import Options  # noqa: PLC0415

        sheet = self.begun(given, symptom)
        return next_test(self._metered(sheet)._planner, sheet, Options(**options))

    def plan(
        self,
        symptom: str | None = None,
        given: Given | None = None,
        *,
        put_right: Sequence[str] = (),
        depth: int | None = None,
        everything: bool = False,
        pages: int | None = None,
        **options: Any,
    ) -> Plan:
        """The order of tests, from a symptom such as ``right fan dead on low``; a sheet full.

        :param given: readings that it begins from
        :param put_right: units that were put right already
        :param depth: tests one after the other at the most
        :param everything: every branch that is not rare
        :param pages: that it may fill; both sides of one sheet unless told
        :param options: fields of :class:`~circuitcheck.plan.planner.Options`
        :raises UnknownName: if there is no such unit
        :raises ValueError: if the symptom is not understood
        """
        from circuitcheck.plan.planner import Options  # noqa: PLC0415
        from circuitcheck.plan.tree import SHEET, plan_tree  # noqa: PLC0415

        sheet = self.begun(given, symptom)
        fills = None if everything or depth else pages or SHEET
        known = units(self.harness) if put_right else []
        for one in put_right:
            if one not in known:
                raise UnknownName("unit", one, known)
        sheet = replace(sheet, put_right=tuple(dict.fromkeys([*sheet.put_right, *put_right])))
        planner = self._metered(sheet)._planner
        return plan_tree(planner, sheet, Options(**options), pages=fills, depth=depth)

    def prove(self, before: Given, after: Given | None = None, **options: Any) -> Proof:
        """The shortest set of readings that shows the circuit sound after a repair.

        :param before: the readings that led to the repair
        :param after: readings taken after it, to be judged
        :raises ReadingsError: with every problem of a sheet
        """
        from circuitcheck.plan.planner import Options  # noqa: PLC0415
        from circuitcheck.plan.prove import prove  # noqa: PLC0415

        judged = None if after is None else self._found(after)
        sheet = self._found(before)
        return prove(self._metered(judged or sheet)._planner, sheet, judged, Options(**options))

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

    @overload
    def powerup(self, given: None = None, *, limited: bool = False) -> PowerupPlan: ...

    @overload
    def powerup(self, given: Given, *, limited: bool = False) -> PowerupResult: ...

    def powerup(
        self, given: Given | None = None, *, limited: bool = False
    ) -> PowerupPlan | PowerupResult:
        """The first power in steps, for a loom fresh from the bench; or what a filled sheet says.

        :param given: readings of the steps done so far
        :param limited: a current-limited supply is at hand for the steps that turn no fan
        :raises ReadingsError: with every problem of the sheet
        """
        from circuitcheck.inspect.powerup.judge import judge  # noqa: PLC0415
        from circuitcheck.inspect.powerup.plan import powerup_plan  # noqa: PLC0415

        plan = powerup_plan(self.harness, limited=limited)
        return plan if given is None else judge(plan, Loom(plan.harness).sheet(given))


def load(source: str | Path) -> Loom:
    """A loom by path, or by the name of a shipped harness.

    :raises UnknownName: if there is none of that name
    :raises DescriptionError: with every problem of the file
    """
    return Loom(load_harness(source))
