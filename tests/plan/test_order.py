"""The order of tests against worked examples and brute force."""

import itertools
import random

import numpy as np
import pytest
from scipy.stats import entropy

from circuitcheck.plan.exact import Certain, Exact
from circuitcheck.plan.policy import advise
from circuitcheck.plan.problem import AT_FIRST, Problem, information
from circuitcheck.plan.rollout import Rollout

# The classic example of test sequencing: priors of six states, five tests of unit cost and the
# states each detects (K. R. Pattipati, M. G. Alexandridis, IEEE Trans. SMC 20, 1990; V. Raghavan et
# al., 1999; from memory). Optimum 2.18, greedy information gain 2.86.
PRIORS = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12]
DETECTS = [{3, 4, 5}, {1, 4, 5}, {2, 5}, {2, 3, 5}, {1, 3}]


def problem_of(priors, detects, minutes, price=1e6):
    chances = np.array(
        [[[float(s not in found), float(s in found)] for s in range(len(priors))] for found in detects]
    )
    tests = len(detects)
    return Problem(
        np.arange(len(priors)),
        chances,
        np.array(minutes, dtype=float),
        np.zeros((tests, 0), dtype=bool),
        np.zeros(0),
        price,
    )


def certain_of(priors, detects, minutes, **more):
    outcome = [[int(s in found) for s in range(len(priors))] for found in detects]
    return Certain(priors, list(range(len(priors))), outcome, minutes, **more)


def followed(problem, weights, choose):
    """Expected minutes of the tests when a rule is followed until one unit is left."""
    if np.count_nonzero(weights > 0) == 1:
        return 0.0
    test = choose(problem, weights)
    return problem.minutes[test] + sum(
        chance * followed(problem, left, choose) for chance, left in problem.after(weights, test)
    )


def test_the_classic_example_comes_out_at_its_optimum():
    exact = Exact(certain_of(PRIORS, DETECTS, [1.0] * 5))
    assert exact.minutes() == pytest.approx(2.18, abs=1e-9)


def test_greedy_gain_alone_would_give_the_known_worse_figure():
    greedy = followed(
        problem_of(PRIORS, DETECTS, [1] * 5), np.array(PRIORS), lambda p, w: int(np.argmax(p.gains(w)))
    )
    assert greedy == pytest.approx(2.86, abs=1e-9)


def test_what_is_advised_follows_the_optimum():
    advised = followed(
        problem_of(PRIORS, DETECTS, [1] * 5), np.array(PRIORS), lambda p, w: advise(p, w).choices[0].test
    )
    assert advised == pytest.approx(2.18, abs=1e-9)


def test_entropy_of_the_example():
    """1.455 bit, the same source: all of it is gained by a test that names the state."""
    chances = np.eye(6)[None]
    problem = Problem(np.arange(6), chances, np.ones(1), np.zeros((1, 0), dtype=bool), np.zeros(0), 1)
    assert problem.gains(np.array(PRIORS))[0] == pytest.approx(1.455, abs=5e-4)


@pytest.mark.parametrize("seed", range(5))
def test_what_a_test_tells_against_scipy(seed):
    """Mutual information from the entropies of a general-purpose library."""
    draw = np.random.default_rng(seed)
    unit = np.array([0, 0, 1, 2, 2, 2])
    weights = draw.dirichlet(np.ones(6))
    chances = draw.dirichlet(np.ones(4), size=(3, 6))
    joint = np.array([[weights[unit == u] @ one[unit == u] for u in range(3)] for one in chances])
    expected = [
        entropy(one.sum(axis=1), base=2)
        + entropy(one.sum(axis=0), base=2)
        - entropy(one.ravel(), base=2)
        for one in joint
    ]
    assert information(unit, weights, chances) == pytest.approx(np.array(expected), abs=1e-9)


