"""The whole order of tests from a symptom, as a tree whose leaves are verdicts.

It grows where it is most likely to be needed, until a page is full; where it ends, ``next`` goes on
with what was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import product
from typing import Any

import numpy as np

from circuitcheck.expect.cautions import Lead, cautions_for, setup_lines
from circuitcheck.harness.readings import Sheet
from circuitcheck.physics.branch import Array
from circuitcheck.plan.bundle import REST
from circuitcheck.plan.growth import TRIED, Bud, Growth, cut_back
from circuitcheck.plan.planner import Options, Outlook, Planned, Planner

PAGE = 9
"""Tests that a page has room for."""
_NAMED = 4
_SPOKEN_OF = 0.05
"""Chance from which a unit is named in a leaf."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """Where the tests end.

    :param units: what to put right, most likely first, with chances; '' is sound wiring
    :param suspects: the likeliest faults
    :param open: whether it is only a place where the tree was cut short: ``next`` goes on
    """

    units: tuple[tuple[str, float], ...]
    suspects: tuple[str, ...]
    open: bool = False

    @property
    def why(self) -> str:
        """What to do here, in words."""
        units = [f"{unit or 'sound wiring'} ({share:.0%})".replace("%", " %")
                 for unit, share in self.units]  # fmt: skip
        if self.open:
            return f"go on with 'next'; likeliest {', '.join(units[:2])}"
        first = f"repair or renew {units[0]}" if self.units[0][0] else units[0]
        return first + (f", then {', '.join(units[1:])}" if len(units) > 1 else "")

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"done": not self.open, "why": self.why, "test": None,
                "verdict": [{"replace": unit, "probability": round(p, 4)} for unit, p in self.units],
                "suspects": list(self.suspects)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One test and what follows from each outcome.

    :param minutes: of this test, opening included
    :param gain_bits: what it tells of the unit to put right
    :param branches: outcome in words, its chance, what follows
    """

    name: str
    title: str
    setup: tuple[str, ...]
    readings: tuple[str, ...]
    cautions: tuple[str, ...]
    lead: Lead | None
    minutes: float
    access: tuple[str, ...]
    gain_bits: float
    branches: tuple[tuple[str, float, Node], ...]

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict, the tree below included."""
        return {
            "done": False, "why": f"tells {self.gain_bits:.2f} bit in {self.minutes:g} minutes",
            "test": {"name": self.name, "title": self.title, "setup": list(self.setup),
                     "readings": list(self.readings), "cautions": list(self.cautions),
                     "lead": asdict(self.lead) if self.lead else None, "minutes": self.minutes,
                     "access": list(self.access), "gain_bits": round(self.gain_bits, 4),
                     "gain_per_minute": round(self.gain_bits / self.minutes, 5)},
            "branches": [{"outcome": label, "probability": round(chance, 4), "then": node.to_dict()}
                         for label, chance, node in self.branches],
        }  # fmt: skip


Node = Step | Leaf


@dataclass(frozen=True, slots=True)
class Plan:
    """The tree for one harness and symptom.

    :param minutes: expected, of the tests that are in it
    :param settled: chance that it ends in a verdict, not in a place where it was cut short
    """

    harness: str
    title: str
    symptom: str
    minutes: float
    settled: float
    root: Node

    def __str__(self) -> str:
        from circuitcheck.plan.page import page  # noqa: PLC0415  (which is made of this)

        return page(self)

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        return {"harness": self.harness, "symptom": self.symptom,
                "expected_minutes": round(self.minutes, 2), "settled": round(self.settled, 4),
                "plan": self.root.to_dict()}  # fmt: skip


def plan_tree(
    planner: Planner, sheet: Sheet, options: Options, *, most: int | None = PAGE,
    depth: int | None = None,
) -> Plan:  # fmt: skip
    """The tree from the readings of a sheet, such as a symptom.

    :param most: tests in it; None for as many as are not rare
    :param depth: tests one after the other; None for any number
    """
    outlook = planner.outlook(sheet, options)
    places = list(planner.harness.access)
    opened = frozenset(places.index(one) for one in outlook.opened if one in places)
    root = Bud(outlook.known.weights, opened, 1.0, outlook.problem is None)
    if outlook.problem is not None:
        Growth(outlook, outlook.problem).grow(root, most and TRIED, depth)
        if most is not None:
            cut_back(root, most)
    node = _Telling(planner, outlook, places).node(root)
    harness = planner.harness
    return Plan(harness.name, harness.title, sheet.title, _minutes(node), _settled(node), node)


def _minutes(node: Node) -> float:
    if isinstance(node, Leaf):
        return 0.0
    return node.minutes + sum(chance * _minutes(then) for _, chance, then in node.branches)


def _settled(node: Node) -> float:
    if isinstance(node, Leaf):
        return float(not node.open)
    return sum(chance * _settled(then) for _, chance, then in node.branches)


@dataclass
class _Telling:
    """Puts a grown tree into words; outcomes with one verdict are told as one."""

    planner: Planner
    outlook: Outlook
    places: Sequence[str]

    def node(self, bud: Bud) -> Node:
        """What stands at a bud."""
        choice, outcomes = bud.choice, bud.outcomes
        if choice is None:
            return self._leaf(bud.weights, cut=not bud.settled)
        planned = self.outlook.planned[choice.test]
        candidate, then = planned.candidate, outcomes[0][2].opened
        return Step(
            candidate.name, candidate.title, tuple(setup_lines(candidate.setup)),
            tuple(candidate.observations[place][0] for place in planned.places),
            tuple(cautions_for(self.planner.harness, candidate.setup)), candidate.lead,
            choice.minutes, tuple(self.places[n] for n in sorted(then - bud.opened)), choice.gain,
            tuple(self._branches(planned, outcomes)),
        )  # fmt: skip

    def _branches(
        self, planned: Planned, outcomes: list[tuple[str, float, Bud]]
    ) -> list[tuple[str, float, Node]]:
        """Likeliest first; all that the tree does not follow comes last, as one."""
        found: list[tuple[str, float, Node]] = []
        alike: dict[tuple[str, ...], list[tuple[str, float, Bud]]] = {}
        for label, share, bud in outcomes:
            if bud.choice is not None:
                found.append((label, share, self.node(bud)))
            else:
                leaf = self._leaf(bud.weights, cut=not bud.settled)
                key = ("",) if leaf.open else ("verdict", *(unit for unit, _ in leaf.units[:1]))
                alike.setdefault(key, []).append((label, share, bud))
        for key, some in alike.items():
            total = sum(share for _, share, _ in some)
            weights = sum((share * bud.weights for _, share, bud in some),
                          np.zeros_like(some[0][2].weights)) / total  # fmt: skip
            labels = [one for one, _, _ in some]
            others = [one for one, _, _ in outcomes if one not in labels]
            label = REST if key == ("",) else _either(labels, others)
            found.append((label, total, self._leaf(weights, cut=key == ("",))))
        return sorted(found, key=lambda one: (isinstance(one[2], Leaf) and one[2].open, -one[1]))

    def _leaf(self, weights: Array, *, cut: bool) -> Leaf:
        known = self.outlook.known
        total = weights.sum()
        by_unit = np.bincount(known.unit, weights) / total
        by_suspect = np.bincount(known.row_suspect, weights)
        units = [(known.units[int(n)], float(by_unit[n])) for n in np.argsort(-by_unit)[:_NAMED]]
        suspects = [known.suspects[int(n)].spec for n in np.argsort(-by_suspect)[:_NAMED]
                    if by_suspect[n] > _SPOKEN_OF * total]  # fmt: skip
        named = [one for one in units[1:] if one[1] > _SPOKEN_OF]
        return Leaf((units[0], *named), tuple(suspects), cut)


def _either(labels: Sequence[str], others: Sequence[str]) -> str:
    """Outcomes with one verdict, told reading by reading where that says no more than they do.

    >>> _either(["slow; about 0 V", "slow; about 12 V"], ["fast; about 0 V"])
    'slow; about 0 V or about 12 V'
    >>> _either(["slow; about 0 V", "fast; about 12 V"], ["fast; about 0 V"])
    'slow; about 0 V or, fast; about 12 V'
    """
    named = [one for one in labels if not one.startswith(REST)]
    if not named:
        return REST
    parts = [one.split("; ") for one in named]
    if len({len(one) for one in parts}) > 1:
        return " or, ".join(named)
    columns = [list(dict.fromkeys(column)) for column in zip(*parts, strict=True)]
    said = {"; ".join(one) for one in product(*columns)}
    if said.isdisjoint(others):
        return "; ".join(" or ".join(column) for column in columns)
    return " or, ".join(named)
