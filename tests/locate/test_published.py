"""Published examples of diagnosis, as far as their figures can be put to this code."""

import math
from itertools import product

import numpy as np
import pytest

from circuitcheck.plan.problem import Problem


# Inputs, outputs and adders of the three-multiplier, two-adder example: J. de Kleer, B. C. Williams,
# Diagnosing Multiple Faults, Artificial Intelligence 32 (1987); posteriors computed for the reference.
class TestPublishedExample:
    """F read 10 and G 12, where 12 and 12 were to be; each part fails with a chance of 0.01."""

    INPUTS = (3, 2, 2, 3, 3)

    def diagnoses(self):
        """Consistent health assignments with their weights and what each says of X."""
        found = []
        for health in product((True, False), repeat=5):
            m1, m2, m3, a1, a2 = health
            a, b, c, d, e = self.INPUTS
            x, y, z = (a * c if m1 else None), (b * d if m2 else None), (c * e if m3 else None)
            if a1:
                x, y = self.adder(x, y, 10)
            if a2:
                y, z = self.adder(y, z, 12)
            if a1 and None not in (y, x) and x + y != 10:
                continue
            if a1 and x is None and y is not None:
                x = 10 - y
            if a2 and None not in (y, z) and y + z != 12:
                continue
            found.append((health, math.prod(0.99 if one else 0.01 for one in health), x))
        return found

    def adder(self, one, other, total):
        """What an adder that is sound says of an input that is not known."""
        if one is None and other is not None:
            return total - other, other
        if other is None and one is not None:
            return one, total - one
        return one, other

    def test_the_next_measurement_and_its_outcomes(self):
        """X comes out at 4 with 0.4926, at 6 with 0.5024, not predicted with 0.0051 (reference 13.1)."""
        rows = self.diagnoses()
        assert len(rows) == 27  # of 32, reference 13.1
        weights = np.array([weight for _, weight, _ in rows])
        weights /= weights.sum()
        single = {health: weight for (health, _, _), weight in zip(rows, weights, strict=True)}
        assert single[(False, True, True, True, True)] == pytest.approx(0.4780, abs=5e-5)
        assert single[(True, True, True, False, True)] == pytest.approx(0.4780, abs=5e-5)
        outcomes = np.array([[x == 4, x == 6, x not in (4, 6)] for _, _, x in rows], dtype=float)
        problem = Problem(
            np.arange(27), outcomes[None], np.ones(1), np.zeros((1, 0), dtype=bool), np.zeros(0), 1.0
        )
        chances = [chance for chance, _ in problem.after(weights, 0)]
        assert chances == pytest.approx([0.4926, 0.5024, 0.0051], abs=6e-5)
