"""The evidence for a fault of unknown value, against numpy's trapezoidal rule over its whole range.

Nothing is looked for there and nothing told from neighbours: the readings are solved at 241 values.
"""

from pathlib import Path

import numpy as np
import pytest

import circuitcheck
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.readings import load_readings
from circuitcheck.locate.between import runs_smoothly, told, weights
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import lay_out
from circuitcheck.locate.likelihood import weigh
from circuitcheck.locate.lines import Lines
from circuitcheck.locate.suspects import Trial, predict, single_suspects
from circuitcheck.locate.weighing import both_looks, fine_look, rough_look
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


def test_what_reads_like_sound_is_weighed_wherever_sound_is() -> None:
    """A sound vehicle at the edge of its tolerances: the rough look, which takes each reading on its own,
    sets sound hopelessly far back. What no reading touches is then still as likely as before (Bayes)."""
    loom = circuitcheck.load("twin-fan-three-relays")
    sheet = loom.sheet({"lost-under-load": loom.written(spread=13)["lost-under-load"]})
    evidence = lay_out(loom.harness, sheet, {})
    suspects = [one for one in single_suspects(loom.harness) if not one.passing]
    coarse = Coarse(loom.harness, suspects)
    assert rough_look(evidence, coarse).graced
    standings = {one.suspect.spec: one for one in both_looks(evidence, coarse)}
    untouched, sound = standings["S1.1 open"], standings["sound"]
    assert untouched.log_evidence == pytest.approx(sound.log_evidence, abs=0.01)


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
    shares = weights(grid[None], inside[None])
    read = told(shares, solved.values[None])[0]
    u, closed = evidence.meter_uncertainty(wanted.values), np.isfinite(wanted.values)
    np.testing.assert_array_equal(np.isfinite(read), closed)
    assert np.all(np.abs(read[closed] - wanted.values[closed]) < 0.02 * u[closed])
    moves = np.tensordot(shares[0], solved.moves(), axes=1)
    np.testing.assert_allclose(moves, wanted.moves(), rtol=0.02, atol=1e-4 * float(u.max()))


@pytest.mark.parametrize(("name", "sheet"), [("first-fan", "fan-weak"), ("cabin-blower", "blower-weak")])
def test_lines_are_what_is_solved_at_the_same_values(name: str, sheet: str) -> None:
    """Whatever they take from the coarse values and from what was solved before, against solving it all."""
    harness = load_harness(name)
    evidence = lay_out(harness, load_readings(harness, Path(readings_files(name)[sheet])), {})
    suspects = [one for one in single_suspects(harness) if not one.passing]
    coarse = Coarse(harness, suspects)
    numbers = list(rough_look(evidence, coarse).places)
    lines = Lines(evidence, coarse)
    for share in (0.5, 0.1):  # the second time what was solved the first time is at hand
        grids = {}
        for n in numbers:
            grid = coarse.grid(n)
            half = share * (grid[-1] - grid[0]) / 2 if grid.size else 0.0
            grids[n] = np.linspace(grid.mean() - half, grid.mean() + half, 9) if grid.size else grid
        found = lines.at(grids)
        trials = [Trial(n, np.exp(one) if one.size else np.zeros(1)) for n, one in grids.items()]
        wanted = predict(evidence, suspects, trials)
        u, closed = evidence.meter_uncertainty(wanted.values), np.isfinite(wanted.values)
        np.testing.assert_array_equal(np.isfinite(found.values), closed)
        off = np.abs(found.values[closed] - wanted.values[closed]) / u[closed]
        assert off.max() < 0.1
        spread, solved = (np.sqrt(np.sum(one**2, axis=-1)) for one in (found.moves, wanted.moves()))
        np.testing.assert_allclose(spread, solved, atol=0.05 * float(u.min()), rtol=0.03)


def test_nothing_is_told_across_a_step() -> None:
    """A relay that lets go between two values; nor is anything told outside the values."""
    harness = load_harness("first-fan")
    sheet = load_readings(harness, Path(readings_files("first-fan")["nothing-wrong"]))
    evidence = lay_out(harness, sheet, {})
    count, grid = len(evidence.seen), np.linspace(0.0, 1.0, 9)
    smooth = np.tile(1.0 + grid[:, None], (1, count))
    stepped = np.where(grid[:, None] > 0.55, smooth + 5.0, smooth)
    opened = np.where(grid[:, None] > 0.55, np.inf, smooth)
    inside = np.linspace(0.4, 0.7, 9)
    rows = np.stack([smooth, stepped, opened])
    grids, logs = np.tile(grid, (3, 1)), np.tile(inside, (3, 1))
    assert runs_smoothly(evidence, grids, rows, logs).tolist() == [True, False, False]
    assert not runs_smoothly(evidence, grids, rows, logs + 0.5).any()
