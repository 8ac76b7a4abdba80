"""Runs ngspice, the oracle: a circuit simulator that shares no line with this project."""

import math
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.second_opinion import deck_of, observed
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Harness
from circuitcheck.physics.meter import OPEN_OHM
from circuitcheck.solve.deck import printed_name

#: How far apart a reading may be from the simulator's: a share of it, and at least so much.
TOLERANCE = {
    "volts": (1e-3, 1e-3),
    "drop": (1e-3, 1e-3),
    "amps": (1e-3, 1e-3),
    "ohms": (1e-3, 1e-3),
    "speed": (5e-3, 2.0),
    "lamp": (5e-3, 2e-3),
    "click": (0.0, 0.0),
}


def simulate(text: str) -> dict[str, float]:
    """The readings that ngspice prints for one deck, run as a user runs it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text(text, encoding="utf-8")
        done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return _readings(done.stdout.splitlines())


def simulate_all(decks: Mapping[str, str]) -> dict[str, dict[str, float]]:
    """The same for many decks in one process, which is quicker."""
    with TemporaryDirectory() as folder:
        driver = ["many decks", ".control"]
        for number, text in enumerate(decks.values()):
            path = Path(folder) / f"{number}.cir"
            path.write_text(text.replace("\nquit\n", "\n"), encoding="utf-8")
            driver += [f"echo deck {number}", f"source {path}", "remcirc", "destroy all"]
        path = Path(folder) / "driver.cir"
        path.write_text("\n".join([*driver, "quit", ".endc", ".end", ""]), encoding="utf-8")
        done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False)
    pieces: list[list[str]] = []
    for line in done.stdout.splitlines():
        if line.startswith("deck "):
            assert line == f"deck {len(pieces)}"
            pieces.append([])
        elif pieces:
            pieces[-1].append(line)
    assert len(pieces) == len(decks), done.stdout[-2000:] + done.stderr[-2000:]
    return dict(zip(decks, map(_readings, pieces), strict=True))


def _readings(lines: Sequence[str]) -> dict[str, float]:
    words = [line.split() for line in lines if line.startswith("reading ")]
    assert all(len(one) == 3 for one in words), words
    return {name: float(value) for _, name, value in words}


@dataclass(frozen=True)
class Comparison:
    """One reading in three hands: the product's, the full-size solver's, the simulator's."""

    test: str
    fault: str
    name: str
    kind: str
    ours: float
    point: float
    spice: float

    def agrees(self, value: float) -> bool:
        """Whether one of ours is the simulator's within tolerance; open is above 20 Mohm."""
        if math.isinf(value):
            return self.spice > OPEN_OHM
        return self.off(value) <= 1

    def off(self, value: float) -> float:
        """How far off, in tolerances."""
        if math.isinf(value):
            return 0.0 if self.spice > OPEN_OHM else math.inf
        share, least = TOLERANCE[self.kind]
        limit = max(share * abs(value), least)
        return abs(value - self.spice) / limit if limit else float(value != self.spice) * 2


@dataclass(frozen=True)
class Compared:
    """All readings of some faults; those that buzz have no value to compare."""

    rows: list[Comparison]
    buzzing: int

    @property
    def wrong(self) -> list[Comparison]:
        """Those on which the simulator disagrees with either of our solvers."""
        return [one for one in self.rows if not (one.agrees(one.ours) and one.agrees(one.point))]


def typical(harness: Harness) -> list[ChosenFault]:
    """Every fault of a harness at its typical value."""
    return [
        ChosenFault(mode, mode.severity.typical if mode.severity else 0.0)
        for mode in lasting_faults(harness)
    ]


def compare(harness: Harness, cases: Sequence[Sequence[ChosenFault]]) -> Compared:
    """All tests of a harness under some combinations of faults: our readings and the simulator's.

    Ours come off the product's own path: one run of the bench over all changes at once.
    """
    blown = blown_in_service(harness, [lambda b, f=faults: combined(f, b) for faults in cases])
    names = [" and ".join(one.spec for one in faults) or "sound" for faults in cases]
    rows: list[Comparison] = []
    buzzing = 0
    for test, described in harness.tests.items():
        bench = bench_for(harness, described)
        swap = described.setup.swap
        run = bench.run([combined(one, bench.circuit.branches, swap) for one in cases], blown=blown)
        seen = [observed(harness, test, one, blown[n]) for n, one in enumerate(cases)]
        decks = {str(n): deck_of(harness, test, one, seen[n]) for n, one in enumerate(cases)}
        found = simulate_all(decks)
        for number, observations in enumerate(seen):
            for place, one in enumerate(observations):
                ours = float(run.values[number, place])
                if math.isnan(ours) or math.isnan(one.value):
                    assert one.point.buzzing, (test, names[number], one.name)
                    buzzing += 1
                    continue
                spice = found[str(number)].get(printed_name(one.name), math.nan)
                rows.append(Comparison(test, names[number], one.name, one.kind, ours, one.value, spice))
    return Compared(rows, buzzing)
