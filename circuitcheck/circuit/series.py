"""Branches in series: where along a run a resistance sits makes no difference to anything outside.

A bad pin, the wire behind it and the joint at its end are one and the same to every reading that is
not taken between them, so that only one of them needs solving.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.joined import Joined
from circuitcheck.parts.fault import Change
from circuitcheck.physics.branch import Conductor

Mark = tuple[Any, ...]


class SeriesRuns:
    """The runs of a circuit.

    :param kept: nodes that something is read at; no run goes through them
    """

    def __init__(self, circuit: Circuit, kept: Collection[str]) -> None:
        self.circuit = circuit
        at: dict[str, list[str]] = {}
        for key, one in circuit.branches.items():
            at.setdefault(one.tail, []).append(key)
            at.setdefault(one.head, []).append(key)
        stops = {circuit.reference, *kept}
        self._joined = Joined(
            (keys[0], keys[1])
            for node, keys in at.items()
            if len(keys) == 2
            and node not in stops
            and all(isinstance(circuit.branches[key], Conductor) for key in keys)
        )

    def mark(self, change: Change) -> Mark | None:
        """What is the same for two changes that do the same to all that is read.

        :returns: None for a change that adds a branch: it may end in the middle of a run
        """
        marks: list[Mark] = []
        for key, new in change.items():
            old = self.circuit.branches.get(key)
            if old is None:
                return None
            if not isinstance(old, Conductor):
                marks.append((key, id(new)))
            elif new is None:
                marks.append((self._joined.root(key), "open"))
            elif not isinstance(new, Conductor) or (new.tail, new.head) != (old.tail, old.head):
                return None
            elif new.closed_when == old.closed_when:
                marks.append((self._joined.root(key), _added(old.ohm, new.ohm)))
            else:
                marks.append((key, id(new)))
        return tuple(sorted(marks, key=repr))


def _added(old: float, new: Any) -> bytes | str:
    """Resistance on top, to six digits or more: sums of the same resistance differ in their last."""
    if isinstance(new, np.ndarray):
        return (new - old).astype(np.float32).tobytes()
    return f"{new - old:.6g}"
