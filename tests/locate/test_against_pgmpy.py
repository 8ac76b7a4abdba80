"""The arithmetic of chances against pgmpy, a general library for Bayesian networks.

Small discrete cases: readings are words, faults have no unknown value. The chance of a word under a
fault comes from circuitcheck; what is checked is everything that is done with it: chances beforehand,
misreadings, pairs, faults that come and go. There pgmpy is given the story as a network, and asked by
variable elimination.
"""

import warnings
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it announces changes of its own
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

import circuitcheck
from circuitcheck.expect.words import SCALES
from circuitcheck.locate.coarse import Coarse
from circuitcheck.locate.evidence import MISREAD, lay_out
from circuitcheck.locate.joined import pairs_of
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.loose_contact import twins as pair_up
from circuitcheck.locate.pairing import Pair
from circuitcheck.locate.passing import weigh_passing
from circuitcheck.locate.renewed import STILL_WRONG
from circuitcheck.locate.suspects import (
    PAIR_SHARE,
    SOUND_SHARE,
    Suspect,
    Trial,
    predict,
    single_suspects,
)
from circuitcheck.locate.weighing import fine_look, rough_look

LOOM = circuitcheck.load("first-fan")
FAULTS = ["K1 30-87 stuck open", "K1 coil open", "M1 open", "F2 blown", "H1 blown", "E2 open", "W5 open"]
SHEET = {
    "by-itself": {"fan": "off", "relay": "clicks", "lamp": "dark"},
    "switch-bridged": {"fan": "off", "relay": "silent", "lamp": "dark"},
    "cold": {"fan": "off"},
}
PASSING = {
    "by-itself": {"fan": "off", "relay": "clicks", "lamp": "bright"},
    "switch-bridged": {"fan": "fast", "relay": "clicks", "lamp": "bright"},
    "cold": {"fan": "off"},
}


def with_faults(specs):
    """The harness with no other fault than these."""
    known = {one.spec: one.weight for one in LOOM.faults()}
    given = {spec: weight if spec in specs else 0.0 for spec, weight in known.items()}
    return LOOM.harness.model_copy(update={"frequencies": given})


def singles(harness):
    """Sound and the lasting faults that can be."""
    return [one for one in single_suspects(harness) if one.weight > 0 and not one.passing]


def words_of(evidence, suspects):
    """Chance of every word of every reading under every suspect: readings x (words, suspects)."""
    trials = [Trial(n, np.zeros(1)) for n in range(len(suspects))]
    predictions = predict(evidence, suspects, trials)
    spread = np.sqrt(np.sum(predictions.moves() ** 2, axis=-1))
    found = []
    for column, seen in enumerate(evidence.seen):
        values = predictions.values[:, column] / seen.factor
        chances = SCALES[seen.reading.observation.kind].chances(values, spread[:, column] / seen.factor)
        found.append(chances.T)
    return found


def network(priors, tables, more_edges=(), more_nodes=()):
    """Fault -> word noted <- misread or not, for each reading."""
    edges = [("fault", f"r{n}") for n in range(len(tables))]
    edges += [(f"m{n}", f"r{n}") for n in range(len(tables))]
    model = DiscreteBayesianNetwork([*edges, *more_edges])
    model.add_cpds(TabularCPD("fault", len(priors), [[one] for one in priors]))
    for number, right in enumerate(tables):
        words, states = right.shape
        model.add_cpds(TabularCPD(f"m{number}", 2, [[1 - MISREAD], [MISREAD]]))
        wild = np.full((words, states), 1 / words)
        both = np.stack([right, wild], axis=2).reshape(words, -1)  # columns: fault, then misread
        model.add_cpds(TabularCPD(f"r{number}", words, both, ["fault", f"m{number}"], [states, 2]))
    model.add_cpds(*more_nodes)
    model.check_model()
    return VariableElimination(model)


def noted(evidence):
    """The number of the word noted for each reading."""
    return {
        f"r{n}": SCALES[seen.reading.observation.kind].words.index(seen.reading.word)
        for n, seen in enumerate(evidence.seen)
    }


def ask(asked, variables, evidence):
    return asked.query(variables, evidence=evidence, show_progress=False)


@pytest.fixture(scope="module")
def case():
    harness = with_faults(FAULTS)
    suspects = singles(harness)
    evidence = lay_out(harness, LOOM.sheet(SHEET), {})
    priors = np.array([one.weight for one in suspects])
    asked = network(priors / priors.sum(), words_of(evidence, suspects))
    return harness, suspects, evidence, asked


