"""The steps of a power-up with everything that a person needs at each."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.errors import UnknownName
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.expect.expected import COVERAGE, ExpectedReading, expected_reading
from circuitcheck.harness.model import Harness, Test
from circuitcheck.inspect.powerup.feed import Feeds, setup_for, sure_word
from circuitcheck.inspect.powerup.observe import LAMP_LABEL, offered, short_name, words_of
from circuitcheck.inspect.powerup.order import Order, Stage
from circuitcheck.inspect.powerup.signs import Sign, Signs, Sweep
from circuitcheck.notebook import html_table, text_table

_COLUMNS = ("step", "do", "through", "reading", "expected")

POINTS = 4
"""Points to probe in one step at the most; common practice, no source."""
FAR = 3.9
"""Standard uncertainties beyond which not one sound vehicle in ten thousand reads."""
RUN_UP_S = 5.0
"""A fan has run up by then, behind a lamp too; before, it looks seized [s]; common practice."""
START_S = 2.0
"""A sound fan has begun to turn by then [s]; common practice, no source."""
FIRST = "Power off"
"""How each step begins, whatever it puts in, takes out or bridges."""

BEFORE = (
    "Before the first step the loom is buzzed through ('circuitcheck buzz'), the battery disconnected: "
    "minus clamp off and tied back, 0 V between the clamps of the loom.",
    "Fuses out before ohms; power off, at the lamp or the supply, before anything is put in or taken "
    "out; then power on and read.",
    "Capacitors in radios, control units and suppressors keep their charge: wait two minutes after "
    "power off. A control unit that must not see low volts stays undone until the battery is on.",
    "A lamp that limits the current gets hot: in a holder, on something that does not burn.",
)
"""Cautions for the whole of it; those of each step come with it."""


@dataclass(frozen=True)
class Step:
    """One step.

    :param name: as on the sheet: ``04-F2``
    :param test: the same as a test like any other
    :param readings: what a sound loom gives
    :param spread: standard uncertainty of each, from one sound vehicle to the next
    :param stop_above: by the name of the reading, the current above which to switch off at once [A]
    :param signs: what it means if a reading is off
    :param volts: of the vehicle, and so of the lamp [V]
    :param lead: the lead to bridge with, if there is one
    """

    name: str
    stage: Stage
    test: Test
    readings: tuple[ExpectedReading, ...]
    spread: tuple[float, ...]
    stop_above: dict[str, float]
    signs: tuple[Sign, ...]
    cautions: tuple[str, ...]
    volts: int
    lead: Lead | None = None

    def __str__(self) -> str:
        table = text_table(
            ("reading", "expected"), [(one.name, expected_words(one)) for one in self.readings]
        )
        return f"{self.name}: {self.test.title}; {self.fed}\n\n{table}"

    @property
    def fed(self) -> str:
        """What the power comes through, in words."""
        lines = setup_lines(self.test.setup, self.volts)
        return lines[0] if self.test.setup.through else "straight on the battery"

    @property
    def turning(self) -> tuple[str, ...]:
        """The fans that start."""
        return tuple(one.name for one in self.readings if one.kind == "speed" and one.expected)

    @property
    def run_up_s(self) -> float:
        """For how long the lamp may be brighter, and the current higher, than it is to be read [s]."""
        return RUN_UP_S if self.turning else 0.0

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        through = self.test.setup.through
        return {
            "step": self.name,
            "title": self.test.title,
            "fit": self.stage.fit,
            "through": through.model_dump(exclude_none=True) if through else None,
            "before": FIRST,
            "setup": setup_lines(self.test.setup, self.volts),
            "lead": asdict(self.lead) if self.lead else None,
            "readings": [
                {**reading.to_dict(), "at": list(one.points)}
                for reading, one in zip(self.readings, self.test.observe.values(), strict=True)
            ],
            "stop_above_amps": self.stop_above,
            "run_up_s": self.run_up_s,
            "signs": [one.to_dict() for one in self.signs],
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True)
class PowerupPlan:
    """All steps.

    :param harness: the loom, fresh from the bench, with the steps as its tests
    :param faults: everything that can be wrong with it
    """

    harness: Harness
    steps: tuple[Step, ...]
    order: Order = field(repr=False)
    faults: tuple[ChosenFault, ...] = field(repr=False)

    def __getitem__(self, name: str) -> Step:
        """A step by its name.

        :raises UnknownName: if there is none
        """
        known = {one.name: one for one in self.steps}
        if name not in known:
            raise UnknownName("step", name, known)
        return known[name]

    def to_dict(self) -> dict[str, Any]:
        """The plan as plain values."""
        return {
            "harness": self.harness.name,
            "cautions": list(BEFORE),
            "steps": [one.to_dict() for one in self.steps],
        }

    def to_csv(self) -> str:
        """The sheet to fill in."""
        text = io.StringIO()
        rows = csv.writer(text, lineterminator="\n")
        rows.writerow(("test", "name", "reading", "expected"))
        for step in self.steps:
            rows.writerows((step.name, one.name, "", expected_words(one)) for one in step.readings)
        return text.getvalue()

    def __str__(self) -> str:
        return "\n\n".join([f"{self.harness.title}: first power", *map(str, self.steps)])

    def _repr_html_(self) -> str:
        return html_table(f"{self.harness.title}: first power", _COLUMNS, self._rows())

    def _rows(self) -> list[tuple[object, ...]]:
        return [
            (step.name, step.test.title, step.fed, one.name, expected_words(one))
            for step in self.steps
            for one in step.readings
        ]


def expected_words(reading: ExpectedReading) -> str:
    """What a person should see: a word, or the band with its unit."""
    if reading.word:
        return reading.word
    if reading.low is None or reading.high is None:
        return ""
    digits = digits_of(reading.high)
    high = f"{reading.high:.{digits}f} {reading.unit}"
    if round(reading.low, digits) <= 0:
        return f"at most {high}"
    return f"{reading.low:.{digits}f} to {high}"


def digits_of(high: float) -> int:
    """Decimals with which a band up to ``high`` is printed."""
    return 1 if high >= 10 else 2


def fresh(harness: Harness) -> Harness:
    """The loom as one that has never been in use, without tests."""
    return harness.model_copy(update={"in_use": False, "tests": {}})


def powerup_plan(harness: Harness, *, limited: bool = False) -> PowerupPlan:
    """The steps for a harness.

    :param limited: a current-limited supply is at hand for the steps that turn no fan
    """
    loom = fresh(harness)
    order = Order(loom)
    faults = [
        ChosenFault(one, one.severity.typical if one.severity else 0.0) for one in lasting_faults(loom)
    ]
    feeds, signs = Feeds(order, faults, limited=limited), Signs(loom, faults)
    steps = tuple(
        _step(order, number, stage, feeds, signs) for number, stage in enumerate(order.stages, 1)
    )
    tests = {one.name: one.test for one in steps}
    return PowerupPlan(loom.model_copy(update={"tests": tests}), steps, order, tuple(faults))


def _step(order: Order, number: int, stage: Stage, feeds: Feeds, signs: Signs) -> Step:
    harness = order.harness
    setup = setup_for(order, stage, feeds.choose(stage))
    offer = offered(order, stage, setup)
    labels = [*offer.always, *offer.points]
    observations = {**offer.always, **offer.points}
    bench = Bench(harness, setup, tuple(observations.items()))
    sweep = signs.sweep(bench)
    count = len(offer.always)
    must = [n for n in range(count) if labels[n] != LAMP_LABEL or _says_something(sweep, n)]
    places = signs.worth(sweep, must, range(count, len(labels)), POINTS)
    readings = tuple(
        expected_reading(
            harness, labels[n], observations[labels[n]], float(sweep.base[n]), float(sweep.spread[n])
        )
        for n in places
    )
    test = Test(
        title=words_of(harness, stage),
        setup=setup,
        observe={labels[n]: observations[labels[n]] for n in places},
    )
    return Step(
        f"{number:02d}-{short_name(stage)}",
        stage,
        test,
        readings,
        tuple(float(sweep.spread[n]) for n in places),
        _stop_above(readings),
        signs.of(sweep, labels, places),
        tuple(cautions_for(harness, setup)),
        harness.volts,
        bench.lead,
    )


def _says_something(sweep: Sweep, place: int) -> bool:
    """Whether a sound loom's lamp is called one thing only; else it is not looked at."""
    return sure_word(float(sweep.base[place]), float(sweep.spread[place])) is not None


def _stop_above(readings: Sequence[ExpectedReading]) -> dict[str, float]:
    """The currents that not one sound loom in ten thousand draws, to a tenth of an amp [A]."""
    found = {}
    for one in readings:
        if one.kind == "amps" and one.expected is not None:
            found[one.name] = math.ceil(max(far_reach(one)[1], 0.1) * 10) / 10
    return found


def far_reach(reading: ExpectedReading) -> tuple[float, float]:
    """Between what nearly every sound vehicle reads: its 95 % band, widened from 1.96 to ``FAR``.

    Volts lost and ohms go by factors, as the band itself does.
    """
    value = reading.expected or 0.0
    low = value if reading.low is None else reading.low
    high = math.inf if reading.high is None else reading.high
    wider = FAR / COVERAGE
    if reading.kind in ("drop", "ohms") and value > 0:
        most = value * (high / value) ** wider
        return value - wider * (value - low), max(most, value + wider * (high - value))
    return value - wider * (value - low), value + wider * (high - value)
