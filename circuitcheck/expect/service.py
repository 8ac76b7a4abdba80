"""What a fault has done before anybody tests: fuses that blew while the vehicle was in use.

A chafed feed does not wait for the mechanic. Before any test the vehicle is taken to have run with
the ignition on, the engine hot, and its hand switches in each of their positions; unless its loom is
fresh from the bench and has never been in use.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import Circuit
from circuitcheck.circuit.idle import Idle
from circuitcheck.harness.model import Harness, Setup
from circuitcheck.parts.fault import Branches, Change
from circuitcheck.physics.branch import Array, Branch
from circuitcheck.solve.changes import Changes, one_of
from circuitcheck.solve.network import Networks, is_loom
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.sweep import settle
from circuitcheck.solve.wiring import Index

HOT = "125 degC warming"
Rule = Callable[[Branches], Change]


def service_setups(harness: Harness) -> list[Setup]:
    """The conditions of ordinary use that it has been through."""
    if not harness.in_use:
        return []
    on = {
        name: [one for one in known if one != getattr(part, "at_rest", "")]
        for name, part in harness.parts.items()
        if (known := getattr(part, "positions", None))
    }
    # All switches at once: what feeds one of them seldom feeds another, and a vehicle has many.
    most = max((len(positions) for positions in on.values()), default=0)
    positions: list[dict[str, str]] = [{}]
    positions += [{name: one[n] for name, one in on.items() if len(one) > n} for n in range(most)]
    always = {"ignition": "on", "running": "yes", "engine": HOT}
    described = [{**always, "switches": one} for one in positions]
    return [Setup.model_validate(one) for one in described]


def blown_in_service(
    harness: Harness,
    rules: Sequence[Rule],
    counts: Sequence[int] | None = None,
    fuses: Array | None = None,
    overloads: Sequence[bool] | None = None,
    setups: Sequence[Setup] | None = None,
) -> list[frozenset[str]]:
    """For each row of some fault rules the fuses that it blows in use.

    :param counts: how many rows each rule stands for, if its branches hold arrays
    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    :param overloads: which rules can make anything carry more; the others, none of them unless told,
        blow nothing and are not asked
    :param setups: the conditions of use; all of ``service_setups(harness)`` unless told
    """
    counts = counts or [1] * len(rules)
    wanted = np.ones(len(rules), dtype=bool) if overloads is None else np.array(overloads)
    asked = np.flatnonzero(wanted).tolist()
    rows = np.flatnonzero(np.repeat(wanted, counts))
    found: list[set[str]] = [set() for _ in range(sum(counts))]
    if asked:
        limits = np.ones(len(rows)) if fuses is None else fuses[rows]
        for setup in service_setups(harness) if setups is None else setups:
            circuit = build_circuit(harness, setup)
            changes = [rules[one](circuit.branches) for one in asked]
            blown = blown_in(circuit, changes, [counts[one] for one in asked], limits)
            for row, names in zip(rows.tolist(), blown, strict=True):
                found[row] |= names
    return [frozenset(one) for one in found]


def blown_in(
    circuit: Circuit,
    changes: Sequence[Change],
    counts: Sequence[int],
    fuses: Array,
    together: Index | None = None,
) -> list[set[str]]:
    """For each row of some changes the fuses that it blows in one condition of use.

    :param fuses: for each row, by how much every fuse opens above its usual limit [1]
    :param together: rows of the changes that act two at once (rows, 2), the second -1 for none
    """
    latching = [name for name, one in circuit.thresholds.items() if one.latching]
    networks = Networks(circuit)
    laid_out = Changes.of(networks.wiring, changes, counts)
    if together is not None:
        laid_out = laid_out.together(together[:, 0], together[:, 1])
    rows, like = _told_apart(circuit, changes, counts, fuses, together)
    settled = settle(networks, laid_out.take(rows), [], fuses=fuses[rows])
    names = list(circuit.thresholds)
    blows = settled.states & networks.wiring.limits.latching
    # What has blown stays blown, also where a relay buzzes; what is unsure is solved by itself below.
    blows[settled.unsure] = False
    found: list[set[str]] = [set() for _ in rows]
    for place, name in np.argwhere(blows).tolist():
        found[place].add(names[name])
    first = np.cumsum([0, *counts])
    for place in settled.unsure.tolist():
        row = int(rows[place])
        change: dict[str, Branch | None] = {}
        for one in [row] if together is None else together[row, together[row] >= 0].tolist():
            number = int(np.searchsorted(first, one, side="right")) - 1
            change |= one_of(changes[number], one - int(first[number]))
        point = solve_point(circuit.changed(change).after(frozenset(), float(fuses[row])))
        found[place] |= {name for name in latching if point.states[name]}
    return [found[place] for place in like.tolist()]


def _told_apart(
    circuit: Circuit,
    changes: Sequence[Change],
    counts: Sequence[int],
    fuses: Array,
    together: Index | None,
) -> tuple[Index, Index]:
    """The rows that have to be solved, and for each row of all which of these it is like.

    Of a loom all that changes only what carries no current is like the first such row.
    """
    first = np.arange(len(fuses))
    if together is not None or not is_loom(circuit):
        return first, first
    idle = Idle(circuit)
    unmoved = np.repeat([idle.unmoved_by(one) for one in changes], counts) & (fuses == 1.0)
    first[unmoved] = np.flatnonzero(unmoved)[:1]
    rows, like = np.unique(first, return_inverse=True)
    return rows, like.reshape(-1)