def test_chances_of_single_faults(case):
    harness, suspects, evidence, asked = case
    wanted = ask(asked, ["fault"], noted(evidence)).values
    coarse = Coarse(harness, suspects)
    standings = fine_look(evidence, coarse, rough_look(evidence, coarse))
    found = {one.suspect.spec: np.exp(one.log_weight) for one in standings}
    total = sum(found.values())
    for suspect, chance in zip(suspects, wanted, strict=True):
        assert found.get(suspect.spec, 0.0) / total == pytest.approx(chance, rel=1e-6, abs=1e-7)


def test_chances_in_the_verdict(case):
    """The whole way, from the sheet to the listed probabilities."""
    harness, suspects, evidence, asked = case
    wanted = ask(asked, ["fault"], noted(evidence)).values
    verdict = Locator(harness).locate(LOOM.sheet(SHEET))
    listed = {one.spec: one.probability for one in verdict.suspects}
    for suspect, chance in zip(suspects, wanted, strict=True):
        if suspect.spec in listed:
            assert listed[suspect.spec] == pytest.approx(chance, rel=1e-3)


def test_chances_after_a_repair(case):
    """Two steps: what was wrong before, and what is left of it once K1 has been put right."""
    harness, suspects, evidence, _ = case
    place = next(n for n, one in enumerate(suspects) if one.spec == "K1 30-87 stuck open")
    renewed = [n for n, one in enumerate(suspects) if any(f.replace == "K1" for f in one.faults)]
    assert len(renewed) == 2
    stays = np.eye(len(suspects))
    for n in renewed:
        stays[n, n], stays[0, n] = STILL_WRONG, 1 - STILL_WRONG
    before = np.array([one.weight for one in suspects])
    asked = network(before / before.sum(), words_of(evidence, suspects))
    model = asked.model.copy()
    model.remove_cpds("fault")
    model.add_edge("before", "fault")
    model.add_cpds(
        TabularCPD("before", len(before), [[one] for one in before / before.sum()]),
        TabularCPD("fault", len(before), stays, ["before"], [len(before)]),
    )
    model.check_model()
    wanted = ask(VariableElimination(model), ["fault"], noted(evidence)).values
    sheet = replace(LOOM.sheet(SHEET), put_right=("K1",))
    found = {one.suspect.spec: np.exp(one.log_weight) for one in Locator(harness).weigh_singles(sheet)}
    for suspect, chance in zip(suspects, wanted, strict=True):
        assert found.get(suspect.spec, 0.0) / sum(found.values()) == pytest.approx(
            chance, rel=1e-6, abs=1e-7
        )
    assert wanted[place] < 0.2 * ask(asked, ["fault"], noted(evidence)).values[place]


def test_chance_that_a_reading_was_misread(case):
    """Given the leading fault, reading by reading."""
    harness, suspects, evidence, asked = case
    coarse = Coarse(harness, suspects)
    leader = fine_look(evidence, coarse, rough_look(evidence, coarse))[0]
    number = [one.spec for one in suspects].index(leader.suspect.spec)
    given = {**noted(evidence), "fault": number}
    for column in range(len(evidence.seen)):
        wanted = ask(asked, [f"m{column}"], given).values[1]
        assert leader.misread[column] == pytest.approx(wanted, rel=1e-6)
    # 'clicks' in one test and 'silent' in the next, with a cause that lasts: one of them is wrong.
    assert max(leader.misread) > 0.9


