"""Laws that hold for every circuit, on random ones.

Sources: currents at a node and Tellegen's theorem (B. D. H. Tellegen 1952), superposition,
reciprocity and Rayleigh's monotonicity (P. G. Doyle, J. L. Snell, *Random Walks and Electric
Networks*, 1984), the sum of R. M. Foster (1949), one operating point (R. J. Duffin 1947): all from
memory. ``networkx.resistance_distance`` is an outside check.
"""

import dataclasses

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.physics.branch import Conductor, Source
from circuitcheck.physics.diode import Junction
from circuitcheck.physics.lamp import Filament
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.point import solve_point

laws = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])

ohms = st.floats(-3.0, 2.0).map(lambda exponent: 10.0**exponent)
volts = st.floats(-28.0, 28.0)


def conductor(tail, head, draw):
    return Conductor(tail, head, draw(ohms))


def source(tail, head, draw):
    return Source(tail, head, draw(volts), draw(st.floats(0.005, 2.0)))


def motor(tail, head, draw):
    rated = draw(st.floats(9.0, 28.0))
    amps = draw(st.floats(1.0, 25.0))
    share = draw(st.floats(0.05, 0.8))
    return FanMotor.from_rated_point(
        tail,
        head,
        volts=rated,
        amps=amps,
        rpm=draw(st.floats(500.0, 4000.0)),
        resistance=share * rated / amps,
        friction_share=draw(st.floats(0.0, 0.5)),
    )


def lamp(tail, head, draw):
    return Filament(tail, head, draw(st.sampled_from([6.0, 12.0, 24.0])), draw(st.floats(0.1, 5.0)))


def diode(tail, head, draw):
    return Junction(tail, head, draw(st.floats(0.2, 1.0)), draw(st.floats(0.02, 1.0)))


EVERYTHING = (conductor, source, motor, lamp, diode)
NOT_LINEAR = (motor, lamp, diode)


@st.composite
def circuits(draw, kinds=EVERYTHING, tree=(conductor,), sources=1, most=12):
    """Connected circuits; the branches of a spanning tree are of the kinds in ``tree``."""
    size = draw(st.integers(3, most))
    names = [str(number) for number in range(size)]
    branches = {}

    def add(kind, tail, head):
        branches[f"{kind.__name__} {len(branches)}"] = kind(tail, head, draw)

    for number in range(1, size):
        kind = draw(st.sampled_from(tree))
        ends = [names[number], names[draw(st.integers(0, number - 1))]]
        add(kind, *(ends if draw(st.booleans()) else ends[::-1]))
    extra = [
        *(source for _ in range(sources)),
        *draw(st.lists(st.sampled_from(kinds), max_size=size + 4)),
    ]
    for kind in extra:
        tail = draw(st.integers(0, size - 1))
        head = (tail + draw(st.integers(1, size - 1))) % size
        add(kind, names[tail], names[head])
    return Circuit(branches, {}, "0")


resistive = circuits(kinds=(conductor,), sources=0)
linear = circuits(kinds=(conductor, source), sources=2)
hung_on_anything = circuits(tree=EVERYTHING)


def left_over(circuit, point):
    """Current that does not add up, at the worst node [A]."""
    total = dict.fromkeys(circuit.nodes, 0.0)
    for key, one in circuit.branches.items():
        total[one.tail] += point.amps[key]
        total[one.head] -= point.amps[key]
    return max(abs(amps) for amps in total.values())


def largest(point):
    return max(1.0, *(abs(amps) for amps in point.amps.values()))


class TestCurrents:
    @laws
    @given(circuits())
    def test_sum_to_zero_at_every_node(self, circuit):
        point = solve_point(circuit)
        assert left_over(circuit, point) < 1e-8 * largest(point)

    @laws
    @given(hung_on_anything)
    def test_also_where_a_node_hangs_on_a_diode_a_lamp_or_a_motor(self, circuit):
        point = solve_point(circuit)
        assert point.floating == frozenset()
        assert left_over(circuit, point) < 1e-8 * largest(point)

    @laws
    @given(circuits())
    def test_each_branch_obeys_its_own_law(self, circuit):
        point = solve_point(circuit)
        for key, one in circuit.branches.items():
            across = point.between(one.tail, one.head)
            if isinstance(one, Conductor):
                assert point.amps[key] * one.ohm == pytest.approx(across, abs=1e-9)
            elif isinstance(one, Source):
                assert one.emf + point.amps[key] * one.ohm == pytest.approx(across, abs=1e-9)


