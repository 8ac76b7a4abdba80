"""States that keep their history: switch, relay, module, fuse; what buzzes and what floats."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.parts import KINDS
from circuitcheck.parts.part import Situation
from circuitcheck.physics.branch import Conductor, Source, Threshold, holds
from circuitcheck.physics.motor import FanMotor
from circuitcheck.solve.changes import Changes
from circuitcheck.solve.network import Networks
from circuitcheck.solve.point import solve_point
from circuitcheck.solve.states import next_states
from circuitcheck.solve.sweep import settle


def made(kind, **fields):
    return KINDS[kind].model_validate({"kind": kind, "plug": "no", **fields})


def bench(volts, ohm=0.01, **extra):
    """Parts (name to part) and loose branches on one supply from ``+`` to ``0``."""
    branches = {"supply": Source("+", "0", volts, ohm)}
    thresholds = {}
    for name, one in extra.items():
        if isinstance(one, Conductor | Source | FanMotor):
            branches[name] = one
        else:
            branches.update(one.branches(name, Situation()))
            thresholds.update(one.thresholds(name))
    return Circuit(branches, thresholds, "0")


def join(one, other, ohm=0.001):
    return Conductor(one, other, ohm)


class TestThermoswitch:
    SWITCH = made("thermoswitch", low={"closes": "92 degC", "opens": "87 degC"},
                  high={"closes": "99 degC", "opens": "94 degC"})  # fmt: skip

    def closed(self, celsius, warming):
        situation = Situation(engine=celsius, warming=warming)
        return {key.partition(":")[2] for key in self.SWITCH.inside("S1", situation)}

    # Two stages with 5 to 10 K of hysteresis: common practice.
    @pytest.mark.parametrize(
        ("celsius", "warming", "contacts"),
        [
            (60, True, set()), (86, False, set()), (90, True, set()), (90, False, {"low"}),
            (92, True, {"low"}), (95, True, {"low"}), (95, False, {"low", "high"}),
            (93, False, {"low"}), (99, True, {"low", "high"}), (87, False, set()),
        ],
    )  # fmt: skip
    def test_between_the_two_temperatures_it_is_as_it_was(self, celsius, warming, contacts):
        assert self.closed(celsius, warming) == contacts

    @given(st.floats(-40, 140))
    def test_cooling_never_has_fewer_contacts_closed_than_warming(self, celsius):
        assert self.closed(celsius, True) <= self.closed(celsius, False)

    @given(st.booleans(), st.floats(-40, 140), st.floats(-40, 140))
    def test_hotter_never_opens(self, warming, one, other):
        low, high = sorted((one, other))
        assert self.closed(low, warming) <= self.closed(high, warming)

    @given(st.floats(-40, 140), st.booleans())
    def test_never_high_without_low(self, celsius, warming):
        assert self.closed(celsius, warming) != {"high"}


class TestRelay:
    RELAY = made("relay", contacts="change-over", coil="80 ohm", pick_up="60 %", drop_out="20 %")

    def on_bench(self, volts):
        return bench(volts, K1=self.RELAY, plus=join("+", "K1.86"), minus=join("K1.85", "0"),
                     feed=join("+", "K1.30"), make=Conductor("K1.87", "0", 10.0),
                     rest=Conductor("K1.87a", "0", 10.0))  # fmt: skip

    @pytest.mark.parametrize(
        ("volts", "was", "pulled_in"),
        [
            (12.0, False, True),  # rated
            (7.3, False, True),  # just above 60 % of 12 V
            (7.1, False, False),  # just below: stays out ...
            (7.1, True, True),  # ... but holds
            (2.5, True, True),  # just above 20 %
            (2.3, True, False),  # just below
            (0.0, True, False),
            (-12.0, False, True),  # a plain coil does not mind which way round
        ],
    )
    def test_it_remembers(self, volts, was, pulled_in):
        name = "K1 pulled in"
        circuit = self.on_bench(volts).after(frozenset({name}) if was else frozenset())
        point = solve_point(circuit)
        assert point.states[name] is pulled_in
        assert point.buzzing == ()
        carrying = {"make": pulled_in, "rest": not pulled_in}
        for branch, flows in carrying.items():
            assert (abs(point.amps[branch]) > 0.01) is (flows and abs(volts) > 0.2)

    @given(st.lists(st.floats(0, 0.2), max_size=30))
    def test_any_history_is_one_of_a_hysteresis(self, currents):
        """On after the last time it crossed the upper limit, unless it has been below the lower."""
        threshold = self.RELAY.thresholds("K1")["K1 pulled in"]
        state = False
        for place, amps in enumerate(currents):
            state = threshold.next_state(state, amps)
            decisive = [a for a in currents[: place + 1]
                        if a >= threshold.on_amps or a <= threshold.off_amps]  # fmt: skip
            assert state is bool(decisive and decisive[-1] >= threshold.on_amps)

    def test_an_open_coil_never_picks_up(self):
        circuit = self.on_bench(12.0).changed({"K1:coil": None})
        assert solve_point(circuit).states["K1 pulled in"] is False

    # Coil 75 ohm, not above 8 V, data sheet of a 12 V fan relay: read.
    def test_pick_up_by_the_data_sheet(self):
        relay = made("relay", coil="75 ohm", pick_up="66 %")
        limit = relay.thresholds("K1")["K1 pulled in"].on_amps * 75
        assert limit == pytest.approx(8.0, abs=0.1)


class TestModule:
    MODULE = made(
        "module",
        inputs={
            "supply": {"between": ["15", "31"], "ohms": "1 kohm", "on_at": "7 V", "off_at": "5 V"},
            "hot": {"between": ["S", "31"], "ohms": "2 kohm", "on_at": "6 V", "off_at": "4 V"},
        },
        outputs={
            "slow": {"between": ["30", "L"], "closed_when": ["not supply", "supply and not hot"]},
            "fast": {"between": ["30", "H"], "closed_when": ["supply and hot"]},
        },
    )

    def closed(self, supply_volts, hot_volts, blown=frozenset()):
        circuit = bench(12.0, A1=self.MODULE, feed=join("+", "A1.30"), minus=join("A1.31", "0"),
                        low=Conductor("A1.L", "0", 5.0), high=Conductor("A1.H", "0", 5.0),
                        control=Source("A1.15", "0", supply_volts, 0.1),
                        sensor=Source("A1.S", "0", hot_volts, 0.1))  # fmt: skip
        point = solve_point(circuit.after(blown))
        assert point.buzzing == ()
        return {name for name in ("low", "high") if point.amps[name] > 1.0}

    def test_at_rest_it_fails_safe(self):
        assert self.closed(0.0, 0.0) == {"low"}
        assert self.closed(0.0, 12.0) == {"low"}

    def test_with_its_supply_it_follows_the_sensor(self):
        assert self.closed(12.0, 0.0) == {"low"}
        assert self.closed(12.0, 12.0) == {"high"}

    def test_inputs_have_their_own_hysteresis(self):
        assert self.closed(12.0, 5.0) == {"low"}
        assert self.closed(12.0, 5.0, frozenset({"A1 hot on", "A1 supply on"})) == {"high"}

    def test_conditions_are_alternatives_of_conjunctions(self):
        branches = self.MODULE.inside("A1", Situation())
        for supply in (False, True):
            for hot in (False, True):
                states = {"A1 supply on": supply, "A1 hot on": hot}
                assert holds(branches["A1:slow"].closed_when, states) is (not supply or not hot)
                assert holds(branches["A1:fast"].closed_when, states) is (supply and hot)

    def test_without_its_inputs_it_is_at_rest(self):
        circuit = bench(12.0, A1=self.MODULE, feed=join("+", "A1.30"),
                        low=Conductor("A1.L", "0", 5.0))  # fmt: skip
        assert solve_point(circuit).amps["low"] > 1.0


class TestFuse:
    def on_bench(self, ohm, **more):
        return bench(12.0, F1=made("fuse", rating="10 A"), feed=join("+", "F1.in"),
                     load=Conductor("F1.out", "0", ohm), **more)  # fmt: skip

    def test_it_carries_its_rating(self):
        point = solve_point(self.on_bench(1.2))
        assert point.amps["load"] == pytest.approx(10, abs=0.2)
        assert point.states == {"F1 blown": False}

    # ISO 8820-3: opens within 50 s at 160 % of its rating; from memory.
    def test_it_opens_far_above_its_rating_and_stays_open(self):
        point = solve_point(self.on_bench(0.5))
        assert point.states == {"F1 blown": True}
        assert point.amps["load"] == 0
        assert point.buzzing == ()
        again = solve_point(self.on_bench(1000.0).after(frozenset({"F1 blown"})))
        assert again.amps["load"] == 0
        assert again.states == {"F1 blown": True}

    @given(st.floats(0.05, 5.0))
    def test_it_opens_at_its_limit_and_not_before(self, ohm):
        whole = self.on_bench(ohm)
        unfused = Circuit(whole.branches, {"F1 blown": Threshold("nothing", 1, 1)}, "0")
        amps = solve_point(unfused).amps["load"]
        assert solve_point(whole).states["F1 blown"] is (amps >= 16.0)

    def test_of_two_in_series_the_smaller_goes_first_and_saves_the_other(self):
        circuit = bench(12.0, F1=made("fuse", rating="10 A"), F2=made("fuse", rating="5 A"),
                        feed=join("+", "F1.in"), middle=join("F1.out", "F2.in"),
                        load=Conductor("F2.out", "0", 0.1))  # fmt: skip
        assert solve_point(circuit).states == {"F1 blown": False, "F2 blown": True}

    def test_a_latched_threshold_never_goes_back(self):
        fuse = Threshold("element", 16.0, 16.0, latching=True)
        assert fuse.next_state(False, 20.0)
        assert fuse.next_state(True, 0.0)

    def test_relays_move_before_fuses(self):
        """A relay that takes the load off in milliseconds spares the fuse its seconds."""
        thresholds = {"fuse": Threshold("f", 16.0, 16.0, latching=True),
                      "relay": Threshold("c", 0.1, 0.03)}  # fmt: skip
        sound = {"fuse": False, "relay": False}
        after = next_states(thresholds, sound, {"f": 50.0, "c": 0.2})
        assert after == {"fuse": False, "relay": True}
        both = {"fuse": True, "relay": True}
        assert next_states(thresholds, after, {"f": 50.0, "c": 0.2}) == both
        assert next_states(thresholds, sound, {}) == sound


class TestBuzzing:
    def own_break_contact(self, coil="80 ohm"):
        """The coil is fed through its own break contact: it can neither stay in nor out."""
        relay = made("relay", contacts="break", coil=coil)
        return bench(12.0, K1=relay, feed=join("+", "K1.30"), back=join("K1.87a", "K1.86"),
                     minus=join("K1.85", "0"))  # fmt: skip

    def test_a_relay_that_cuts_its_own_coil_buzzes(self):
        assert solve_point(self.own_break_contact()).buzzing == ("K1 pulled in",)

    @given(st.floats(10, 500), st.floats(1, 24))
    def test_it_ends_whatever_the_values(self, coil, volts):
        circuit = self.own_break_contact(f"{coil} ohm")
        circuit = circuit.changed({"supply": Source("+", "0", volts, 0.01)})
        point = solve_point(circuit)
        ring = 0.01 + 0.001 + 0.005 + 0.001 + 0.001  # supply, feed, contact, back, minus
        reaches = volts * coil / (coil + ring)
        assume(abs(reaches - 0.6 * 12.0) > 1e-6)
        assert bool(point.buzzing) is (reaches > 0.6 * 12.0)

    def test_the_sweep_says_that_it_buzzes(self):
        circuit = self.own_break_contact()
        changes = [{}, {"back": None}, {"feed": None}]
        settled = settle(networks := Networks(circuit), Changes.of(networks.wiring, changes), [])
        assert settled.buzzing.tolist() == [0]
        assert settled.unsure.tolist() == []
        assert sorted(row for group in settled.groups for row in group.rows.tolist()) == [1, 2]

    def ring(self, last):
        """K1's make contact feeds K2; K2's ``last`` contact feeds K1."""
        pin = {"break": "87a", "make": "87"}[last]
        return bench(12.0, K1=made("relay"), K2=made("relay", contacts=last),
                     feed1=join("+", "K1.30"), to2=join("K1.87", "K2.86"),
                     minus2=join("K2.85", "0"),
                     feed2=join("+", "K2.30"), to1=join(f"K2.{pin}", "K1.86"),
                     minus1=join("K1.85", "0"))  # fmt: skip

    def test_two_relays_that_chase_each_other(self):
        assert set(solve_point(self.ring("break")).buzzing) == {"K1 pulled in", "K2 pulled in"}

    def test_two_relays_that_hold_each_other_rest_as_they_began(self):
        both = frozenset({"K1 pulled in", "K2 pulled in"})
        circuit = self.ring("make")
        assert solve_point(circuit).states == dict.fromkeys(both, False)
        held = solve_point(circuit.after(both))
        assert held.states == dict.fromkeys(both, True)
        assert held.buzzing == ()

    def test_a_relay_that_holds_itself_does_not_buzz(self):
        circuit = bench(12.0, K1=made("relay"), feed=join("+", "K1.30"),
                        back=join("K1.87", "K1.86"), minus=join("K1.85", "0"),
                        start=Conductor("+", "K1.86", 1.0))  # fmt: skip
        point = solve_point(circuit)
        assert (point.states, point.buzzing) == ({"K1 pulled in": True}, ())


class TestFloating:
    def test_what_nothing_holds_is_reported(self):
        circuit = bench(12.0, load=Conductor("+", "0", 1.0), loose=Conductor("a", "b", 1.0),
                        other=Source("c", "d", 9.0, 1.0))  # fmt: skip
        point = solve_point(circuit)
        assert point.floating == {"a", "b", "c", "d"}
        assert point.amps["loose"] == 0
        assert point.between("c", "d") == pytest.approx(9.0)

    def test_a_contact_that_opens_lets_its_far_side_float(self):
        relay = made("relay")
        circuit = bench(12.0, K1=relay, feed=join("+", "K1.30"), tail=Conductor("K1.87", "x", 1.0))
        assert {"K1.87", "x"} <= solve_point(circuit).floating
        assert {"K1.30", "+"} & solve_point(circuit).floating == set()

    def test_points_without_any_branch_float(self):
        circuit = Circuit({"supply": Source("+", "0", 12.0, 1.0)}, {}, "0", points=("nowhere",))
        assert solve_point(circuit).floating == {"nowhere"}

    def test_an_open_motor_holds_nothing(self):
        motor = FanMotor("+", "x", 0.18, 0.04, 1e-5, 0.02, strength=0.0)
        circuit = bench(12.0, M1=motor, tail=Conductor("x", "y", 1.0))
        assert solve_point(circuit).floating == {"x", "y"}

    def test_an_infinite_resistance_is_an_open(self):
        circuit = bench(12.0, gap=Conductor("+", "x", float("inf")))
        assert solve_point(circuit).floating == {"x"}

    def test_a_meter_pulls_it_down(self):
        circuit = bench(12.0, tail=Conductor("x", "y", 1.0), meter=Conductor("y", "0", 10e6))
        point = solve_point(circuit)
        assert point.floating == frozenset()
        assert point.volts["x"] == 0

    def test_an_empty_circuit_is_at_rest(self):
        point = solve_point(Circuit({}, {}, "0"))
        assert (point.volts, point.amps, point.floating) == ({"0": 0.0}, {}, frozenset())