def test_rows_that_are_alike_change_nothing_when_put_together():
    problem = problem_of(PRIORS, DETECTS, [1] * 5)
    twice = Problem(
        np.repeat(problem.unit, 2),
        np.repeat(problem.chances, 2, axis=1),
        problem.minutes,
        problem.access,
        problem.opening,
        problem.price,
    )
    small, weights = twice.merged(np.repeat(np.array(PRIORS) / 2, 2))
    assert len(small.unit) == 6
    assert weights == pytest.approx(PRIORS)
    assert small.gains(weights) == pytest.approx(problem.gains(np.array(PRIORS)))


def test_a_look_that_costs_nothing_comes_first():
    """Even where a dear test alone would do; and a test that was done is not advised again."""
    problem = problem_of([0.4, 0.3, 0.3], [{0}, {1}, {0, 1}], [0.5, 20, 20])
    weights = np.array([0.4, 0.3, 0.3])
    assert advise(problem, weights, free=[0]).choices[0].test == 0
    again = advise(problem, weights, free=[0], done=frozenset({0}))
    assert 0 not in [one.test for one in again.choices]


def brute_force(priors, detects, minutes, alive):
    """The least expected minutes, by trying every tree."""
    if len(alive) == 1:
        return 0.0
    total = sum(priors[s] for s in alive)
    best = float("inf")
    for test, found in enumerate(detects):
        yes, no = alive & found, alive - found
        if yes and no:
            ahead = sum(
                sum(priors[s] for s in part) / total * brute_force(priors, detects, minutes, part)
                for part in (yes, no)
            )
            best = min(best, minutes[test] + ahead)
    return best


@pytest.mark.parametrize("seed", range(20))
def test_the_exact_order_against_trying_every_tree(seed):
    draw = random.Random(seed)
    count = draw.randint(3, 6)
    priors = [draw.uniform(0.05, 1) for _ in range(count)]
    detects = [{s} for s in range(count)]
    detects += [set(draw.sample(range(count), draw.randint(1, count - 1))) for _ in range(4)]
    minutes = [draw.uniform(1, 5) for _ in detects]
    exact = Exact(certain_of(priors, detects, minutes)).minutes()
    everyone = frozenset(range(count))
    assert exact == pytest.approx(brute_force(priors, detects, minutes, everyone))


@pytest.mark.parametrize("seed", range(12))
def test_advice_stays_close_to_the_best_order(seed):
    """On skewed problems of a dozen states greedy gain alone is up to half as much again above the
    optimum; what is advised must stay within a tenth."""
    draw = random.Random(seed)
    priors = [draw.lognormvariate(0, 1.5) for _ in range(10)]
    priors = [one / sum(priors) for one in priors]
    detects = [set(draw.sample(range(10), draw.randint(2, 6))) for _ in range(10)]
    detects += [{s} for s in range(10)]
    minutes = [float(draw.randint(1, 10)) for _ in detects]
    best = Exact(certain_of(priors, detects, minutes)).minutes()
    advised = followed(
        problem_of(priors, detects, minutes), np.array(priors), lambda p, w: advise(p, w).choices[0].test
    )
    assert best <= advised + 1e-9 <= 1.1 * best


def test_access_is_paid_once():
    """Two tests behind one cover: 3 + 1 + 1, not 3 + 1 + 3 + 1."""
    certain = Certain([1 / 3] * 3, [0, 1, 2], [[1, 0, 0], [0, 1, 0]], [1.0, 1.0], [1, 1], [3.0])
    # the first test, its cover, and the second in two cases of three
    assert Exact(certain).minutes() == pytest.approx(3 + 1 + 2 / 3)


def test_faults_with_one_remedy_need_no_telling_apart():
    certain = Certain([0.5, 0.3, 0.2], [0, 0, 1], [[1, 0, 0], [0, 0, 1]], [1.0, 1.0])
    assert Exact(certain).minutes() == pytest.approx(1.0)  # the second test alone


def test_repairs_in_the_order_of_chance_lose_least():
    """J. B. Kadane and H. A. Simon's order for equal costs, against every order."""
    chances = np.array([0.2, 0.5, 0.05, 0.25])
    problem = Problem(
        np.arange(4), np.zeros((0, 4, 1)), np.zeros(0), np.zeros((0, 0), dtype=bool), np.zeros(0), 10.0
    )
    every = [
        sum(10.0 * place * chances[unit] for place, unit in enumerate(order))
        for order in itertools.permutations(range(4))
    ]
    assert problem.loss(chances) == pytest.approx(min(every))


