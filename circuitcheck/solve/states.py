"""How states follow currents: relays in milliseconds, fuses in seconds and only one way."""

from __future__ import annotations

from collections.abc import Mapping

from circuitcheck.physics.branch import Threshold


def next_states(
    thresholds: Mapping[str, Threshold], states: Mapping[str, bool], amps: Mapping[str, float]
) -> dict[str, bool]:
    """The states after one look at the currents [A] of the watched branches.

    Relays and inputs move first, all together. Only when they are at rest does a fuse blow: of
    those over their limit, the one that is furthest over it. A branch that is not there carries
    nothing.
    """
    flow = {name: amps.get(one.watch, 0.0) for name, one in thresholds.items()}
    after = {
        name: states[name] if one.latching else one.next_state(states[name], flow[name])
        for name, one in thresholds.items()
    }
    if after != dict(states):
        return after
    over = {
        name: abs(flow[name]) / one.on_amps
        for name, one in thresholds.items()
        if one.latching and not states[name] and one.next_state(False, flow[name])
    }
    if over:
        # Of equals the last: a lead's fuse comes after those of the vehicle.
        farthest = max(over.values())
        after[[name for name in over if over[name] >= 0.999 * farthest][-1]] = True
    return after
