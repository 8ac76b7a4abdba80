"""The evidence for a fault of unknown value, against numpy's trapezoidal rule over its whole range.

Nothing is looked for there and nothing told from neighbours: the readings are solved at 241 values.
"""

from pathlib import Path

import numpy as np
import pytest

from circuitcheck.harness.load import load_harness
from circuitcheck.harness.readings import load_readings
from circuitcheck.locate.between import Solved
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import lay_out
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.suspects import Trial, predict, single_suspects
from circuitcheck.locate.weighing import fine_look, rough_look
from circuitcheck.shipped import readings_files

VALUES = 241
NEAR = 7.0  # log of the standing below the best from which a suspect counts for nothing (0.1 %)


@pytest.mark.parametrize(
    ("name", "sheet"), [("first-fan", "nothing-wrong"), ("twin-fan-three-relays", "nothing-wrong")]
)
def test_evidence_is_the_integral_over_the_range(name: str, sheet: str) -> None:
    harness = load_harness(name)
    evidence = lay_out(harness, load_readings(harness, Path(readings_files(name)[sheet])), {})
    suspects = [one for one in single_suspects(harness) if not one.passing]
    coarse = Coarse(harness, suspects)
    standings = fine_look(evidence, coarse, rough_look(evidence, coarse))
    best = standings[0].log_weight
    near = [one for one in standings if one.log_weight > best - NEAR and one.suspect.severity]
    assert len(near) > 5
    trials = []
    for number, one in enumerate(near):
        severity = one.suspect.severity
        assert severity is not None
        trials.append(Trial(number, np.geomspace(severity.low, severity.high, VALUES)))
    predictions = predict(evidence, [one.suspect for one in near], trials)
    totals = weigh(evidence, predictions.values, predictions.moves()).total.reshape(-1, VALUES)
    for one, logs in zip(near, totals, strict=True):
        density = np.exp(logs - logs.max())
        mean = np.trapezoid(density, dx=1 / (VALUES - 1))
        assert one.log_evidence == pytest.approx(logs.max() + np.log(mean), abs=0.05), one.suspect.spec


def test_readings_in_between_are_told_as_they_are_solved() -> None:
    """The cubic through solved values, against solving at the values themselves."""
    harness = load_harness("first-fan")
    sheet = load_readings(harness, Path(readings_files("first-fan")["fan-weak"]))
    evidence = lay_out(harness, sheet, {})
    suspects = single_suspects(harness)
    number = next(n for n, one in enumerate(suspects) if one.spec == "E2 high resistance")
    grid, inside = np.log(np.geomspace(0.2, 1.0, 9)), np.log(np.geomspace(0.3, 0.8, 7))
    solved, wanted = (
        predict(evidence, suspects, [Trial(number, np.exp(logs))]) for logs in (grid, inside)
    )
    told = Solved(grid, solved.values, solved.moves()).at(evidence, inside)
    assert told is not None
    u, closed = evidence.meter_uncertainty(wanted.values), np.isfinite(wanted.values)
    np.testing.assert_array_equal(np.isfinite(told.predicted), closed)
    assert np.all(np.abs(told.predicted[closed] - wanted.values[closed]) < 0.1 * u[closed])
    np.testing.assert_allclose(told.moves, wanted.moves(), rtol=0.02, atol=1e-4 * float(u.max()))


def test_nothing_is_told_across_a_step() -> None:
    """A relay that lets go between two values; nor is anything told outside the values."""
    harness = load_harness("first-fan")
    sheet = load_readings(harness, Path(readings_files("first-fan")["nothing-wrong"]))
    evidence = lay_out(harness, sheet, {})
    count, grid = len(evidence.seen), np.linspace(0.0, 1.0, 9)
    moves = np.zeros((9, count, 1))
    smooth = np.tile(1.0 + grid[:, None], (1, count))
    stepped = np.where(grid[:, None] > 0.55, smooth + 5.0, smooth)
    inside = np.linspace(0.4, 0.7, 9)
    assert Solved(grid, smooth, moves).at(evidence, inside) is not None
    assert Solved(grid, stepped, moves).at(evidence, inside) is None
    assert Solved(grid, smooth, moves).at(evidence, inside + 0.5) is None
