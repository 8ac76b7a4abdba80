"""Milliohms beside megohms: both solvers against lcapy's exact fractions.

A matrix that holds the sum of a node's conductances has lost what goes to the reference: a joint of
10 mohm beside a meter of 10 Mohm would leave seven of sixteen digits. Neither solver may lose them.

Opens are exact limits here: what is compared with a branch taken out has no such branch in lcapy, and no
large resistance instead. A short is one of 0.1 microhm.
"""

import random
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from nets import settled

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.meter import VOLTMETER_OHM
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.twin import second_opinion

EMF = 12.6
SMALLEST = 1e-3
"""Volts are compared relative to themselves, or to this where they are less [V]."""
WANTED = 1e-9
ADDED = (0.05, 2.0, 100.0, 1e6)
"""Resistance that comes on top of a joint [ohm]."""
CHANGES = 7
"""Drawn changes of each circuit."""
each_seed = pytest.mark.parametrize("seed", range(4))


@dataclass
class Loom:
    """Branches being put together; ``names`` are the nodes of the live part and of the other."""

    draw: random.Random
    branches: dict
    live: list
    other: list

    def joints(self, names, low, high):
        """A tree of joints between some nodes."""
        for n, name in enumerate(names[1:], 1):
            self.branches[f"J{name}"] = Conductor(
                name, names[self.draw.randrange(n)], self.log(low, high)
            )

    def log(self, low, high):
        return 10.0 ** self.draw.uniform(np.log10(low), np.log10(high))

    def add(self, key, tail, head, ohm):
        self.branches[key] = Conductor(tail, head, ohm)

    def circuit(self):
        return Circuit(self.branches, {}, self.live[0], points=(*self.live, *self.other))

    def opened(self, keys):
        return [{key: None} for key in keys]

    def worse(self, keys):
        """Joints with a resistance on top."""
        return [
            {key: Conductor(one.tail, one.head, one.ohm + more)}
            for more in ADDED
            for key, one in self.branches.items()
            if key in keys
        ]


def loom(family, seed):
    """A live part of joints of 0.1 to 10 mohm on a battery, and another part."""
    draw = random.Random(f"{family} {seed}")
    live = [str(n) for n in range(draw.randint(4, 8))]
    other = [f"f{n}" for n in range(draw.randint(3, 7))]
    made = Loom(draw, {}, live, other)
    made.joints(live, 1e-4, 1e-2)
    made.branches["G"] = Source(live[1], live[0], EMF, 0.012)
    return made


def beside_megohms(seed):
    """Joints of the live part, a load, and ways round of 1 to 100 Mohm."""
    made = loom("megohms", seed)
    for n in range(4):
        made.add(f"M{n}", *made.draw.sample(made.live, 2), made.log(1e6, 1e8))
    made.add("L", *made.draw.sample(made.live, 2), 2.0)
    joints = [key for key in made.branches if key.startswith("J")]
    return made, made.opened([*joints, "L", "M0", "M1"]) + made.worse(joints)


def contact_and_meter(seed):
    """A part behind a contact of 10 mohm, whose only other path is a voltmeter."""
    made = loom("contact", seed)
    made.joints(made.other, 1e-4, 1e-2)
    made.add("meter", made.draw.choice(made.other), made.live[0], VOLTMETER_OHM)
    made.add("C", made.live[1], made.draw.choice(made.other), 0.01)
    joints = [key for key in made.branches if key.startswith("J")]
    return made, made.opened(["C", *joints]) + made.worse(["C"])


def held_by_a_meter(seed):
    """A part that only a voltmeter and a leak of 0.1 Mohm to 1 Gohm hold."""
    made = loom("meter", seed)
    made.joints(made.other, 1e-4, 1e-2)
    made.add("meter", made.draw.choice(made.other), made.live[0], VOLTMETER_OHM)
    made.add("leak", made.live[1], made.draw.choice(made.other), made.log(1e5, 1e9))
    joints = [key for key in made.branches if key.startswith("J")]
    return made, made.opened([*joints, "leak"]) + made.worse(joints)


def shorted(seed):
    """A part of 1 to 100 ohm held by a meter and a leak, joined to the live part by 0.1 microhm."""
    made = loom("short", seed)
    made.joints(made.other, 1.0, 100.0)
    made.add("meter", made.draw.choice(made.other), made.live[0], VOLTMETER_OHM)
    made.add("leak", made.live[1], made.draw.choice(made.other), 1e6)
    shorts = [
        Conductor(one, two, ohm) for one in made.live for two in made.other for ohm in (1e-7, 0.02)
    ]
    return made, [{"S": one} for one in shorts]


def exact(circuit, point):
    """Volts of every node that something holds, by lcapy."""
    found = second_opinion(circuit, point)["volts"]
    return {node: float(volts) for node, volts in found.items() if node not in point.floating}


def off(volts, wanted):
    """The largest difference, relative to the volts or to 1 mV."""
    return max(
        (abs(volts[node] - one) / max(abs(one), SMALLEST) for node, one in wanted.items()), default=0.0
    )


def swept(circuit, changes):
    """Volts of all nodes by row, for the rows that the sweep trusts."""
    nodes = circuit.nodes
    return {
        row: dict(zip(nodes, group.batch.probe_volts[local].tolist(), strict=True))
        for group in settled(circuit, changes, [(one, circuit.reference) for one in nodes]).groups
        for row, local in zip(group.rows.tolist(), group.local.tolist(), strict=True)
    }


@cache
def errors(family, seed):
    """Under each drawn change the errors of the plain solver and of the sweep."""
    made, every = family(seed)
    circuit = made.circuit()
    changes = [{}, *made.draw.sample(every, min(CHANGES, len(every)))]
    by_sweep = swept(circuit, changes)
    assert by_sweep, "the sweep must not hand everything over"
    found = []
    for row, change in enumerate(changes):
        changed = circuit.changed(change)
        point = solve_point(changed)
        wanted = exact(changed, point)
        swept_off = off(by_sweep[row], wanted) if row in by_sweep else 0.0
        found.append((change, off(point.volts, wanted), swept_off))
    return found


@each_seed
@pytest.mark.parametrize("family", [beside_megohms, contact_and_meter, held_by_a_meter, shorted])
def test_nine_digits_are_kept(family, seed):
    for change, alone, by_sweep in errors(family, seed):
        assert alone <= WANTED, change
        assert by_sweep <= WANTED, change
