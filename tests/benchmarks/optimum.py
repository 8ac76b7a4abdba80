"""What the choice of tests costs against the exact optimum, and in seconds against one ``locate``."""

import time

import numpy as np

import circuitcheck
from circuitcheck.harness.readings import Sheet
from circuitcheck.plan.exact import MOST, Certain, Exact
from circuitcheck.plan.planner import Options
from circuitcheck.plan.policy import advise
from circuitcheck.plan.problem import AT_FIRST, Problem
from circuitcheck.shipped import readings_files

TESTS = 14
DRAWS = 6


def rollout_against_optimum(planner, draws=DRAWS):
    """Expected minutes of the rule used above a dozen suspects over those of the best order.

    A dozen suspects are drawn by their chance from the harness, every outcome is taken as certain, and
    the most telling tests are kept; the best order comes from dynamic programming. With a dozen
    suspects or fewer the tool uses that order itself.
    """
    problem = planner.outlook(Sheet("", (), {}), Options()).problem
    weights = planner.usual.weights
    draw = np.random.default_rng(7)
    found = []
    for _ in range(draws):
        rows = draw.choice(len(weights), MOST, replace=False, p=weights / weights.sum())
        share = weights[rows] / weights[rows].sum()
        gains = problem.gains(np.bincount(rows, share, minlength=len(weights)))
        tests = np.argsort(-gains / problem.cost(AT_FIRST), kind="stable")[:TESTS]
        small = Problem(
            problem.unit[rows],
            _certain(problem.chances[tests][:, rows]),
            problem.minutes[tests],
            problem.access[tests],
            problem.opening,
            problem.price,
            problem.spared[np.append(tests, -1)][:, tests],
        )
        found.append(_followed(small, share, AT_FIRST) / _best(small, share))
    return found


def _certain(chances):
    found = np.zeros_like(chances)
    np.put_along_axis(found, chances.argmax(axis=2)[..., None], 1.0, axis=2)
    return found


def _best(problem, weights):
    access = [sum(1 << n for n in np.flatnonzero(needs)) for needs in problem.access]
    return Exact(
        Certain(
            weights.tolist(),
            problem.unit.tolist(),
            problem.chances.argmax(axis=2).tolist(),
            problem.minutes.tolist(),
            access,
            problem.opening.tolist(),
            problem.price,
            problem.spared.tolist(),
        )
    ).minutes()


def _followed(problem, weights, ready):
    """Expected minutes of following the advice, those lost by stopping included."""
    advice = advise(problem, weights, ready, exactly=False)
    if advice.stop:
        return problem.loss(weights)
    choice = advice.choices[0]
    then = problem.ready_after(choice.test, ready)
    return choice.minutes + sum(
        chance * _followed(problem, left, then) for chance, left in problem.after(weights, choice.test)
    )


def next_against_locate(name):
    """Seconds of one ``next`` over those of one ``locate``, for each sample sheet of a harness."""
    found = []
    for path in readings_files(name).values():
        seconds = []
        for ask in ("locate", "next"):
            loom = circuitcheck.load(name)
            sheet = loom.sheet(path)
            _ = loom._planner
            begin = time.perf_counter()
            getattr(loom, ask)(sheet)
            seconds.append(time.perf_counter() - begin)
        found.append(seconds[1] / seconds[0])
    return found
