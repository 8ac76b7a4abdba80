"""What every kind of part owes: pure fault modes, names of their own, words, weights."""

import copy
import math

import pytest

from circuitcheck.circuit.circuit import Circuit
from circuitcheck.parts import KINDS
from circuitcheck.parts.part import Situation
from circuitcheck.parts.wire import Wire
from circuitcheck.physics.branch import ALWAYS, Conductor, Source

RATED = {"volts": "13 V", "amps": "15 A", "rpm": "2600 rpm"}
STAGES = {
    "low": {"closes": "92 degC", "opens": "87 degC"},
    "high": {"closes": "99 degC", "opens": "94 degC"},
}
SAMPLES = {
    "battery": [{}],
    "plug": [{"cavities": 3}],
    "diode": [{}],
    "fuse": [{"rating": "30 A"}, {"rating": "10 A", "ohms": "8 mohm", "plug": "no"}],
    "ground": [{}],
    "ignition": [{}],
    "lamp": [{"watts": "5 W"}],
    "module": [
        {
            "inputs": {
                "control": {"between": ["15", "31"], "ohms": 1000, "on_at": "7 V", "off_at": "5 V"},
                "warm": {"between": ["S", "31"], "ohms": 2000, "on_at": "6 V", "off_at": "4 V"},
            },
            "outputs": {
                "slow": {"between": ["30", "L"], "closed_when": ["not control", "warm"]},
                "fast": {"between": ["30", "H"], "closed_when": ["control and not warm"]},
            },
        }
    ],
    "motor": [{"rated": RATED, "winding": "0.18 ohm"}, {"rated": RATED, "locked": "72 A"}],
    "relay": [
        {"contacts": "make"},
        {"contacts": "break", "across_coil": "resistor"},
        {"contacts": "change-over", "across_coil": "diode"},
    ],
    "resistor": [{"ohms": 0.4}, {"ohms": 0.4, "cut_out": {"opens": "180 degC"}}],
    "splice": [{"wires": 4}],
    "switch": [
        {
            "at_rest": "off",
            "positions": {"off": [], "low": [["B", "1"]], "high": [["B", "1"], ["B", "2"]]},
        }
    ],
    "thermoswitch": [{"low": STAGES["low"]}, STAGES],
}


def made(kind, fields):
    return KINDS[kind].model_validate({"kind": kind, **fields})


PARTS = [
    (kind, number, made(kind, fields))
    for kind, many in SAMPLES.items()
    for number, fields in enumerate(many)
]
each_part = pytest.mark.parametrize(
    ("kind", "part"), [(k, p) for k, _, p in PARTS], ids=[f"{k}-{n}" for k, n, _ in PARTS]
)
WIRE = Wire.model_validate({"from": "F1.out", "to": "S1.2", "size": "4 mm2", "length": "1.8 m"})
SITUATIONS = [
    Situation(),
    Situation(ignition="on", running=True, engine=125.0),
    Situation(battery_connected=False, positions={"P1": "high"}),
]


def positions_that_exist(part, situation):
    """A hand position only where the part knows it."""
    known = getattr(part, "positions", {"high": ()})
    return situation if "high" in known or not situation.positions else Situation()


def cases(part):
    """Every fault mode with sound branches that it may meet and values over its range."""
    for situation in SITUATIONS:
        branches = part.branches("P1", positions_that_exist(part, situation))
        for fault in part.all_faults("P1"):
            yield from ((fault, branches, value) for value in values(fault))


def wire_cases():
    for fault in WIRE.faults("W1", "G1.+"):
        yield from ((fault, {"W1": WIRE.branch()}, value) for value in values(fault))


def values(fault):
    one = fault.severity
    return (one.low, one.typical, one.high) if one else (0.0,)


def test_every_kind_has_a_sample_here():
    assert set(SAMPLES) == set(KINDS), "add a sample of the new kind to SAMPLES"


@each_part
def test_the_samples_are_right_by_their_own_rules(kind, part):
    assert part.check() == []
    assert part.kind == kind
    assert part.letters
    assert part.summary


