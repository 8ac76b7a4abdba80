"""A test laid out for solving: circuits with their meters, and what is read off each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.expect.cautions import Lead
from circuitcheck.expect.leads import with_its_leads
from circuitcheck.expect.observed import reader_for
from circuitcheck.expect.readers import AmpsReader, Reader
from circuitcheck.expect.run import Blown, Layout, Run
from circuitcheck.harness.model import Harness, Observation, Setup
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Array, Conductor
from circuitcheck.physics.meter import INLINE_OHM
from circuitcheck.solve.point import OperatingPoint, solve_point
from circuitcheck.solve.spread import latents_of
from circuitcheck.solve.wiring import Index


@dataclass(frozen=True)
class Station:
    """One circuit and the readings taken on it: (place in the test, reader)."""

    circuit: Circuit
    readers: tuple[tuple[int, Reader], ...]

    @cached_property
    def _in_line(self) -> tuple[str, ...]:
        """The branches that a meter is put in."""
        return tuple(
            reader.key for _, reader in self.readers if isinstance(reader, AmpsReader) and reader.inline
        )

    def carried(self, change: Change) -> Change:
        """A change of the bench's circuit on this one: an in-line meter stays in its branch."""
        metered = {}
        for key in self._in_line:
            branch = change.get(key)
            if isinstance(branch, Conductor):
                metered[key] = replace(branch, ohm=branch.ohm + INLINE_OHM)
        return {**change, **metered} if metered else change


@dataclass(frozen=True)
class Bench:
    """A set-up and its observations on a harness."""

    harness: Harness
    setup: Setup
    observations: tuple[tuple[str, Observation], ...]

    @cached_property
    def key(self) -> str:
        """What tells it from the other benches of its harness."""
        return f"{self.setup!r} {self.observations!r}"

    @cached_property
    def _built(self) -> tuple[Circuit, Lead | None]:
        return with_its_leads(build_circuit(self.harness, self.setup), self.setup)

    @property
    def circuit(self) -> Circuit:
        """The sound circuit without meters, fuses of the size named in its leads."""
        return self._built[0]

    @property
    def lead(self) -> Lead | None:
        """What its jumper lead must be; None without one."""
        return self._built[1]

    @cached_property
    def stations(self) -> tuple[Station, ...]:
        """Observations that leave the circuit alone share a station; the others have their own."""
        shared: list[tuple[int, Reader]] = []
        alone: list[Station] = []
        for place, (_, observation) in enumerate(self.observations):
            circuit, reader = reader_for(
                self.circuit, observation, self.harness.volts, self.harness.meter_ohm
            )
            if circuit is self.circuit:
                shared.append((place, reader))
            else:
                alone.append(Station(circuit, ((place, reader),)))
        return (Station(self.circuit, tuple(shared)), *alone) if shared else tuple(alone)

    @cached_property
    def renewed(self) -> frozenset[str]:
        """Fuses that were whole before the test whatever happened: known good ones were put in."""
        return frozenset(f"{name} blown" for name in self.setup.swap)

    @cached_property
    def layouts(self) -> list[Layout]:
        """All its readings, on one circuit or several."""
        return Layout.of(self.circuit, self.stations)

    @cached_property
    def latents(self) -> tuple[str, ...]:
        """What is uncertain in a sound vehicle, as far as it is on these circuits."""
        found = (latents_of(one.networks.wiring).names for one in self.layouts)
        return tuple(dict.fromkeys(name for names in found for name in names))

    def run(
        self,
        changes: Sequence[Change],
        counts: Sequence[int] | None = None,
        blown: Blown | None = None,
        fuses: Array | None = None,
        together: Index | None = None,
    ) -> Run:
        """Take every reading under every change; see :class:`Run`. A fuse put in new is whole."""
        counts = counts or [1] * len(changes)
        before = blown
        if blown and self.renewed:
            left = {one: one - self.renewed for one in set(blown)}
            before = [left[one] for one in blown]
        return Run(self, changes, counts, before, fuses, together)

    def point(self, change: Change, blown: frozenset[str] = frozenset()) -> OperatingPoint:
        """The operating point under one change, no meter on it."""
        return solve_point(self.circuit.changed(change).after(blown - self.renewed))