class TestPower:
    @laws
    @given(circuits())
    def test_what_sources_give_is_what_the_rest_takes(self, circuit):
        point = solve_point(circuit)
        given_watts = taken = 0.0
        for key, one in circuit.branches.items():
            amps, across = point.amps[key], point.between(one.tail, one.head)
            if isinstance(one, Source):
                given_watts += -one.emf * amps
                taken += amps**2 * one.ohm
            elif isinstance(one, Conductor):
                taken += amps**2 * one.ohm
            elif isinstance(one, FanMotor):
                # Heat in the winding and power on the shaft, not volts times amps.
                turning = abs(float(FanMotor.speed(np.array(one.values), np.array(across))))
                taken += amps**2 * one.resistance
                taken += (one.fan * turning**2 + one.friction) * turning
            else:
                taken += across * amps
        assert given_watts == pytest.approx(taken, rel=1e-6, abs=1e-5)

    @laws
    @given(hung_on_anything)
    def test_nothing_but_a_source_gives_power(self, circuit):
        point = solve_point(circuit)
        for key, one in circuit.branches.items():
            if not isinstance(one, Source):
                assert point.amps[key] * point.between(one.tail, one.head) >= -1e-9, key

    @laws
    @given(hung_on_anything)
    def test_without_emf_nothing_flows(self, circuit):
        dead = {
            key: Source(one.tail, one.head, 0.0, one.ohm)
            for key, one in circuit.branches.items()
            if isinstance(one, Source)
        }
        point = solve_point(circuit.changed(dead))
        assert max(abs(one) for one in point.volts.values()) < 1e-9


class TestOneOperatingPoint:
    @laws
    @given(circuits(), st.integers(0, 2**32 - 1))
    def test_from_any_start(self, circuit, seed):
        draw = np.random.default_rng(seed)
        usual = solve_point(circuit)
        for scale in (1.0, 30.0, 1000.0):
            start = scale * draw.uniform(-1, 1, len(circuit.nodes))
            other = solve_point(circuit, start=start)
            for node, expected in usual.volts.items():
                assert other.volts[node] == pytest.approx(expected, abs=1e-6)

    @laws
    @given(hung_on_anything, st.integers(0, 2**32 - 1))
    def test_the_currents_too_where_a_node_hangs_on_a_curve(self, circuit, seed):
        """Volts behind a blocking diode are soft (1e-8 S); currents are not."""
        usual = solve_point(circuit)
        start = np.random.default_rng(seed).uniform(-30, 30, len(circuit.nodes))
        other = solve_point(circuit, start=start)
        for key, expected in usual.amps.items():
            assert other.amps[key] == pytest.approx(expected, rel=1e-6, abs=1e-6)

    @laws
    @given(circuits(), st.randoms(use_true_random=False))
    def test_names_and_order_do_not_matter(self, circuit, shuffle):
        nodes = list(circuit.nodes)
        names = [f"n{number}" for number in range(len(nodes))]
        shuffle.shuffle(names)
        rename = dict(zip(nodes, names, strict=True))
        items = list(circuit.branches.items())
        shuffle.shuffle(items)
        renamed = {f"b{i}": moved(one, rename) for i, (_, one) in enumerate(items)}
        ours, theirs = solve_point(circuit), solve_point(Circuit(renamed, {}, rename["0"]))
        for node, expected in ours.volts.items():
            assert theirs.volts[rename[node]] == pytest.approx(expected, abs=1e-6)

    @laws
    @given(circuits(), st.data())
    def test_another_reference_only_shifts_the_volts(self, circuit, data):
        other = data.draw(st.sampled_from(circuit.nodes))
        ours = solve_point(circuit)
        theirs = solve_point(Circuit(circuit.branches, {}, other))
        for node in circuit.nodes:
            shifted = theirs.volts[node] - theirs.volts["0"]
            assert shifted == pytest.approx(ours.volts[node], abs=1e-6)


def moved(branch, rename):
    return dataclasses.replace(branch, tail=rename[branch.tail], head=rename[branch.head])


def input_resistance(circuit, one, other):
    """Ohms between two nodes, by one ampere sent through."""
    probe = Source(one, other, 1e6, 1e6)  # as good as a current source of 1 A; taken off below
    point = solve_point(Circuit({**circuit.branches, "probe": probe}, {}, other))
    return point.volts[one] / -point.amps["probe"]


