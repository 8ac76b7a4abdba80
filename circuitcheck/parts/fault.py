"""Fault modes, and the few changes to a circuit that all of them are made of.

A fault mode is a pure change: it is given the branches of a sound circuit and an unknown value, and
answers the branches that differ. A branch that a set-up has already taken out (a pulled fuse) cannot
be changed any more, so every helper here leaves missing branches alone.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from circuitcheck.parts.frequency import Frequency, usual
from circuitcheck.physics.branch import Array, Branch, Conductor

Branches = Mapping[str, Branch]
Change = Mapping[str, Branch | None]
"""Branches to put in place of those of the same key, or beside them; None takes one out."""
Value = float | Array
"""The unknown value of a fault; an array for many at once, and its branches then hold arrays."""
ChangeRule = Callable[[Branches, Value], Change]

CHASSIS = "chassis"
"""The node that every ground point is bolted to."""
SHORT_OHM = 0.02
"""A chafed wire against bare metal [ohm]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Severity:
    """The unknown value of a fault: from ``low`` to ``high``, evenly on a log scale."""

    low: float
    high: float
    unit: str

    @property
    def typical(self) -> float:
        """The middle of the range on a log scale."""
        return float((self.low * self.high) ** 0.5)


HIGH_RESISTANCE = Severity(0.05, 100.0, "ohm")
"""A bad joint: from what just shows under fan current to what hardly lights a lamp."""


@dataclass(frozen=True, slots=True)
class FaultMode:
    """One way in which something fails.

    :param where: the part, pin or wire: ``R1``, ``S1.2``, ``W3``
    :param mode: ``open``, ``high resistance``, ...
    :param often: how often against the other faults of a harness
    :param words: what has happened, as half a sentence for a person
    :param remedy: what to do about it, for a person
    :param change: the rule that applies it
    :param severity: the range of its unknown value, if it has one
    :param replace: the unit that is replaced or repaired
    :param overloads: whether it can make anything carry more than in a sound circuit
    :param while_there: of a fault that comes and goes, the mode that it has while it is there
    :param while_bad: the same while its contact is not open but bad, if there is such a mode
    """

    where: str
    mode: str
    often: Frequency
    words: str
    remedy: str
    change: ChangeRule
    severity: Severity | None = None
    replace: str = ""
    overloads: bool = False
    while_there: str = ""
    while_bad: str = ""

    @property
    def spec(self) -> str:
        """How the fault is named on the command line, ``R1 open``."""
        return f"{self.where} {self.mode}"

    @property
    def typical(self) -> float:
        """The middle of the range of its unknown value; 0 where nothing is unknown."""
        return self.severity.typical if self.severity else 0.0

    @property
    def weight(self) -> float:
        """How often against the other faults of a harness; only ratios count."""
        return self.often.weight

    @property
    def source(self) -> str:
        """Where its frequency comes from."""
        return self.often.source


@dataclass(frozen=True, slots=True)
class Failing:
    """A part as its fault modes have it in common.

    :param where: the part, pin or wire
    :param kind: whose rows of the table of frequencies they have
    :param remedy: what to do about most of them, for a person
    """

    where: str
    kind: str
    remedy: str

    def mode(
        self,
        mode: str,
        words: str,
        change: ChangeRule,
        severity: Severity | None = None,
        *,
        often: str = "",
        remedy: str = "",
        overloads: bool = False,
    ) -> FaultMode:
        """One of its fault modes, see :class:`FaultMode`.

        :param often: its row in the table of frequencies, where that is not called as the mode is
        :param remedy: where it is another than that of most
        """
        row = usual(self.kind, often or mode)
        remedy = remedy or self.remedy
        return FaultMode(self.where, mode, row, words, remedy, change, severity, overloads=overloads)


def take_out(*keys: str) -> ChangeRule:
    """The branches are gone: open."""
    return lambda branches, _: {key: None for key in keys if key in branches}


def add_ohm(key: str) -> ChangeRule:
    """The unknown value comes on top of the resistance of a conductor or source."""

    def rule(branches: Branches, ohm: Value) -> Change:
        branch = branches.get(key)
        return {} if branch is None else {key: altered(branch, ohm=_ohm(branch) + ohm)}

    return rule


def set_ohm(key: str) -> ChangeRule:
    """The unknown value is the resistance."""
    return lambda branches, ohm: {key: altered(branches[key], ohm=ohm)} if key in branches else {}


def close_between(key: str, tail: str, head: str, ohm: float) -> ChangeRule:
    """A contact that should be open conducts; its branch may be there or not."""
    return lambda branches, _: {key: Conductor(tail, head, ohm)}


def bridge(key: str, tail: str, head: str, ohm: float = SHORT_OHM) -> ChangeRule:
    """A conductor where there should be none."""
    return lambda branches, _: {f"{key}:short": Conductor(tail, head, ohm)}


def scale(key: str, **factors: Value) -> ChangeRule:
    """Parameters of a curve multiplied by fixed factors."""

    def rule(branches: Branches, _: Value) -> Change:
        branch = branches.get(key)
        if branch is None:
            return {}
        values = {name: getattr(branch, name) * factor for name, factor in factors.items()}
        return {key: altered(branch, **values)}

    return rule


def scale_by_value(key: str, *fields: str) -> ChangeRule:
    """Parameters of a curve multiplied by the unknown value."""
    return lambda branches, factor: scale(key, **dict.fromkeys(fields, factor))(branches, factor)


def altered(branch: Branch, **fields: Any) -> Branch:
    """The same branch with other values in some fields."""
    return dataclasses.replace(branch, **fields)  # type: ignore[type-var]


def rejoined(branch: Branch, ends: Mapping[str, str]) -> Branch:
    """The same branch between other nodes.

    :param ends: the new node for each that is given up; other ends stay
    """
    return altered(
        branch, tail=ends.get(branch.tail, branch.tail), head=ends.get(branch.head, branch.head)
    )


def _ohm(branch: Branch) -> Any:
    return branch.ohm  # type: ignore[union-attr]


def joint_faults(key: str, words: str, kind: str = "pin") -> list[FaultMode]:
    """How a joint fails: no contact, a resistance that should not be there, contact now and then.

    :param kind: whose row of the table of frequencies it has
    """
    joint = Failing(key, kind, f"repair {words}")
    open_ = joint.mode("open", f"{words} makes no contact", take_out(key))
    return [
        open_,
        joint.mode(
            "high resistance",
            f"{words} has a high resistance",
            add_ohm(key),
            HIGH_RESISTANCE,
            remedy=f"clean or renew {words}",
        ),
        comes_and_goes(open_, f"{words} makes contact now and then", kind),
    ]


def comes_and_goes(fault: FaultMode, words: str, kind: str) -> FaultMode:
    """An open fault that is there in one test and gone in the next.

    :param kind: whose row of the table of frequencies it has
    """
    label = fault.mode.removesuffix("open").removesuffix("stuck ")
    usual_mode = f"{'contact ' if label else ''}comes and goes"
    return dataclasses.replace(
        fault,
        mode=f"{label}comes and goes",
        often=usual(kind, usual_mode),
        words=words,
        while_there=fault.mode,
        while_bad=f"{label}high resistance",
    )