def test_chances_of_pairs():
    """None, one or two faults; two are drawn independently, as one would be."""
    harness = with_faults(FAULTS)
    suspects = singles(harness)
    evidence = lay_out(harness, LOOM.sheet(SHEET), {})
    pairs = pairs_of(
        suspects, [Pair(a, b, 0.0, 0.0) for a, b in combinations(range(1, len(suspects)), 2)]
    )
    count = len(suspects) - 1
    share = np.array([one.weight for one in suspects[1:]])
    number = [SOUND_SHARE, 1 - SOUND_SHARE - PAIR_SHARE, PAIR_SHARE]
    tables = words_of(evidence, [*suspects, *pairs])
    place = {one.spec: n for n, one in enumerate([*suspects, *pairs])}

    def state(n, a, b):
        """Which column of the tables; None for two faults at one place."""
        if n == 0:
            return 0
        if n == 1:
            return 1 + a
        one, other = sorted((1 + a, 1 + b))
        return place.get(f"{suspects[one].spec} + {suspects[other].spec}")

    columns = [state(n, a, b) for n in range(3) for a in range(count) for b in range(count)]
    picked = np.zeros((len(place) + 1, len(columns)))
    picked[[len(place) if one is None else one for one in columns], range(len(columns))] = 1
    tables = [np.column_stack([one, np.full(len(one), 1 / len(one))]) for one in tables]
    nodes = [TabularCPD("n", 3, [[one] for one in number])]
    nodes += [TabularCPD(x, count, [[one] for one in share / share.sum()]) for x in "ab"]
    model = DiscreteBayesianNetwork(
        [*((x, "fault") for x in "nab"), *(("fault", f"r{n}") for n in range(len(tables)))]
    )
    model.add_cpds(
        *nodes, TabularCPD("fault", len(place) + 1, picked, ["n", "a", "b"], [3, count, count])
    )
    for n, right in enumerate(tables):
        mixed = (1 - MISREAD) * right + MISREAD / len(right)
        model.add_cpds(TabularCPD(f"r{n}", len(right), mixed, ["fault"], [len(place) + 1]))
    model.check_model()
    wanted = ask(VariableElimination(model), ["fault"], noted(evidence)).values
    found = {}
    for many in (suspects, pairs):
        coarse = Coarse(harness, many)
        for one in fine_look(evidence, coarse, rough_look(evidence, coarse)):
            found[one.suspect.spec] = float(np.exp(one.log_weight))
    # Two faults at one place are left out of ours: compare odds, not chances.
    leader = max((spec for spec in found if " + " in spec), key=lambda spec: found[spec])
    compared = 0
    for spec, weight in found.items():
        ratio = wanted[place[spec]] / wanted[place[leader]]
        if ratio > 1e-6:
            assert weight / found[leader] == pytest.approx(ratio, rel=1e-5), spec
            compared += 1
    assert compared >= 10


def test_chances_of_a_fault_that_comes_and_goes():
    """One hidden switch a test, there or not with a half each; all readings of a test share it."""
    lasting = ["M1 open", "X2.1 open", "W5 open"]
    passing = ["M1 comes and goes", "X2.1 comes and goes", "W5 comes and goes"]
    harness = with_faults([*lasting, *passing])
    lasts = singles(harness)
    twins = pair_up(lasts, [one for one in single_suspects(harness) if one.passing and one.weight > 0])
    evidence = lay_out(harness, LOOM.sheet(PASSING), {})
    assert sorted(one.suspect.spec for one in twins) == sorted(passing)
    suspects = [Suspect((), 1.0), *(lasts[one.open] for one in twins)]
    tests = [
        bench for bench in range(len(evidence.benches)) for _ in evidence.benches[bench].observations
    ]
    priors = np.array([one.suspect.weight for one in twins])
    model = DiscreteBayesianNetwork(
        [
            *(("fault", f"r{n}") for n in range(len(tests))),
            *((f"s{bench}", f"r{n}") for n, bench in enumerate(tests)),
        ]
    )
    model.add_cpds(TabularCPD("fault", len(priors), [[one] for one in priors / priors.sum()]))
    model.add_cpds(*(TabularCPD(f"s{n}", 2, [[0.5], [0.5]]) for n in range(len(evidence.benches))))
    for n, right in enumerate(words_of(evidence, suspects)):
        sound, broken = np.repeat(right[:, :1], len(twins), axis=1), right[:, 1:]
        mixed = (1 - MISREAD) * np.stack([sound, broken], axis=2) + MISREAD / len(right)
        model.add_cpds(
            TabularCPD(
                f"r{n}",
                len(right),
                mixed.reshape(len(right), -1),
                ["fault", f"s{tests[n]}"],
                [len(twins), 2],
            )
        )
    model.check_model()
    asked = VariableElimination(model)
    wanted = ask(asked, ["fault"], noted(evidence)).values
    standings = {one.suspect.spec: one for one in weigh_passing(evidence, Coarse(harness, lasts), twins)}
    total = sum(np.exp(one.log_weight) for one in standings.values())
    for twin, chance in zip(twins, wanted, strict=True):
        standing = standings[twin.suspect.spec]
        # What a test says clearly (e^6 to one) is not tried the other way.
        assert np.exp(standing.log_weight) / total == pytest.approx(chance, rel=5e-3)
        assert standing.seen_in == ("by-itself",)
        assert standing.gone_in == ("switch-bridged",)
    there = ask(asked, ["s0"], noted(evidence)).values[1]
    assert there > 0.99
