"""One vehicle drawn from all the sound ones, and the readings that its mechanic would write down."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.expected import UNITS, accuracy_of, bench_for, word_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.words import OPEN_LINE
from circuitcheck.harness.model import Harness, Observation
from circuitcheck.physics.branch import Branch, Conductor, Source
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.spread import TEMPERATURE_SPREAD

Draw = Callable[[str], float]
"""A standard normal number for a latent's name, always the same for the same name."""


def drawer(seed: int | None) -> Draw:
    """Numbers that depend on the seed and the latent's name alone, on any machine.

    :param seed: None for the vehicle of the description itself, read without error
    """
    if seed is None:
        return lambda _: 0.0

    def draw(latent: str) -> float:
        stream = np.random.default_rng([seed, zlib.crc32(latent.encode())])
        return float(np.clip(stream.standard_normal(), -3.0, 3.0))

    return draw


def vary(circuit: Circuit, draw: Draw) -> Circuit:
    """The same circuit in another sound vehicle; the latents are those of ``solve.spread``."""
    warm = TEMPERATURE_SPREAD * draw("temperature")
    return circuit.changed({key: _vary(key, one, draw, warm) for key, one in circuit.branches.items()})


def _vary(key: str, branch: Branch, draw: Draw, warm: float) -> Branch:
    if isinstance(branch, Conductor):
        factor = math.exp(branch.spread * draw(f"{key} ohm"))
        return replace(branch, ohm=branch.ohm * factor * (1 + branch.coefficient * warm))
    if isinstance(branch, Source):
        factor = math.exp(branch.spread * draw(f"{key} ohm"))
        emf = branch.emf + branch.emf_spread * draw(f"{key} {branch.emf:g} V")
        return replace(branch, ohm=branch.ohm * factor, emf=emf)
    fields = {
        name: getattr(branch, name) * math.exp(spread * draw(f"{key} {name}"))
        for name, spread in zip(branch.PARAMETERS, branch.spreads, strict=True)
        if spread
    }
    return replace(branch, **fields)  # type: ignore[type-var]


def read_vehicle(
    harness: Harness, tests: Sequence[str], faults: Sequence[ChosenFault], seed: int | None
) -> dict[str, dict[str, str]]:
    """What one vehicle with some faults gives in some tests, as it would be written down."""
    draw = drawer(seed)
    (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    return {name: _read_test(harness, name, faults, draw, blown) for name in tests}


def is_there(fault: ChosenFault, test: str, draw: Draw) -> bool:
    """Whether a fault is there during a test: one that comes and goes every other time."""
    return not fault.mode.while_there or draw(f"{fault.mode.spec} in {test}") >= 0


def _read_test(
    harness: Harness, name: str, faults: Sequence[ChosenFault], draw: Draw, blown: frozenset[str]
) -> dict[str, str]:
    test = harness.tests[name]
    bench = bench_for(harness, test)
    faults = [one for one in faults if is_there(one, name, draw)]
    written = {}
    for station in bench.stations:
        varied = vary(station.circuit, draw)
        varied = varied.changed(combined(faults, varied.branches, test.setup.swap))
        for place, reader in station.readers:
            circuit = varied.changed(reader.meter()).after(blown - bench.renewed)
            label, observation = bench.observations[place]
            point = solve_point(circuit)
            if point.buzzing:
                written[label] = "buzzes"
                continue
            value = reader.value_at(circuit, point)
            chance = draw(f"meter {name} {label}")
            written[label] = shown(harness, observation, value, math.tanh(chance))
    return {label: written[label] for label, _ in bench.observations}


def shown(harness: Harness, observation: Observation, value: float, error: float) -> str:
    """A value as the meter shows it or the eye sees it.

    :param error: from -1 to 1, how far the meter is out within its accuracy
    """
    word = word_for(harness, observation, value) if not math.isinf(value) else OPEN_LINE
    if word:
        return word
    accuracy = accuracy_of(harness, observation)
    digits = max(0, round(-math.log10(accuracy.digit)))
    reading = accuracy.shown(value, error)
    if observation.kind not in ("volts", "drop"):
        reading = max(reading, 0.0)
    return f"{reading + 0.0:.{digits}f} {UNITS[observation.kind]}"