class TestPurity:
    @each_part
    def test_the_sound_branches_stay_as_they_were(self, kind, part):
        for fault, branches, value in cases(part):
            before = copy.deepcopy(branches)
            fault.change(branches, value)
            assert branches == before, fault.spec

    def test_those_of_a_wire_too(self):
        for fault, branches, value in wire_cases():
            before = copy.deepcopy(branches)
            fault.change(branches, value)
            assert branches == before, fault.spec

    @each_part
    def test_asked_twice_it_answers_the_same(self, kind, part):
        for fault, branches, value in cases(part):
            assert fault.change(branches, value) == fault.change(branches, value), fault.spec

    @each_part
    def test_it_touches_only_its_own_part(self, kind, part):
        nodes = {*part.nodes("P1"), "P1:middle", "P1:link", "chassis"}
        for fault, branches, value in cases(part):
            stranger = {"stranger": Conductor("x", "y", 1.0)}
            change = fault.change({**branches, **stranger}, value)
            assert "stranger" not in change, fault.spec
            assert all(key.startswith("P1") for key in change), fault.spec
            ends = {n for one in change.values() if one is not None for n in (one.tail, one.head)}
            assert ends <= nodes, fault.spec

    @each_part
    def test_the_circuit_that_is_changed_stays_sound(self, kind, part):
        for fault, branches, value in cases(part):
            sound = Circuit(dict(branches), {}, "0")
            kept = dict(sound.branches)
            broken = sound.changed(fault.change(sound.branches, value))
            assert sound.branches == kept, fault.spec
            assert all(one is not None for one in broken.branches.values()), fault.spec

    @each_part
    def test_the_fault_can_be_seen_in_some_situation(self, kind, part):
        """Nothing is a fault that changes nothing, hot or cold, on or off."""
        seen = {fault.spec: False for fault in part.all_faults("P1")}
        for fault, branches, value in cases(part):
            change = fault.change(branches, value)
            seen[fault.spec] |= any(branches.get(key) != one for key, one in change.items())
        assert all(seen.values()), [spec for spec, one in seen.items() if not one]


class TestMissingBranches:
    """A pulled fuse cannot fail any further: no change may speak of what is not there."""

    @each_part
    def test_only_additions_are_left(self, kind, part):
        for fault, _, value in cases(part):
            for key, one in fault.change({}, value).items():
                assert isinstance(one, Conductor), (fault.spec, key)
                assert one.closed_when == ALWAYS, (fault.spec, key)
                assert 0 < one.ohm < math.inf, (fault.spec, key)

    def test_only_shorts_are_left_of_a_wire(self):
        left = {f.mode: f.change({}, v) for f, _, v in wire_cases()}
        assert left["open"] == left["high resistance"] == {}
        assert all(len(left[f"short to {what}"]) == 1 for what in ("ground", "supply"))

    @each_part
    def test_one_branch_missing_does_not_stop_the_others(self, kind, part):
        for fault, branches, value in cases(part):
            whole = fault.change(branches, value)
            for gone in branches:
                left = {key: one for key, one in branches.items() if key != gone}
                change = fault.change(left, value)
                others = {key: one for key, one in whole.items() if key != gone}
                assert {k: v for k, v in change.items() if k != gone} == others, fault.spec
                assert change.get(gone, "nothing") is not None, fault.spec


class TestNames:
    @each_part
    def test_specs_are_unique(self, kind, part):
        specs = [fault.spec for fault in part.all_faults("P1")]
        assert len(specs) == len(set(specs))
        assert specs

    def test_specs_of_a_wire_are_unique(self):
        specs = [fault.spec for fault in WIRE.faults("W1", "G1.+")]
        assert len(specs) == len(set(specs)) == 5

    @each_part
    def test_words_remedy_and_source_are_given(self, kind, part):
        for fault in part.all_faults("P1"):
            for text in (fault.words, fault.remedy, fault.source, fault.mode):
                assert text.strip() == text, fault.spec
                assert len(text) > 3, fault.spec
            assert "P1" in fault.words, fault.spec
            assert fault.where == "P1" or fault.where.startswith("P1."), fault.spec
            assert "=" not in fault.spec
            assert "+" not in fault.mode

    @each_part
    def test_what_comes_and_goes_is_while_it_is_there_a_lasting_fault(self, kind, part):
        known = part.all_faults("P1")
        lasting = {fault.spec: fault for fault in known if not fault.while_there}
        for fault in known:
            assert ("comes and goes" in fault.mode) == bool(fault.while_there), fault.spec
            if fault.while_there:
                other = lasting[f"{fault.where} {fault.while_there}"]
                assert other.change is fault.change, fault.spec

    @each_part
    def test_weights_and_ranges_are_positive(self, kind, part):
        for fault in part.all_faults("P1"):
            assert fault.weight > 0, fault.spec
            if fault.severity:
                one = fault.severity
                assert 0 < one.low < one.typical < one.high, fault.spec
                assert one.unit, fault.spec