class TestRayleigh:
    """For resistances only. With curves a network may do the opposite (J. E. Cohen, P. Horowitz,
    *Paradoxical behaviour of mechanical and electrical networks*, Nature 352, 1991; from memory).
    """

    @laws
    @given(resistive, st.data())
    def test_raising_any_resistance_never_lowers_the_input_resistance(self, circuit, data):
        one, other = data.draw(st.permutations(circuit.nodes))[:2]
        key = data.draw(st.sampled_from(sorted(circuit.branches)))
        factor = data.draw(st.floats(1.0, 1e4))
        raised = {
            key: Conductor(
                circuit.branches[key].tail,
                circuit.branches[key].head,
                circuit.branches[key].ohm * factor,
            )
        }
        before = input_resistance(circuit, one, other)
        after = input_resistance(circuit.changed(raised), one, other)
        assert after >= before * (1 - 1e-9)

    @laws
    @given(resistive, st.data())
    def test_nor_raises_the_current_of_the_one_source(self, circuit, data):
        one, other = data.draw(st.permutations(circuit.nodes))[:2]
        key = data.draw(st.sampled_from(sorted(circuit.branches)))
        fed = circuit.changed({"battery": Source(one, other, 12.6, 0.012)})
        old = fed.branches[key]
        worse = {key: Conductor(old.tail, old.head, old.ohm + data.draw(st.floats(0.0, 100.0)))}
        amps = [solve_point(c).amps["battery"] for c in (fed, fed.changed(worse))]
        assert abs(amps[1]) <= abs(amps[0]) * (1 + 1e-9) + 1e-9


class TestLinear:
    @laws
    @given(linear)
    def test_superposition(self, circuit):
        sources = [key for key, one in circuit.branches.items() if isinstance(one, Source)]
        total = dict.fromkeys(circuit.nodes, 0.0)
        for alone in sources:
            only = {key: silent(circuit.branches[key]) for key in sources if key != alone}
            for node, one in solve_point(circuit.changed(only)).volts.items():
                total[node] += one
        for node, expected in solve_point(circuit).volts.items():
            assert total[node] == pytest.approx(expected, abs=1e-7)

    @laws
    @given(linear)
    def test_reciprocity(self, circuit):
        """An emf in one branch drives in another the current that it would from there."""
        sources = [key for key, one in circuit.branches.items() if isinstance(one, Source)][:2]
        dead = circuit.changed(
            {key: silent(one) for key, one in circuit.branches.items() if isinstance(one, Source)}
        )

        def driven(by, seen):
            one = circuit.branches[by]
            emf = {by: Source(one.tail, one.head, 10.0, one.ohm)}
            return solve_point(dead.changed(emf)).amps[seen]

        first, second = sources
        assert driven(first, second) == pytest.approx(driven(second, first), rel=1e-6, abs=1e-7)

    @laws
    @given(linear, st.floats(-5.0, 5.0))
    def test_twice_the_emf_twice_the_volts(self, circuit, factor):
        more = {
            key: Source(one.tail, one.head, factor * one.emf, one.ohm)
            for key, one in circuit.branches.items()
            if isinstance(one, Source)
        }
        ours, scaled = solve_point(circuit).volts, solve_point(circuit.changed(more)).volts
        for node, one in ours.items():
            assert scaled[node] == pytest.approx(factor * one, abs=1e-7)


def silent(one):
    return Source(one.tail, one.head, 0.0, one.ohm)


def as_graph(circuit):
    graph = nx.MultiGraph()
    for key, one in circuit.branches.items():
        graph.add_edge(one.tail, one.head, key=key, ohm=one.ohm)
    return graph


class TestOutside:
    @laws
    @given(resistive, st.data())
    def test_networkx_finds_the_same_resistance(self, circuit, data):
        one, other = data.draw(st.permutations(circuit.nodes))[:2]
        theirs = nx.resistance_distance(as_graph(circuit), one, other, weight="ohm")
        assert input_resistance(circuit, one, other) == pytest.approx(theirs, rel=1e-6)

    @settings(laws, max_examples=40)
    @given(circuits(kinds=(conductor,), sources=0, most=8))
    def test_sum_of_foster(self, circuit):
        """Over all branches, the resistance seen across each over its own adds up to n - 1."""
        total = sum(
            input_resistance(circuit, one.tail, one.head) / one.ohm for one in circuit.branches.values()
        )
        assert total == pytest.approx(len(circuit.nodes) - 1, rel=1e-6)
