"""What blows in use while a relay buzzes, against the plain solver, one circuit at a time."""

import pytest

import circuitcheck
from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.chosen import combined, find_fault
from circuitcheck.expect.service import blown_in_service, service_setups
from circuitcheck.solve.point import solve_point


@pytest.mark.parametrize(
    ("name", "specs"),
    [
        (
            "cabin-blower",
            ("F1.out high resistance=0.128 ohm", "W5 short to ground", "W31 short to supply"),
        ),
        (
            "cabin-blower",
            ("W1 high resistance=0.879 ohm", "W8 short to supply", "W5 short to ground"),
        ),
        (
            "twin-fan-three-relays",
            ("F1.in high resistance=9.88 ohm", "W22 short to supply", "M1 seized"),
        ),
    ],
)
def test_a_fuse_blows_while_a_relay_buzzes(name, specs):
    harness = circuitcheck.load(name).harness
    faults = [find_fault(harness, spec) for spec in specs]
    wanted, buzzes = set(), False
    for setup in service_setups(harness):
        circuit = build_circuit(harness, setup)
        point = solve_point(circuit.changed(combined(faults, circuit.branches)))
        latching = [one for one, threshold in circuit.thresholds.items() if threshold.latching]
        blown = {one for one in latching if point.states[one]}
        buzzes |= bool(point.buzzing and blown)
        wanted |= blown
    assert buzzes
    assert blown_in_service(harness, [lambda known: combined(faults, known)]) == [wanted]
