"""A third opinion on an operating point: nodal equations in mpmath's arithmetic of fifty digits.

Where the sweep and the plain solver differ in the ninth digit, neither can say which of them is off. Nothing
of theirs is used here: Kirchhoff's currents are added up branch by branch, the matrix goes through Gauss's
elimination, all numbers being mpmath's, and the curves are written as a textbook has them: a motor's two equations
(``V = I R + Ke w``, ``Ke I = k w**2 + T0``), a lamp's power law, a diode's two lines. Newton's method begins
at the volts it is given and ends when its step is below 1e-20 V, so that nothing of them is left. What
is taken as told is the states of the relays and fuses.
"""

from dataclasses import dataclass

import mpmath
from mpmath import mp, mpf

from circuitcheck.circuit.chosen import combined
from circuitcheck.circuit.circuit import conducts
from circuitcheck.expect.expected import bench_for
from circuitcheck.expect.service import blown_in_service
from circuitcheck.joined import Joined
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.diode import LEAKAGE, Junction
from circuitcheck.physics.lamp import EXPONENT, HOT_OVER_COLD, Filament
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.point import OperatingPoint, solve_point

DIGITS = 50
LAST_STEP = mpf("1e-20")
"""A step below this is the last [V]: what it leaves is of the order of its square."""
ROUNDS = 60


@dataclass(frozen=True)
class ThirdPoint(OperatingPoint):
    """An operating point with volts and amperes of fifty digits."""

    def between(self, tail, head):
        """Volts from one node to another, rounded only now [V]."""
        with mp.workdps(DIGITS):
            return float(self.volts[tail] - self.volts[head])


def third_opinion(circuit, point):
    """The operating point of a circuit in the states of another, with that one's volts to begin from."""
    live = {key: one for key, one in circuit.branches.items() if conducts(one, point.states)}
    with mp.workdps(DIGITS):
        level = _levels(circuit, live)
        volts = {node: mpf(point.volts[node]) - mpf(point.volts[level[node]]) for node in circuit.nodes}
        free = {node: n for n, node in enumerate(one for one in circuit.nodes if level[one] != one)}
        for _ in range(ROUNDS):
            step = _step(live, free, volts)
            volts |= {node: volts[node] + step[n] for node, n in free.items()}
            if max(map(abs, step), default=mpf(0)) < LAST_STEP:
                break
        else:
            raise ArithmeticError("no rest in fifty digits")
        amps = dict.fromkeys(circuit.branches, mpf(0))
        amps |= {key: _drawn(one, volts[one.tail] - volts[one.head])[0] for key, one in live.items()}
    return ThirdPoint(volts, amps, point.states, point.floating)


def metered(circuit, reader):
    """A circuit with the meter of a reading in place."""
    meter = {key: one for key, one in reader.meter().items() if key not in circuit.branches}
    return circuit.changed(meter) if meter else circuit


def one_reading(harness, test, case, label):
    """The circuit of a case with the meter of one reading in place, and the reader."""
    bench = bench_for(harness, harness.tests[test])
    change = combined(case, bench.circuit.branches, bench.setup.swap)
    (blown,) = blown_in_service(harness, [lambda branches: combined(case, branches)])
    place = [name for name, _ in bench.observations].index(label)
    (station,) = [one for one in bench.stations if place in dict(one.readers)]
    reader = dict(station.readers)[place]
    return metered(station.circuit.changed(station.carried(change)).after(blown), reader), reader


def third_reading(harness, test, case, label):
    """One reading under some faults, in fifty digits until it is read."""
    circuit, reader = one_reading(harness, test, case, label)
    return float(reader.value_at(circuit, third_opinion(circuit, solve_point(circuit))))


def _levels(circuit, live):
    """For each node the one that its island's volts are counted from: the reference, or its first."""
    joined = Joined((one.tail, one.head) for one in live.values())
    first = {}
    for node in circuit.nodes:  # the reference comes first
        first.setdefault(joined.root(node), node)
    return {node: first[joined.root(node)] for node in circuit.nodes}


