"""Pairs beside a fault that explains all readings but one: dropped unsolved, held against solving them.

Solving in full takes the covariance of each pair, the whole range of the second value and every single
misreading (``likelihood.py``, itself held against pgmpy); the bound has one covariance for all.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

import circuitcheck
from circuitcheck.harness.readings import parse_readings
from circuitcheck.locate.beside import _least, beside
from circuitcheck.locate.evidence import Evidence, lay_out
from circuitcheck.locate.joined import pairs_of
from circuitcheck.locate.locate import Locator
from circuitcheck.locate.pairing import Alone, Pair, alone
from circuitcheck.locate.sets import value_held, weighed
from circuitcheck.locate.standing import Standing
from circuitcheck.locate.suspects import Suspect

UNSEEN = 9.2
"""Log of one in ten thousand, the least chance that a verdict shows."""

MISREAD_COIL = """\
tests:
  bridged-at-switch: {low-coil: 11.79 V}
also:
  - {setup: {ignition: on}, click: K2, read: silent}
  - {setup: {ignition: on}, speed: M1, read: off}
  - {test: bridged-at-switch, drop: [G1.+, K2.30], read: 0.282 V}
  - {test: bridged-at-switch, drop: [G1.+, X2.1b], read: 2.123 V}
"""


@dataclass
class Looked:
    """A sheet, how its best single fault stands, and what that is beside."""

    evidence: Evidence
    singles: list[Suspect]
    known: Alone
    leader: Standing
    kept: set[str]

    def kind(self, spec: str) -> set[str]:
        """The faults that read like one by itself."""
        kinds = [
            {fault.spec for n in many for fault in self.singles[n].faults}
            for many in self.known.kinds.values()
        ]
        return next(kind for kind in kinds if spec in kind)


def look(name, written):
    """What :func:`beside` keeps beside the leader of a sheet."""
    loom = circuitcheck.load(name)
    locator, sheet = Locator(loom.harness), loom.sheet(written)
    evidence, field = lay_out(loom.harness, sheet, {}), locator._field(())
    standings, known = locator.weigh_singles(sheet), alone(evidence, field.coarse)
    leader = standings[0]
    number = next(n for n, one in enumerate(field.singles) if one is leader.suspect)
    kept = set()
    for pair in beside(evidence, field.coarse, known, standings):
        if number in (pair.one, pair.other):
            other = pair.one if pair.other == number else pair.other
            kept |= {fault.spec for n in known.kinds[other] for fault in field.singles[n].faults}
    return Looked(evidence, field.singles, known, leader, kept)


def misread(name, spec, seed, test, reading, value):
    """One fault and one reading that is plain wrong."""
    written = circuitcheck.load(name).written(spec, spread=seed)
    written[test][reading] = value
    return name, written


def two_faults(name, *specs, seed):
    return name, circuitcheck.load(name).written(*specs, spread=seed)


def solved(looked):
    """Every fault on another part beside the leader, solved in full, by its name."""
    (fault,) = looked.leader.suspect.faults
    number = next(n for n, one in enumerate(looked.singles) if one is looked.leader.suspect)
    others = [
        n
        for n, one in enumerate(looked.singles)
        if one.faults and one.faults[0].where != fault.where and one.weight > 0
    ]
    pairs = pairs_of(looked.singles, [Pair(n, number, 1.0, 1.0) for n in others])
    held = value_held(looked.leader)
    found = weighed(looked.evidence, [replace(one, held=held) for one in pairs])
    return [(one.suspect.faults[0].spec, one) for one in found]


@pytest.mark.parametrize(
    "sheet",
    [
        misread("twin-fan-switch", "R1 open", 1, "feed-under-load", "to-fuse", "0.944 V"),
        misread(
            "twin-fan-switch", "E1 high resistance=0.7 ohm", 2, "high-at-the-plug", "right-amps", "9 A"
        ),
        two_faults("twin-fan-switch", "R1 open", "S1 high high resistance=0.1 ohm", seed=4),
        two_faults("first-fan", "M1 open", "W10 high resistance", seed=1),
        two_faults("twin-fan-three-relays", "M1 open", "S1.3 high resistance", seed=1),
    ],
    ids=lambda sheet: sheet[0],
)
def test_what_is_dropped_could_not_explain_the_odd_reading(sheet):
    """The part of its standing in which every number is right lies below what a verdict shows."""
    looked = look(*sheet)
    numbers = np.array([not seen.is_word for seen in looked.evidence.seen])
    dropped = [(spec, one) for spec, one in solved(looked) if spec not in looked.kept]
    assert len(dropped) > 20
    for spec, one in dropped:
        right = math.log(max(1.0 - float(one.misread[numbers].sum()), 1e-16))
        assert one.log_weight + right < looked.leader.log_weight - UNSEEN, spec


@pytest.mark.parametrize(
    ("name", "leader", "second"),
    [
        ("first-fan", "M1 open", "W10 high resistance"),
        *(
            ("twin-fan-three-relays", "M1 open", f"S1.3 high resistance={ohm} ohm")
            for ohm in (1.0, 1.1, 1.3, 1.6, 2.0, 2.3)
        ),
        ("twin-fan-three-relays", "E2 high resistance=0.3 ohm", "S1.1 high resistance"),
    ],
)
def test_the_second_fault_of_the_odd_reading_is_kept(name, leader, second):
    """However far off the reading is, and wherever its value lies between those tried."""
    looked = look(*two_faults(name, leader, second, seed=1))
    assert looked.leader.suspect.spec == leader.partition("=")[0]
    assert np.sum(looked.leader.misread > 0.5) == 1
    kind = looked.kind(second.partition("=")[0])
    assert kind <= looked.kept
    assert len(looked.kept - kind) < 20


def test_a_verdict_names_such_a_pair():
    loom = circuitcheck.load("first-fan")
    verdict = loom.locate(loom.whatif("M1 open", "W10 high resistance", spread=1))
    assert {"M1 open", "W10 high resistance"} in [set(one.spec.split(" + ")) for one in verdict.suspects]


def test_the_least_on_the_way_between_rows_is_that_of_a_fine_scan():
    draw = np.random.default_rng(5)
    root = draw.normal(size=(4, 4))
    inverse, rows = root @ root.T, draw.normal(size=(9, 4))
    onward = np.arange(8) != 3
    square, share = _least(rows, inverse, onward)
    for n in range(9):
        ways = np.linspace(0, 1, 20001) if n < 8 and onward[n] else np.zeros(1)
        points = rows[n] + ways[:, None] * (rows[min(n + 1, 8)] - rows[n])
        forms = np.array([point @ inverse @ point for point in points])
        assert square[n] == pytest.approx(forms.min(), rel=1e-6)
        assert share[n] == pytest.approx(ways[forms.argmin()], abs=1e-4)


def test_no_pair_beside_it_worth_weighing():
    """A sheet drawn with ngspice: the joint X12.3 has 0.2 ohm too much, and the coil was misread."""
    loom = circuitcheck.load("truck-24v")
    verdict = loom.locate(parse_readings(loom.harness, MISREAD_COIL))
    assert "X12.3 high resistance" in {one.spec for one in verdict.suspects if one.group == 1}
    assert verdict.repeat == ("bridged-at-switch: low-coil",)
