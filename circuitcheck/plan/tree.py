"""The whole order of tests from a symptom, as a tree whose leaves are verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from circuitcheck.expect.cautions import setup_lines
from circuitcheck.harness.readings import Sheet
from circuitcheck.physics.branch import Array
from circuitcheck.plan.next_test import SURE
from circuitcheck.plan.planner import Options, Outlook, Planner
from circuitcheck.plan.policy import advise

_DEEPEST = 7
_RARE = 0.015
"""Chance below which a branch is not followed: run ``next`` with what was read."""
_NAMED = 4


@dataclass(frozen=True, slots=True)
class Leaf:
    """Where the tests end.

    :param units: what to put right, most likely first, with chances; '' is sound wiring
    :param suspects: the likeliest faults
    :param open: whether it is only a place where the tree was cut short
    """

    units: tuple[tuple[str, float], ...]
    suspects: tuple[str, ...]
    open: bool = False

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"verdict": [{"replace": unit, "probability": round(p, 4)} for unit, p in self.units],
                "suspects": list(self.suspects), "open": self.open}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One test and what follows from each outcome.

    :param minutes: of this test, opening included
    :param branches: outcome in words, its chance, what follows
    """

    name: str
    title: str
    setup: tuple[str, ...]
    readings: tuple[str, ...]
    minutes: float
    access: tuple[str, ...]
    branches: tuple[tuple[str, float, Node], ...]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict, the tree below included."""
        return {
            "test": {"name": self.name, "title": self.title, "setup": list(self.setup),
                     "readings": list(self.readings), "minutes": self.minutes,
                     "access": list(self.access)},
            "branches": [{"outcome": label, "probability": round(chance, 4), "then": node.to_dict()}
                         for label, chance, node in self.branches],
        }  # fmt: skip


Node = Step | Leaf


@dataclass(frozen=True, slots=True)
class Plan:
    """The tree for one harness and symptom.

    :param minutes: expected, of the tests alone
    """

    harness: str
    symptom: str
    minutes: float
    root: Node

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"harness": self.harness, "symptom": self.symptom,
                "expected_minutes": round(self.minutes, 2), "plan": self.root.to_dict()}  # fmt: skip


def plan_tree(planner: Planner, sheet: Sheet, options: Options) -> Plan:
    """The tree from the readings of a sheet, such as a symptom."""
    outlook = planner.outlook(sheet, options)
    places = list(planner.harness.access)
    opened = frozenset(places.index(one) for one in outlook.opened if one in places)
    root = _node(outlook, places, outlook.known.weights, opened, 1.0, 0)
    return Plan(planner.harness.name, sheet.title, _minutes(root), root)


def _minutes(node: Node) -> float:
    if isinstance(node, Leaf):
        return 0.0
    return node.minutes + sum(chance * _minutes(then) for _, chance, then in node.branches)


def _node(
    outlook: Outlook, places: list[str], weights: Array, opened: frozenset[int], chance: float,
    depth: int,
) -> Node:  # fmt: skip
    problem = outlook.problem
    if problem is None or problem.by_unit(weights).max() >= SURE:
        return _leaf(outlook, weights)
    if depth == _DEEPEST or chance < _RARE:
        return _leaf(outlook, weights, cut=True)
    advice = advise(problem, weights, opened)
    if advice.stop:
        return _leaf(outlook, weights)
    best = advice.choices[0]
    planned = outlook.planned[best.test]
    then = problem.opened_by(best.test, opened)
    after = problem.after(weights, best.test)
    labels = [planned.labels[n] for n in np.flatnonzero(weights @ problem.chances[best.test] > 0)]
    branches = [
        (label, share, _node(outlook, places, left, then, chance * share, depth + 1))
        for label, (share, left) in zip(labels, after, strict=True)
        if share > 0.5 * _RARE
    ]
    branches.sort(key=lambda one: -one[1])
    observations = planned.candidate.observations
    return Step(
        planned.candidate.name, planned.candidate.title,
        tuple(setup_lines(planned.candidate.setup)),
        tuple(observations[place][0] for place in planned.places), best.minutes,
        tuple(places[n] for n in sorted(then - opened)), tuple(branches),
    )  # fmt: skip


def _leaf(outlook: Outlook, weights: Array, *, cut: bool = False) -> Leaf:
    assert weights.size
    known = outlook.known
    total = weights.sum()
    by_unit = np.bincount(known.unit, weights) / total
    by_suspect = np.bincount(known.row_suspect, weights)
    units = [(known.units[int(n)], float(by_unit[n])) for n in np.argsort(-by_unit)[:_NAMED]]
    suspects = [known.suspects[int(n)].spec for n in np.argsort(-by_suspect)[:_NAMED]
                if by_suspect[n] > 0.02 * total]  # fmt: skip
    return Leaf(tuple(one for one in units if one[1] > 0.02), tuple(suspects), cut)
