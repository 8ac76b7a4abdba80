"""Two faults on a full sheet: all the harness's own tests read, and what ``locate`` makes of it."""

from functools import cached_property

import numpy as np

from circuitcheck.circuit.chosen import combined
from circuitcheck.expect.bench import Bench
from circuitcheck.expect.expected import scale_factor
from circuitcheck.expect.service import blown_in_service
from circuitcheck.expect.words import SCALES
from circuitcheck.locate.suspects import Predictor, Trial, single_suspects
from circuitcheck.physics.meter import ACCURACY

VALUES = 40
"""Values over the range of an unknown one that a single fault is tried at."""
APART = 3.0
"""Standard uncertainties, of the meter and of what vehicles differ by, that tell two readings apart."""


class FullSheet:
    """All tests of one harness, and every single fault at every value in them."""

    def __init__(self, harness):
        self.harness = harness
        self.benches = [
            Bench(harness, test.setup, tuple(test.observe.items())) for test in harness.tests.values()
        ]

    @cached_property
    def _singles(self):
        """What every single fault gives, at each of its values (rows, readings)."""
        suspects = [one for one in single_suspects(self.harness) if not one.passing]
        trials = []
        for number, one in enumerate(suspects):
            severity = one.unknown.severity if one.unknown else None
            values = np.geomspace(severity.low, severity.high, VALUES) if severity else np.zeros(1)
            trials.append(Trial(number, values))
        predictor = Predictor(self.harness, suspects, trials)
        return np.concatenate([predictor.run(bench).values for bench in self.benches], axis=1)

    def needs_both(self, faults):
        """Whether no single fault, at whatever value, gives what two faults give on the full sheet.

        In words where words are noted; in numbers so nearly that meters and vehicles differ by as much.
        """
        (blown,) = blown_in_service(self.harness, [lambda known: combined(faults, known)])
        values, spreads = [], []
        for bench in self.benches:
            change = combined(faults, bench.circuit.branches, bench.setup.swap)
            run = bench.run([change], blown=[blown])
            values.append(run.values[0])
            spreads.append(np.sqrt(np.sum(run.shifts(np.array([0])).values[0] ** 2, axis=-1)))
        pair, spread = np.concatenate(values), np.concatenate(spreads)
        observations = [one for bench in self.benches for _, one in bench.observations]
        apart = np.stack(
            [
                self._apart(one, pair[n], spread[n], self._singles[:, n])
                for n, one in enumerate(observations)
            ],
            axis=1,
        )
        return bool(apart.any(axis=1).all())

    def _apart(self, observation, one, spread, others):
        """Which of some readings differ from one."""
        buzzes = np.isnan(others) != np.isnan(one)
        if observation.kind in SCALES:
            return buzzes | (self._word(observation, others) != self._word(observation, one))
        if not np.isfinite(one):
            return np.isfinite(others) | buzzes
        width = np.hypot(ACCURACY[observation.kind].uncertainty(np.array(one)), spread)
        return ~np.isfinite(others) | (np.abs(others - one) > APART * width)

    def _word(self, observation, values):
        """The number of the word that is noted."""
        known = np.nan_to_num(values) / scale_factor(self.harness, observation)
        return np.searchsorted(SCALES[observation.kind].limits, known, side="right")