class TestWhatTheyDo:
    def test_high_resistance_comes_on_top(self):
        for fault, branches, value in wire_cases():
            if fault.mode == "high resistance":
                assert fault.change(branches, value)["W1"].ohm == pytest.approx(WIRE.ohm + value)

    def test_a_weak_battery_keeps_its_emf(self):
        battery = made("battery", {})
        branches = battery.branches("G1", Situation())
        weak = next(one for one in battery.faults("G1") if one.mode == "weak")
        cells = weak.change(branches, 0.5)["G1:cells"]
        assert isinstance(cells, Source)
        assert cells.emf == branches["G1:cells"].emf
        assert cells.ohm == pytest.approx(branches["G1:cells"].ohm + 0.5)

    @pytest.mark.parametrize("kind", ["relay", "thermoswitch", "switch", "module", "ignition"])
    def test_a_welded_contact_conducts_whatever_happens(self, kind):
        for _, _, part in [one for one in PARTS if one[0] == kind]:
            for fault, branches, value in cases(part):
                if "welded" in fault.mode:
                    (contact,) = fault.change(branches, value).values()
                    assert contact.closed_when == ALWAYS, fault.spec

    @pytest.mark.parametrize("kind", ["relay", "thermoswitch", "switch", "module", "ignition"])
    def test_a_contact_that_is_stuck_open_is_gone(self, kind):
        for _, _, part in [one for one in PARTS if one[0] == kind]:
            for fault, branches, value in cases(part):
                if "stuck open" in fault.mode:
                    assert set(fault.change(branches, value).values()) <= {None}, fault.spec

    def test_a_seized_motor_is_its_winding_and_an_open_one_nothing(self):
        motor = made("motor", SAMPLES["motor"][0])
        branches = motor.branches("M1", Situation())
        change = {f.mode: f.change(branches, 1.0)["M1:motor"] for f in motor.faults("M1")}
        assert (change["seized"].back_emf, change["seized"].resistance) == (0.0, 0.18)
        assert change["open"].strength == 0.0

    def test_only_what_can_carry_more_is_said_to_overload(self):
        """An open or a bad joint anywhere can only lower the current of its own part."""
        for kind, _, part in PARTS:
            for fault in part.all_faults("P1"):
                if fault.mode in ("open", "blown", "high resistance") or "stuck open" in fault.mode:
                    assert not fault.overloads, (kind, fault.spec)
                if "short" in fault.mode or "welded" in fault.mode:
                    assert fault.overloads, (kind, fault.spec)


# Typical cold resistance of type C fuses, mohm: 5 A 17; 10 A 7.6; 15 A 4.7; 20 A 3.3; 30 A 1.9.
# From memory, catalogue level, +-20 %.
@pytest.mark.parametrize(("rating", "mohm"), [(5, 17), (10, 7.6), (15, 4.7), (20, 3.3), (30, 1.9)])
def test_fuses_have_the_usual_cold_resistance(rating, mohm):
    fuse = made("fuse", {"rating": f"{rating} A"})
    element = fuse.inside("F1", Situation())["F1:element"]
    assert element.ohm * 1000 == pytest.approx(mohm, rel=0.2)
    # Drop at the rated current about 0.10 to 0.15 V, warm (from memory); cold it is less.
    assert 0.04 < element.ohm * rating < 0.15


# Coil of a 12 V plug-in relay 60 to 80 ohm, contact drop 5 mohm: open guide and data sheet, read.
# Pull-in at 60 to 65 % of the rated volts, common practice; release at 10 % or more, read.
def test_a_plain_relay_is_an_ordinary_one():
    relay = made("relay", {})
    assert 60 <= relay.coil <= 80
    assert relay.contact == pytest.approx(0.005)
    assert 0.60 <= relay.pick_up <= 0.65
    assert relay.drop_out >= 0.10


def test_a_motor_by_its_locked_current_is_the_one_by_its_winding():
    by_winding, by_locked = (made("motor", one) for one in SAMPLES["motor"])
    assert by_locked.resistance == pytest.approx(13 / 72)
    assert by_winding.resistance == 0.18
