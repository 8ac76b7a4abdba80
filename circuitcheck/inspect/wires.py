"""Wires: the current they carry themselves, and those that carry none."""

from __future__ import annotations

from collections.abc import Iterator

from circuitcheck.inspect.design import Design
from circuitcheck.inspect.feeds import wire_capacity
from circuitcheck.inspect.rule import Finding, Severity, rule
from circuitcheck.inspect.words import number

IDLE = 1e-4
"""A wire that never carries this much [A] is idle: a tenth of what an electronic input takes; common
practice, no source."""


@rule(
    "wire-running",
    Severity.serious,
    "A wire carries its running current continuously, in the heat under the bonnet and in its bundle.",
    source="DIN VDE 0298-4 table 11, read (secondary), with the corrections of fuse-over-wire",
    limits=("ambient", "wire-temperature", "bundle"),
)
def wire_running(design: Design) -> Iterator[Finding]:
    """Wires whose largest running current is over their capacity."""
    for name, wire in design.harness.wires.items():
        amps, scene = design.most(name)
        carries = wire_capacity(design, wire)
        if amps > carries:
            yield Finding(
                "wire-running",
                name,
                Severity.serious,
                f"{wire.size:.3g} mm2, {wire.start} to {wire.end}, carries {number(amps)} A ({scene}) "
                "and is "
                f"good for {number(carries)} A here. Fit a thicker wire.",
                amps,
                carries,
                "A",
            )


@rule(
    "wire-unused",
    Severity.note,
    "Every wire carries current in some state of use.",
    source="common practice, no source",
)
def wire_unused(design: Design) -> Iterator[Finding]:
    """Wires that never carry any, whatever ignition, coolant and switches do."""
    for name, wire in design.harness.wires.items():
        amps, _ = design.most(name)
        if amps < IDLE:
            yield Finding(
                "wire-unused",
                name,
                Severity.note,
                f"{wire.start} to {wire.end} carries nothing in any of {len(design.scenes)} states of "
                "use. "
                "Is it meant as a spare?",
                amps,
                IDLE,
                "A",
            )


@rule(
    "terminal-unreached",
    Severity.note,
    "Every terminal of a part has a wire.",
    source="common practice, no source",
)
def terminal_unreached(design: Design) -> Iterator[Finding]:
    """Terminals without a wire, those of the battery apart, which has a clamp and a post for one."""
    wired = {end for wire in design.harness.wires.values() for end in (wire.start, wire.end)}
    for name, part in design.harness.parts.items():
        if part.kind_name == "battery":
            continue
        bare = [pin for pin in part.pins() if f"{name}.{pin}" not in wired]
        for pin in bare:
            yield Finding(
                "terminal-unreached",
                f"{name}.{pin}",
                Severity.note,
                "no wire on it. If that is meant, see that it is sealed and cannot touch anything.",
            )
