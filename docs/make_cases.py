"""Play the worked cases and write their pages: ``python docs/make_cases.py``."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import fill

import circuitcheck
from circuitcheck.cli import planning_tables, tables
from circuitcheck.expect.vehicle import read_vehicle
from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Sheet, parse_readings
from circuitcheck.loom import Loom
from circuitcheck.plan.asked import by_form, to_write
from circuitcheck.plan.candidates import Candidate
from circuitcheck.plan.symptom import symptom_sheet, with_symptom

PAGES = Path(__file__).parent / "cases"


@dataclass(frozen=True)
class Case:
    """An invented vehicle with one fault.

    :param seed: draws the vehicle and the errors of its meter
    """

    harness: str
    symptom: str
    fault: str
    seed: int


CASES = (
    Case("first-fan", "fan dead", "K1 coil open", 11),
    Case("twin-fan-switch", "right fan slow on high", "E2 high resistance=0.6 ohm", 12),
    Case("truck-24v", "fan slow on high", "K2 coil open", 13),
    Case("cabin-blower", "blower dead in position 2", "R2 open", 14),
    Case("twin-fan-three-relays", "right fan dead on high", "F4 blown", 15),
    Case("twin-fan-module", "both fans slow cold", "F4 blown", 16),
)


@dataclass
class Notes:
    """What has been read so far, and the sheet it makes."""

    loom: Loom
    faults: tuple[str, ...]
    seed: int
    places: dict[str, list[int]] = field(default_factory=dict)
    written: dict[tuple[str, int], str] = field(default_factory=dict)

    @property
    def known(self) -> dict[str, Candidate]:
        """All tests there are to choose from."""
        return {one.name: one for one in self.loom._planner.candidates}

    def take(self, name: str, wanted: list[str]) -> None:
        """Do a test on the vehicle."""
        candidate = self.known[name]
        observe = {label: one for label, one in candidate.observations if label in wanted}
        test = Test(title=candidate.title, setup=candidate.setup, observe=observe)
        bench = self.loom.harness.model_copy(update={"tests": {name: test}})
        read = read_vehicle(bench, [name], self.loom.fault(*self.faults), self.seed)[name]
        for place, (label, _) in enumerate(candidate.observations):
            if label in wanted:
                self.places.setdefault(name, []).append(place)
                self.written[name, place] = read[label]

    def text(self) -> str:
        """The sheet."""
        harness = self.loom.harness
        chosen = [(self.known[name], places) for name, places in self.places.items()]
        forms = [
            (one.name, by_form(one, places, known=one.name in harness.tests)) for one, places in chosen
        ]
        left = iter(
            [
                self.written[name, place]
                for form in (0, 1)
                for name, both in forms
                for place in both[form]
            ]
        )
        lines = to_write(harness, chosen)
        return f"harness: {harness.name}\n" + re.sub(
            r': "-"(?=\}?$)', lambda _: f": {next(left)}", lines, flags=re.M
        )

    def sheet(self) -> Sheet:
        """The same as the tool reads it."""
        return parse_readings(self.loom.harness, self.text())


def printed(show: Callable[[], None]) -> str:
    """What a verb prints on standard output."""
    with redirect_stdout(io.StringIO()) as caught, redirect_stderr(io.StringIO()):
        show()
    return caught.getvalue().rstrip()


def page(case: Case) -> str:
    """One case from symptom to proof."""
    loom = circuitcheck.load(case.harness)
    return "\n\n".join(_told(case, loom)) + "\n"


def _told(case: Case, loom: Loom) -> Iterator[str]:
    fault = loom.fault(case.fault)[0].mode
    yield f"# {loom.harness.title}: {case.symptom}"
    yield (
        "Vehicle, fault and readings are invented. The tool is told the symptom and the readings only.\n"
        f"What the vehicle has: `{case.fault}`, {fault.words}."
    )
    yield "## The tests"
    told = symptom_sheet(loom.harness, case.symptom)
    notes = Notes(loom, (case.fault,), case.seed)
    sheet, given = told, ""
    while True:
        result = loom.next(sheet)
        command = f'circuitcheck next {case.harness}{given} --symptom "{case.symptom}"'
        yield _shown(
            command, printed(lambda result=result: planning_tables.next_test(loom.harness, result))
        )
        if result.test is None:
            break
        notes.take(result.test.name, [one.sound.name for one in result.test.readings])
        yield f"Read, and written into `before.yaml`:\n\n```yaml\n{notes.text()}\n```"
        sheet, given = with_symptom(told, notes.sheet()), " before.yaml"
    yield "## The verdict"
    verdict = loom.locate(notes.sheet())
    yield _shown(
        f"circuitcheck locate {case.harness} before.yaml", printed(lambda: tables.verdict(loom, verdict))
    )
    yield "## The proof"
    proof = loom.prove(notes.sheet())
    yield _shown(
        f"circuitcheck prove {case.harness} before.yaml",
        printed(lambda: planning_tables.proof(loom.harness, proof)),
    )
    after = Notes(loom, (), case.seed)
    for test in proof.tests:
        after.take(test.name, [one.name for one in test.readings])
    yield f"`{fault.replace}` is put right; then read, and written into `after.yaml`:"
    yield f"```yaml\n{after.text()}\n```"
    judged = loom.prove(notes.sheet(), after.sheet())
    assert judged.judgement is not None
    yield _shown(
        f"circuitcheck prove {case.harness} before.yaml after.yaml | tail",
        f"Verdict: {judged.judgement.verdict}\n"
        + fill(judged.judgement.summary, 80, initial_indent="  ", subsequent_indent="  "),
    )


def _shown(command: str, output: str) -> str:
    return f"```\n$ {command}\n{output}\n```"


def index() -> str:
    """The page of all cases."""
    lines = [
        f"- [{circuitcheck.load(one.harness).harness.title}]({one.harness}.md): {one.symptom}"
        for one in CASES
    ]
    return (
        "# Worked cases\n\nOne from symptom to proof for each shipped harness.\n\n"
        + "\n".join(lines)
        + "\n"
    )


def main() -> None:
    """Write all pages."""
    PAGES.mkdir(exist_ok=True)
    (PAGES / "README.md").write_text(index(), encoding="utf-8")
    for one in CASES:
        (PAGES / f"{one.harness}.md").write_text(page(one), encoding="utf-8")


if __name__ == "__main__":
    main()
