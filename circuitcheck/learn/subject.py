"""What is to be explained: a circuit with its meter in place, solved, and the branch in question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from circuitcheck.circuit.chosen import ChosenFault, combined
from circuitcheck.circuit.circuit import Circuit, conducts
from circuitcheck.errors import UnknownName
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.second_opinion import Observed, observed
from circuitcheck.expect.service import blown_in_service
from circuitcheck.harness.model import Harness
from circuitcheck.physics.branch import Source
from circuitcheck.solve.point import OperatingPoint, solve_point

SUPPLY = "supply"
"""The kind of the question when no observation is named: what does the battery deliver."""

LOADING = 1e-5
"""A voltmeter that moves its own reading by a smaller share than this is left out of the drawing; a
hundredth of the accuracy of a hand-held meter (common practice, no source)."""


@dataclass(frozen=True)
class Subject:
    """One question put to one circuit.

    :param kind: of the observation, or ``supply``
    :param circuit: with the instrument in place
    :param target: key of the branch in question; empty where the set-up has taken it away
    :param value: what the solver reads, in the unit of the kind; infinite for an open line, None
        if the circuit buzzes
    :param altered: keys of the branches that the faults have changed
    :param probes: where a voltmeter stands that draws next to nothing; it is then left out of the
        circuit, and the branch in question is the source
    """

    harness: Harness
    test: str
    faults: tuple[ChosenFault, ...]
    observe: str | None
    kind: str
    circuit: Circuit
    point: OperatingPoint
    target: str
    value: float | None
    altered: frozenset[str]
    probes: tuple[str, str] | None = None

    @property
    def live(self) -> bool:
        """Whether any current can pass the branch in question."""
        branch = self.circuit.branches.get(self.target)
        return branch is not None and conducts(branch, self.point.states)


def subject_of(
    harness: Harness, test: str, faults: Sequence[ChosenFault] = (), observe: str | None = None
) -> Subject:
    """The circuit of a test and the branch that is asked about.

    Without an observation it is the battery that delivers most; in a test without power, the
    first observation.

    :raises UnknownName: if the test has no such observation
    """
    known = harness.tests[test].observe
    if observe is not None and observe not in known:
        raise UnknownName("observation", observe, known)
    if observe is None:
        circuit = plain_circuit(harness, test, faults)
        point = solve_point(circuit)
        target = strongest_source(circuit, point)
        if target:
            value = None if point.buzzing else -point.amps[target]
            return Subject(
                harness,
                test,
                tuple(faults),
                None,
                SUPPLY,
                circuit,
                point,
                target,
                value,
                _altered(harness, test, faults),
            )
        observe = next(iter(known))
    (one,) = (one for one in observed(harness, test, faults) if one.name == observe)
    found = Subject(
        harness,
        test,
        tuple(faults),
        observe,
        one.kind,
        one.circuit,
        one.point,
        _target(one),
        None if one.point.buzzing else one.value,
        _altered(harness, test, faults),
    )
    return _unloaded(found, one.reader.port()) if one.kind in ("volts", "drop") else found


def strongest_source(circuit: Circuit, point: OperatingPoint) -> str:
    """Key of the source that delivers most; empty if there is none."""
    sources = [key for key, one in circuit.branches.items() if isinstance(one, Source)]
    return min(sources, key=lambda key: point.amps[key], default="")


def _unloaded(subject: Subject, probes: tuple[str, str]) -> Subject:
    """Without the voltmeter, if it draws too little to matter and a source drives the circuit."""
    circuit = subject.circuit.changed({"meter": None})
    point = solve_point(circuit)
    target = strongest_source(circuit, point)
    if not target or subject.value is None or point.buzzing or set(probes) & point.floating:
        return subject
    if abs(point.between(*probes) - subject.value) > LOADING * max(abs(subject.value), 0.01):
        return subject
    return replace(subject, circuit=circuit, point=point, target=target, probes=probes)


def point_of(harness: Harness, test: str, observe: str) -> str:
    """Where an observation looks: its first terminal, its wire, or the plus terminal of its motor.

    :raises UnknownName: if the test has no such observation
    """
    known = harness.tests[test].observe
    if observe not in known:
        raise UnknownName("observation", observe, known)
    place = known[observe].points[0]
    return f"{place}:motor" if known[observe].kind in ("speed", "hear", "turn") else place


def plain_circuit(harness: Harness, test: str, faults: Sequence[ChosenFault] = ()) -> Circuit:
    """The circuit of a test with its faults, no meter on it."""
    bench = bench_for(harness, harness.tests[test])
    (blown,) = blown_in_service(harness, [lambda branches: combined(faults, branches)])
    change = combined(faults, bench.circuit.branches, harness.tests[test].setup.swap)
    return bench.circuit.changed(change).after(blown)


def _altered(harness: Harness, test: str, faults: Sequence[ChosenFault]) -> frozenset[str]:
    setup = harness.tests[test].setup
    bench = bench_for(harness, harness.tests[test])
    return frozenset(combined(faults, bench.circuit.branches, setup.swap))


def _target(one: Observed) -> str:
    """The branch that an instrument looks at: itself, the clamped wire, the motor, the coil."""
    if one.kind in ("volts", "drop", "ohms"):
        return "meter"
    if one.kind == "click":
        threshold = one.circuit.thresholds.get(getattr(one.reader, "threshold", ""))
        return threshold.watch if threshold else ""
    return str(getattr(one.reader, "key", ""))
