"""From a harness and a set-up to a circuit."""

from __future__ import annotations

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.circuit.fresh import misfits, swaps
from circuitcheck.circuit.through import fed_through
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.harness.units import faults_in_use, placed
from circuitcheck.parts.fault import FaultMode
from circuitcheck.parts.fuse import OPENS_AT
from circuitcheck.parts.part import Situation
from circuitcheck.physics.branch import Branch, Conductor, Threshold

LEAD_OHM = 0.02
"""A jumper lead of a metre or two with two clips and its fuse [ohm]; common practice, no source."""
LEAD_FUSE = 30.0
"""Rating of the fuse in a lead for which nobody has named one [A]; common practice, no source."""


def situation_of(harness: Harness, setup: Setup) -> Situation:
    """What the parts notice of a set-up."""
    return Situation(
        volts=harness.volts,
        resting=harness.supply.resting,
        charging=harness.supply.running,
        ignition=setup.ignition,
        running=setup.running,
        engine=setup.engine.celsius,
        warming=setup.engine.warming,
        battery_connected=setup.battery == "connected",
        positions=setup.switches,
    )


def build_circuit(harness: Harness, setup: Setup) -> Circuit:
    """The sound circuit in a set-up: parts, wires and leads, less what is pulled or undone."""
    situation = situation_of(harness, setup)
    branches: dict[str, Branch] = {}
    thresholds: dict[str, Threshold] = {}
    undone = {*setup.pull, *setup.unplug}
    for name, part in harness.parts.items():
        if name not in undone:
            branches.update(part.contacts(name))
        branches.update(part.inside(name, situation))
        thresholds.update(part.thresholds(name))
    branches.update((name, wire.branch()) for name, wire in harness.wires.items())
    leads, fuses = _leads(harness, setup)
    reference = f"{harness.supply.battery}.-"
    circuit = Circuit(
        branches | leads, thresholds | fuses, reference, points=tuple(harness.probe_points())
    )
    return circuit.changed(fed_through(harness, setup))


def _leads(harness: Harness, setup: Setup) -> tuple[dict[str, Branch], dict[str, Threshold]]:
    """The jumper leads of a set-up, each behind its fuse."""
    battery = harness.supply.battery
    ends = [
        *((numbered("bridge", i), one, two) for i, (one, two) in enumerate(setup.bridge)),
        *((numbered("feed", i), f"{battery}.+", point) for i, point in enumerate(setup.feed)),
        *((numbered("ground", i), point, f"{battery}.-") for i, point in enumerate(setup.ground)),
    ]
    limit = OPENS_AT * LEAD_FUSE
    branches: dict[str, Branch] = {}
    fuses: dict[str, Threshold] = {}
    for key, tail, head in ends:
        whole = ((f"{key} fuse blown", False),)
        branches[key] = Conductor(tail, head, LEAD_OHM, 0.2, closed_when=(whole,))
        fuses[f"{key} fuse blown"] = Threshold(key, limit, limit, latching=True)
    return branches, fuses


def numbered(word: str, index: int) -> str:
    """``bridge``, ``bridge 2``, ``bridge 3``: the key of a lead."""
    return word if index == 0 else f"{word} {index + 1}"


def lead_keys(setup: Setup) -> list[str]:
    """The keys of all leads of a set-up."""
    counts = (("bridge", setup.bridge), ("feed", setup.feed), ("ground", setup.ground))
    return [numbered(word, i) for word, points in counts for i in range(len(points))]


def all_faults(harness: Harness) -> list[FaultMode]:
    """Every fault mode of a harness, with the unit to replace and its frequency here.

    A loom that has never been in use can also be wired or fitted wrong.
    """
    found = list(faults_in_use(harness))
    if not harness.in_use:
        found += [placed(harness, one, None) for one in (*misfits(harness), *swaps(harness))]
    return found


def lasting_faults(harness: Harness) -> list[FaultMode]:
    """Every fault mode but those that come and go."""
    return [one for one in all_faults(harness) if not one.while_there]
