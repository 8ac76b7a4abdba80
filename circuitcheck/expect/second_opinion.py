"""A test put before two others: lcapy in exact fractions, and any circuit simulator as a deck."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.readers import METER, Reader
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Harness
from circuitcheck.solve.deck import STATES, Look, circuit_deck
from circuitcheck.solve.point import OperatingPoint, solve_point
from circuitcheck.solve.twin import second_opinion

MEASURED = ("volts", "drop", "amps", "ohms")
"""Kinds of observation that a network alone answers."""


@dataclass(frozen=True)
class Observed:
    """An observation with a circuit of its own, its instrument in place."""

    name: str
    kind: str
    circuit: Circuit
    reader: Reader

    @cached_property
    def point(self) -> OperatingPoint:
        """What the circuit does with this instrument in place."""
        return solve_point(self.circuit)

    @cached_property
    def value(self) -> float:
        """The reading; infinite for an open line, NaN if the circuit buzzes."""
        return math.nan if self.point.buzzing else self.reader.value_at(self.circuit, self.point)


def second_opinion_of_test(
    harness: Harness, test_name: str, faults: Sequence[ChosenFault] = ()
) -> list[tuple[str, float, float]]:
    """Each measured reading of a test, solved at full size and again by lcapy.

    Readings that are open lines or buzz are no numbers and are left out; so are looked-at ones.

    :returns: reading name, our value, lcapy's value, in volts, amps or ohms
    :raises KeyError: if the harness has no such test
    """
    rows = []
    for one in observed(harness, test_name, faults):
        if one.kind not in MEASURED or one.point.buzzing:
            continue
        exact = one.reader.value_at(one.circuit, exact_point(one.circuit, one.point))
        if math.isfinite(one.value) or math.isfinite(exact):
            rows.append((one.name, _finite(one.value), _finite(exact)))
    return rows


def exact_point(circuit: Circuit, point: OperatingPoint) -> OperatingPoint:
    """The same operating point with lcapy's volts and amps in place of ours."""
    found = second_opinion(circuit, point)
    return replace(
        point,
        volts={node: float(one) for node, one in found["volts"].items()},
        amps={key: float(one) for key, one in found["amps"].items()},
    )


def _finite(value: float) -> float:
    """An open line that only one of the two sees, as a number that cannot be overlooked."""
    return min(value, 1e30)


def observed(
    harness: Harness,
    test_name: str,
    faults: Sequence[ChosenFault] = (),
    blown: frozenset[str] | None = None,
) -> list[Observed]:
    """The observations of a test in their order.

    :param blown: the fuses that the faults have blown in service, if that is known already
    :raises KeyError: if the harness has no such test
    """
    test = harness.tests[test_name]
    bench = bench_for(harness, test)
    if blown is None:
        (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    found: dict[int, Observed] = {}
    for station in bench.stations:
        change = combined(faults, station.circuit.branches, test.setup.swap)
        for place, reader in station.readers:
            name, observation = bench.observations[place]
            circuit = station.circuit.changed(change).changed(reader.meter()).after(blown)
            found[place] = Observed(name, observation.kind, circuit, reader)
    return [found[place] for place in sorted(found)]


def deck(harness: Harness, test_name: str, faults: Sequence[ChosenFault] = ()) -> str:
    """A test as a deck for circuit simulators; see :func:`~circuitcheck.solve.deck.circuit_deck`.

    :raises KeyError: if the harness has no such test
    """
    return deck_of(harness, test_name, faults, observed(harness, test_name, faults))


def deck_of(
    harness: Harness, test_name: str, faults: Sequence[ChosenFault], seen: Sequence[Observed]
) -> str:
    """The same, from observations that have been laid out already."""
    condition = " and ".join(one.spec for one in faults) or "sound"
    notes = [
        f"Harness {harness.name}: {harness.title}",
        f"Test {test_name}: {harness.tests[test_name].title}",
        f"Condition: {condition}",
    ]
    title = f"{harness.name}, {test_name}, {condition}"
    return circuit_deck(title, notes, [look_of(one) for one in seen])


def look_of(one: Observed) -> Look:
    """An observation as the deck writer wants it."""
    tail, head = one.reader.port()
    key = getattr(one.reader, "key", METER)
    state = one.reader.value_at(one.circuit, one.point) if one.kind in STATES else 0.0
    kind = "volts" if one.kind == "drop" else one.kind
    return Look(one.name, kind, one.circuit, one.point, tail, head, key, state)