def test_it_stops_where_a_test_costs_more_than_it_saves():
    dear = problem_of([0.97, 0.03], [{1}], [30.0], price=45.0)
    cheap = problem_of([0.97, 0.03], [{1}], [1.0], price=45.0)
    assert advise(dear, np.array([0.97, 0.03])).stop
    assert not advise(cheap, np.array([0.97, 0.03])).stop


def cheapest_tree(priors, outcome, minutes, spared, alive, last=-1):
    """The least expected minutes, by trying every tree, where a set-up spares others minutes."""
    if len(alive) == 1:
        return 0.0
    total = sum(priors[s] for s in alive)
    best = float("inf")
    for test, row in enumerate(outcome):
        parts = {}
        for s in alive:
            parts.setdefault(row[s], set()).add(s)
        if len(parts) > 1:
            best = min(
                best,
                minutes[test]
                - spared[last][test]
                + sum(
                    sum(priors[s] for s in part)
                    / total
                    * cheapest_tree(priors, outcome, minutes, spared, part, test)
                    for part in parts.values()
                ),
            )
    return best


@pytest.mark.parametrize("seed", range(12))
def test_what_stands_already_is_counted_in_the_exact_order(seed):
    draw = random.Random(seed)
    priors = [draw.uniform(0.05, 1) for _ in range(5)]
    outcome = [[int(s == n) for s in range(5)] for n in range(5)]
    outcome += [[draw.randint(0, 2) for _ in range(5)] for _ in range(3)]
    minutes = [draw.uniform(2, 5) for _ in outcome]
    spared = [[draw.choice((0.0, 1.5)) for _ in outcome] for _ in range(len(outcome) + 1)]
    certain = Certain(priors, list(range(5)), outcome, minutes, spared=spared)
    assert Exact(certain).minutes() == pytest.approx(
        cheapest_tree(priors, outcome, minutes, spared, set(range(5)))
    )


@pytest.mark.parametrize("seed", range(8))
def test_following_the_greedy_rule_costs_what_it_costs_by_hand(seed):
    """Every outcome certain, nothing too rare to be followed: the greedy tree, walked here."""
    draw = random.Random(seed)
    priors = np.array([0.3, 0.2, 0.2, 0.15, 0.15])
    detects = [{s} for s in range(5)] + [set(draw.sample(range(5), 2)) for _ in range(3)]
    minutes = [draw.uniform(1, 5) for _ in detects]
    problem = problem_of(priors, detects, minutes, price=1e6)

    def greedy(p, w):
        return int(np.argmax(p.gains(w) / p.minutes))

    first = draw.randrange(len(detects))
    by_hand = minutes[first] + sum(
        chance * followed(problem, left, greedy) for chance, left in problem.after(priors, first)
    )
    ahead = Rollout(problem, np.arange(len(detects)), AT_FIRST).ahead(priors, first)
    assert ahead == pytest.approx(by_hand)


def test_two_short_tests_are_not_passed_over_for_a_long_one():
    """Sixteen suspects, and a wrong repair dear: four tests of a minute halve them and tell all in 4
    minutes; one of 9 minutes tells three bits at once, and one of the others then the rest, in 10."""
    halves = [
        [[float(s >> bit & 1 == side) for side in range(8)] for s in range(16)] for bit in range(4)
    ]
    eighths = [[float(s // 2 == side) for side in range(8)] for s in range(16)]
    problem = Problem(
        np.arange(16),
        np.array([*halves, eighths]),
        np.array([1.0, 1.0, 1.0, 1.0, 9.0]),
        np.zeros((5, 0), dtype=bool),
        np.zeros(0),
        45.0,
    )
    choice = advise(problem, np.full(16, 1 / 16), exactly=False).choices[0]
    assert choice.test < 4
    assert choice.ahead == pytest.approx(4.0)