def _step(live, free, volts):
    """Newton's step of the free nodes [V]."""
    matrix, missing = [{} for _ in free], [mpf(0)] * len(free)
    for one in live.values():
        amps, slope = _drawn(one, volts[one.tail] - volts[one.head])
        ends = free.get(one.tail), free.get(one.head)
        for end, other, sign in ((*ends, 1), (*reversed(ends), -1)):
            if end is None or one.tail == one.head:
                continue
            missing[end] -= sign * amps
            matrix[end][end] = matrix[end].get(end, 0) + slope
            if other is not None:
                matrix[end][other] = matrix[end].get(other, 0) - slope
    return _solved(matrix, missing)


def _solved(matrix, right):
    """Gauss's elimination, the rows with the fewest entries first; fifty digits need no other pivots.

    :param matrix: for each row its entries by column; symmetric, and used up
    """
    left, steps = set(range(len(matrix))), []
    while left:
        k = min(left, key=lambda row: len(matrix[row]))
        left.remove(k)
        pivot = matrix[k].pop(k)
        for row in matrix[k]:
            share = matrix[row].pop(k) / pivot
            right[row] -= share * right[k]
            for column, value in matrix[k].items():
                matrix[row][column] = matrix[row].get(column, 0) - share * value
        steps.append((k, pivot))
    found = [mpf(0)] * len(matrix)
    for k, pivot in reversed(steps):
        found[k] = (right[k] - sum(value * found[column] for column, value in matrix[k].items())) / pivot
    return found


def _drawn(branch, volts):
    """Current through a branch [A] and its slope [S] at the volts across it."""
    if isinstance(branch, Conductor):
        return volts / mpf(branch.ohm), 1 / mpf(branch.ohm)
    if isinstance(branch, Source):
        return (volts - mpf(branch.emf)) / mpf(branch.ohm), 1 / mpf(branch.ohm)
    amps, slope = _LAWS[type(branch)](branch, abs(volts) if type(branch) is not Junction else volts)
    if type(branch) is not Junction and volts < 0:
        amps = -amps
    return mpf(branch.strength) * amps, mpf(branch.strength) * slope


def _motor(motor, volts):
    """Of a motor at volts without a sign; held, it is its winding."""
    r, ke = mpf(motor.resistance), mpf(motor.back_emf)
    k, friction = mpf(motor.fan), mpf(motor.friction)
    if not ke or ke * volts / r <= friction:
        return volts / r, 1 / r
    # Ke (V - Ke w) / R = k w^2 + T0 for the speed w; and its derivative by V.
    half = ke**2 / r
    w = (
        (mpmath.sqrt(half**2 + 4 * k * (ke * volts / r - friction)) - half) / (2 * k)
        if k
        else ((ke * volts / r - friction) / half)
    )
    return (volts - ke * w) / r, (1 - ke * (ke / r) / (half + 2 * k * w)) / r


def _lamp(lamp, volts):
    """Of a lamp at volts without a sign; where its filament would be colder than the room, that cold."""
    v0, i0, power = mpf(lamp.rated_volts), mpf(lamp.rated_amps), mpf(EXPONENT)
    cold = mpf(HOT_OVER_COLD) * i0 / v0
    hot = i0 * (volts / v0) ** power if volts else mpf(0)
    return (volts * cold, cold) if volts * cold <= hot else (hot, power * hot / volts)


def _diode(diode, volts):
    """Of a diode."""
    leak, r, over = mpf(LEAKAGE), mpf(diode.resistance), volts - mpf(diode.drop)
    return (leak * volts + over / r, leak + 1 / r) if over > 0 else (leak * volts, leak)


_LAWS = {FanMotor: _motor, Filament: _lamp, Junction: _diode}
