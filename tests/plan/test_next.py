"""The next test on the shipped harnesses: safe, telling, and leading to the fault."""

import re

import pytest
from followed import follow, read

import circuitcheck
from circuitcheck.circuit.build import lead_keys
from circuitcheck.errors import ReadingsError
from circuitcheck.expect.bench import Bench
from circuitcheck.harness.readings import parse_readings
from circuitcheck.plan.candidates import candidates, tool_of
from circuitcheck.plan.jobs import unseen
from circuitcheck.plan.symptom import symptom_sheet
from circuitcheck.shipped import harness_files, readings_files


def closed(harness, setup):
    """A set-up with the contacts that its temperature closes, by the two limits of each."""
    engine = setup.engine
    stages = [one for part in harness.parts.values() if part.kind == "thermoswitch"
              for one in (part.low, part.high) if one]  # fmt: skip
    shut = [
        engine.celsius >= one.closes or (not engine.warming and engine.celsius > one.opens)
        for one in stages
    ]
    return repr((setup.model_copy(update={"engine": None}), shut))


each_harness = pytest.mark.parametrize("name", sorted(harness_files()))


@each_harness
def test_no_made_test_harms_a_sound_vehicle(name):
    """Common practice, no source: no bridge across the supply, no ohms on a live circuit."""
    harness = circuitcheck.load(name).harness
    made = [one for one in candidates(harness) if one.name not in harness.tests]
    assert len(made) > 5
    for one in made:
        point = Bench(harness, one.setup, ()).point({})
        assert not any("blown" in state and on for state, on in point.states.items()), one.name
        for key in lead_keys(one.setup):
            assert abs(point.amps.get(key, 0.0)) < 30, one.name
            assert one.lead is not None
            assert one.lead.fuse_a > abs(point.amps.get(key, 0.0))
        if any(observation.kind == "ohms" for _, observation in one.observations):
            assert one.setup.battery == "disconnected", one.name


@each_harness
def test_a_sheet_of_what_it_asks_for_can_be_read_back(name):
    loom = circuitcheck.load(name)
    advice = loom.next()
    assert not advice.done
    text = f"harness: {name}\n" + advice.test.to_write
    kinds = {one.sound.name: one.sound.kind for one in advice.test.readings}
    words = {"speed": "off", "lamp": "dark", "click": "silent", "fuse": "whole"}

    def filled(line):
        added = re.search(r"(volts|drop|amps|ohms|speed|lamp|click|fuse): .*read: \"-\"", line)
        kind = added[1] if added else kinds.get(line.strip().partition(":")[0], "")
        return re.sub(r': "-"(?=\}?$)', f": {words.get(kind, '0')}", line)

    sheet = parse_readings(loom.harness, "\n".join(map(filled, text.splitlines())))
    assert len(sheet.readings) == len(advice.test.readings)


@pytest.mark.parametrize("write", ["-", '"-"', "", "'-'", "\u2013", "-   # later"])
def test_half_of_the_lines_it_prints_can_stay_empty(write):
    """'Half a sheet is fine': of the proof's lines one is filled in, one line at a time."""
    loom = circuitcheck.load("twin-fan-switch")
    text = loom.prove(readings_files("twin-fan-switch")["slow-on-low"]).to_write
    assert text.count('"-"') > 5
    filled = [line for line in text.splitlines() if '"-"' in line and "speed" not in line]
    line = next(one for one in filled if re.match(r"    \S*(amps|volts|ground)", one))
    chosen = text.replace(line, line.replace('"-"', "0.3"))
    ends = r'"-"(?=$)' if "#" in write else '"-"'
    sheet = parse_readings(loom.harness, re.sub(ends, lambda _: write, chosen, flags=re.MULTILINE))
    assert [one.value for one in sheet.readings] == [0.3]


def test_an_untouched_sheet_says_that_nothing_was_taken():
    loom = circuitcheck.load("twin-fan-switch")
    with pytest.raises(ReadingsError, match="at least one reading that was taken"):
        parse_readings(loom.harness, loom.next().test.to_write)
    before = readings_files("twin-fan-switch")["slow-on-low"]
    after = parse_readings(loom.harness, loom.prove(before).to_write)
    assert after.put_right == loom.prove(before).repaired
    with pytest.raises(ReadingsError, match="at least one reading that was taken"):
        loom.prove(before, after)


@pytest.mark.parametrize(("name", "sheet"), [
    (name, path) for name in sorted(harness_files()) for path in list(readings_files(name).values())[:1]
])  # fmt: skip
def test_after_the_sample_readings_it_asks_for_little_more(name, sheet):
    """The samples hold every test of the harness; what is left is to part the last suspects."""
    loom = circuitcheck.load(name)
    advice = loom.next(sheet)
    assert advice.verdict is not None
    if not advice.done:
        taken = {(one.test, one.name) for one in loom.sheet(sheet).readings}
        assert not {(advice.test.name, one.sound.name) for one in advice.test.readings} & taken


def test_one_test_parts_a_blown_fuse_from_an_open_wire():
    loom = circuitcheck.load("first-fan")
    spec = next(one.spec for one in loom.faults() if one.spec.endswith("blown"))
    done, _ = follow(loom, spec)
    unit = next(one.replace for one in loom.faults() if one.spec == spec)
    assert done.verdict.suspects[0].replace == unit


def test_what_is_not_at_hand_is_not_asked_for():
    loom = circuitcheck.load("first-fan")
    advice = loom.next(tools=frozenset({"lamp", "leads"}))
    assert not advice.done
    for one in (advice.test, *advice.others):
        assert all(reading.sound.kind in ("lamp", "speed", "click", "fuse") for reading in one.readings)
    assert tool_of(advice.test.readings and loom.harness.tests and next(
        observation for candidate in loom._planner.candidates if candidate.name == advice.test.name
        for name, observation in candidate.observations
        if name == advice.test.readings[0].sound.name
    )) in ("lamp", "eyes")  # fmt: skip


def test_a_test_that_cannot_be_done_is_left_out():
    loom = circuitcheck.load("first-fan")
    first = loom.next().test.name
    again = loom.next(skip=frozenset({first}))
    assert first not in [one.name for one in (again.test, *again.others)]


def test_free_looks_come_before_anything_is_opened():
    """The blower is tried in another position of its switch before a plug is undone."""
    first = (
        circuitcheck.load("cabin-blower")
        .next(symptom_sheet(circuitcheck.load("cabin-blower").harness, "blower dead in position 2"))
        .test
    )
    assert first.minutes <= 2.0
    assert not first.access
    assert {one.sound.kind for one in first.readings} <= {"speed", "lamp", "click"}


def test_a_new_fuse_parts_a_blown_one_from_what_blew_it():
    """Common practice: it blows again where a motor is seized, and the fan runs where it was the fuse."""
    loom = circuitcheck.load("truck-24v")
    one = next(one for one in loom._planner.candidates if one.setup.swap == ["F2"])
    assert "spares" not in one.needs
    wanted = [(one, name, each) for name, each in one.observations if each.kind == "speed"]
    words = {spec: read(loom.harness, loom.fault(spec), wanted, {}).readings[0].word
             for spec in ("F2 blown", "M1 seized")}  # fmt: skip
    assert words == {"F2 blown": "fast", "M1 seized": "off"}


def test_the_back_of_a_fuse_parts_it_from_its_holder():
    loom = circuitcheck.load("first-fan")
    one = next(one for one in loom._planner.candidates if one.name == "relay-socket")
    wanted = [(one, name, each) for name, each in one.observations
              if name in ("volts F2.in/part G1.-", "volts F2.out/part G1.-")]  # fmt: skip
    volts = {spec: [reading.value > 6 for reading in read(loom.harness, loom.fault(spec), wanted, {}).readings]
             for spec in ("F2 blown", "F2.in open", "F2.out open")}  # fmt: skip
    assert volts == {
        "F2 blown": [True, False],
        "F2.in open": [False, False],
        "F2.out open": [True, True],
    }


def test_without_a_helper_nobody_listens_to_a_relay():
    loom = circuitcheck.load("first-fan")
    advice = loom.next(tools=frozenset({"meter", "leads"}))
    for one in (advice.test, *advice.others):
        assert all(reading.sound.kind != "click" for reading in one.readings)


def test_what_was_not_seen_to_run_is_said():
    loom = circuitcheck.load("twin-fan-switch")
    sheet = {"high-at-the-plug": {"left": "fast", "right": "slow", "right-ground": "3.9 V"},
             "feed-under-load": {"to-right": "0.2 V"}}  # fmt: skip
    said = unseen(loom._planner, loom.sheet(sheet))
    assert said == ["left fan slow", "right fan fast"]


KEYS = {"name", "title", "setup", "readings", "cautions", "lead", "minutes", "access", "gain_bits",
        "gain_per_minute"}  # fmt: skip


def test_the_json_of_next_and_plan_has_one_shape():
    """The shape that other programs were promised."""
    loom = circuitcheck.load("first-fan")
    told = loom.next().to_dict()
    assert set(told) == {"done", "why", "test", "others", "verdict"}
    node = loom.plan(depth=1).to_dict()["plan"]
    assert {"done", "why", "test"} <= set(node)
    for test in (told["test"], *told["others"], node["test"]):
        assert set(test) >= KEYS


def test_what_was_opened_for_a_reading_stays_open():
    """A probe at a plug behind the grille: it is off now, also for whoever comes back with the sheet."""
    loom = circuitcheck.load("twin-fan-switch")
    text = "harness: twin-fan-switch\nalso:\n"
    text += "  - {setup: {ignition: on}, volts: [X2.2a, G1.-], read: 0 V}\n"
    assert loom._planner.outlook(parse_readings(loom.harness, text)).opened == {"grille"}


class TestSymptom:
    def test_the_fan_named_is_dead_and_the_other_is_not(self):
        harness = circuitcheck.load("twin-fan-switch").harness
        sheet = symptom_sheet(harness, "Right fan dead on low")
        words = {one.name: one.word for one in sheet.readings}
        assert words == {"M2": "off", "M1": "runs"}
        assert sheet.setups["symptom"].setup.engine.celsius < 99  # its high stage closes at 99

    def test_a_position_of_a_switch(self):
        harness = circuitcheck.load("cabin-blower").harness
        positions = next(part.positions for part in harness.parts.values() if hasattr(part, "positions"))
        position = list(positions)[-1]
        sheet = symptom_sheet(harness, f"blower dead in position {position}")
        assert sheet.setups["symptom"].setup.switches

    @pytest.mark.parametrize(
        "text",
        [
            "hello",
            "right fan purple on low",
            "",
            "right fan",
            "middle fan dead on low",
            "right headlamp dead on low",
            "right fan not slow on low",
            "right fan dead on low, fast on high",
            "right fan only runs slow",
            "right fan dead on 7",
            "right fan slow and dead",
            "fuse keeps blowing",
            "F2 keeps blowing",
            "offside fan dead",
            "fans run with the ignition off",
            "right fan fine",
            "right fan fine on high",
            "right fan dead on high, fine on high",
            "right fan does not run well on low",
            "right fan no good on high",
            "dead fan, fine",
        ],
    )
    def test_what_is_not_understood_is_said(self, text):
        harness = circuitcheck.load("twin-fan-switch").harness
        with pytest.raises(ValueError, match=r"does not say|not understood") as caught:
            symptom_sheet(harness, text)
        assert "dead, not working, slow, fast, runs, never stops" in str(caught.value)

    @pytest.mark.parametrize(("text", "positions"), [
        ("blower only runs on 4", {"1": "off", "2": "off", "3": "off", "4": "runs"}),
        ("blower works on 4 only", {"1": "off", "2": "off", "3": "off", "4": "runs"}),
        ("blower runs only at full speed", {"1": "off", "2": "off", "3": "off", "4": "runs"}),
        ("blower dead only on 2", {"1": "runs", "2": "off", "3": "runs", "4": "runs"}),
        ("blower dead on 1 2 3", {"1": "off", "2": "off", "3": "off"}),
        ("blower dead on 1, 2 and 3", {"1": "off", "2": "off", "3": "off"}),
        ("Blower dead in positions 1-3.", {"1": "off", "2": "off", "3": "off"}),
        ("blower isn't working in 1 to 3", {"1": "off", "2": "off", "3": "off"}),
        ("blower never stops", {"off": "runs"}),
        ("no low speed", {"1": "off"}),
        ("blower dead on 1, fine on 2, 3 and 4", {"1": "off", "2": "runs", "3": "runs", "4": "runs"}),
        ("blower works fine on 4, dead on 1", {"1": "off", "4": "runs"}),
        ("blower dead but fine on 4", {"1": "off", "2": "off", "3": "off", "4": "runs"}),
    ])  # fmt: skip
    def test_every_position_that_is_said_counts(self, text, positions):
        sheet = symptom_sheet(circuitcheck.load("cabin-blower").harness, text)
        found = {sheet.setups[one.test].setup.switches.get("S1", "off"): one.word
                 for one in sheet.readings}  # fmt: skip
        assert found == positions

    def test_a_blower_that_runs_on_the_last_position_only_has_lost_its_resistors(self):
        """Common practice, no source: the last position goes past the pack."""
        loom = circuitcheck.load("cabin-blower")
        sheet = symptom_sheet(loom.harness, "blower runs only at full speed")
        verdict = loom.locate(sheet)
        assert verdict.suspects[0].replace == "resistor pack"

    def test_what_comes_and_goes_is_looked_at_twice(self):
        loom = circuitcheck.load("twin-fan-switch")
        verdict = loom.locate(symptom_sheet(loom.harness, "right fan sometimes dead on high"))
        assert all(one.spec.endswith("comes and goes") for one in verdict.suspects[:3])

    @pytest.mark.parametrize(("name", "text"), [
        ("cabin-blower", "blower runs on 4"), ("twin-fan-switch", "both fans run on high"),
    ])  # fmt: skip
    def test_a_symptom_alone_is_no_proof_of_sound_wiring(self, name, text):
        loom = circuitcheck.load(name)
        advice = loom.next(symptom_sheet(loom.harness, text))
        assert advice.verdict is None
        assert "sound as far as can be measured" not in advice.why

    def test_only_the_right_one_runs(self):
        harness = circuitcheck.load("twin-fan-switch").harness
        sheet = symptom_sheet(harness, "only the right fan runs on low")
        assert {one.name: one.word for one in sheet.readings} == {"M2": "runs", "M1": "off"}

    def test_a_negation_is_not_lost(self):
        harness = circuitcheck.load("twin-fan-switch").harness
        sheet = symptom_sheet(harness, "right fan doesn't run on low")
        assert {one.name: one.word for one in sheet.readings} == {"M2": "off", "M1": "runs"}

    @pytest.mark.parametrize("text", [
        "right fan dead on low, fine on high", "right fan dead, fine on high",
        "right-hand fan dead on low but runs fine at full speed", "right fan OK on high, dead on low",
    ])  # fmt: skip
    def test_where_it_is_fine_it_runs(self, text):
        harness = circuitcheck.load("twin-fan-switch").harness
        sheet = symptom_sheet(harness, text)
        found = {(sheet.setups[one.test].setup.engine.celsius > 99, one.name): one.word
                 for one in sheet.readings}  # fmt: skip
        assert found == {(False, "M1"): "runs", (False, "M2"): "off",
                         (True, "M1"): "runs", (True, "M2"): "runs"}  # fmt: skip

    @pytest.mark.parametrize("text", [
        "fans run with the ignition off", "fans keep running with the key off", "fans run after switching off",
    ])  # fmt: skip
    def test_a_fan_that_runs_without_the_key(self, text):
        """Common practice, no source: a relay's contacts have welded, or the ignition switch's."""
        loom = circuitcheck.load("twin-fan-three-relays")
        sheet = symptom_sheet(loom.harness, text)
        assert {sheet.setups[one.test].setup.ignition for one in sheet.readings} == {"off"}
        assert loom.locate(sheet).suspects[0].spec == "K1 30-87 welded"

    @pytest.mark.parametrize(
        "text", ["F4 keeps blowing", "blows fuse F4", "right fan dead on low, F4 keeps blowing"]
    )
    def test_a_fuse_that_blows_again_is_not_the_fault(self, text):
        """Common practice, no source: a motor that is stuck, or a wire that is chafed through."""
        loom = circuitcheck.load("twin-fan-three-relays")
        verdict = loom.locate(symptom_sheet(loom.harness, text))
        first = [one.spec for one in verdict.suspects if one.probability > 0.05]
        assert all(one == "M2 seized" or one.endswith(("welded", "short to ground")) for one in first)
        assert "M2 seized" in first

    def test_a_fuse_found_blown_may_be_all(self):
        loom = circuitcheck.load("twin-fan-three-relays")
        verdict = loom.locate(symptom_sheet(loom.harness, "F4 is blown"))
        assert "F4 blown" in [one.spec for one in verdict.suspects[:4]]

    def test_what_the_customer_looked_at_is_closed_again(self):
        loom = circuitcheck.load("twin-fan-three-relays")
        assert not loom._planner.outlook(symptom_sheet(loom.harness, "F4 keeps blowing")).opened

    def test_without_a_condition_it_is_the_one_in_which_the_fan_should_run(self):
        harness = circuitcheck.load("twin-fan-switch").harness
        sheet = symptom_sheet(harness, "both fans dead")
        assert {one.word for one in sheet.readings} == {"off"}
        assert sheet.setups["symptom"].setup.engine.celsius > 99


class TestPlan:
    def test_every_leaf_is_a_verdict_and_chances_add_up(self):
        plan = circuitcheck.load("first-fan").plan("fan dead on low")

        def walk(node):
            if "verdict" in node:
                assert node["verdict"]
                assert node["verdict"][0]["probability"] >= 0.02
                return
            assert sum(one["probability"] for one in node["branches"]) == pytest.approx(1.0, abs=1e-3)
            for one in node["branches"]:
                walk(one["then"])

        walk(plan.to_dict()["plan"])
        assert plan.minutes > 0

    def test_a_test_is_not_done_twice_on_one_way(self):
        plan = circuitcheck.load("first-fan").plan("fan dead on low", everything=True)

        def walk(node, before):
            if node["done"] or not node["test"]:
                return
            this = node["test"]["name"], tuple(node["test"]["readings"])
            assert this not in before
            for one in node["branches"]:
                walk(one["then"], [*before, this])

        walk(plan.to_dict()["plan"], [])

    def test_no_deeper_than_asked_for(self):
        def depth(node):
            return 1 + max(depth(one["then"]) for one in node["branches"]) if node["test"] else 0

        plan = circuitcheck.load("first-fan").plan("fan dead on low", depth=2)
        assert depth(plan.to_dict()["plan"]) == 2


class TestProof:
    def test_the_repaired_fault_would_be_seen(self):
        """Each suspect before the repair must move a reading of the proof out of its band."""
        loom = circuitcheck.load("twin-fan-switch")
        sheet = readings_files("twin-fan-switch")["slow-on-low"]
        proof = loom.prove(sheet)
        assert "R2 open" in proof.suspected
        assert proof.repaired == ("right fan",)  # where that resistor sits
        known = {one.name: one for one in loom._planner.candidates}
        caught = False
        for test in proof.tests:
            names = [one.name for one in test.readings]
            wanted = [(known[test.name], name, observation)
                      for name, observation in known[test.name].observations if name in names]  # fmt: skip
            faulty = read(loom.harness, loom.fault("R2 open"), wanted, {})
            for reading, sound in zip(faulty.readings, test.readings, strict=True):
                if reading.word:
                    caught |= reading.word != sound.word
                else:
                    caught |= not sound.low <= reading.value <= sound.high
        assert caught

    @pytest.mark.parametrize(("name", "speeds"), [
        ("twin-fan-switch", {("M1", "slow"), ("M1", "fast"), ("M2", "slow"), ("M2", "fast")}),
        ("cabin-blower", {("M1", "slow"), ("M1", "fast")}),
    ])  # fmt: skip
    def test_every_fan_is_seen_to_run_at_every_speed_it_has(self, name, speeds):
        loom = circuitcheck.load(name)
        proof = loom.prove(readings_files(name)["nothing-wrong"])
        known = {one.name: dict(one.observations) for one in loom._planner.candidates}
        seen = {(known[test.name][one.name].points[0], one.word)
                for test in proof.tests for one in test.readings if one.kind == "speed"}  # fmt: skip
        assert speeds <= seen

    def test_the_repaired_fan_is_looked_at_first(self):
        """Of tests that take equally long, and of the readings of one test."""
        loom = circuitcheck.load("twin-fan-switch")
        proof = loom.prove(
            {"high-at-the-plug": {"left": "fast", "right": "slow", "right-ground": "3.9 V"}}
        )
        assert set(proof.repaired) <= {"E2", "W12"}
        amps = [one.name for test in proof.tests for one in test.readings if one.kind == "amps"]
        assert amps[0] == "right-amps"  # "left-amps" takes as long and shows as much of all else
        hot = next(test for test in proof.tests if test.name == "hot")
        assert "X3.3b" in hot.readings[0].name

    @pytest.mark.parametrize("name", ["twin-fan-three-relays", "truck-24v"])
    def test_no_state_of_use_is_made_twice_and_a_look_opens_nothing(self, name):
        """92 and 94 degC close the same contact of a switch that closes at 90; a fan is seen from outside."""
        loom = circuitcheck.load(name)
        files = readings_files(name)
        proof = loom.prove(files["no-low-speed"])
        known = {one.name: one for one in loom._planner.candidates}
        used = [known[test.name].setup for test in proof.tests]
        assert len({closed(loom.harness, one) for one in used}) == len(used)
        looks = [test for test in proof.tests if all(one.kind == "speed" for one in test.readings)]
        assert looks
        assert not any(test.access for test in looks)

    @pytest.mark.parametrize("name", ["twin-fan-switch", "twin-fan-three-relays", "first-fan"])
    def test_it_writes_down_what_next_says_to_put_right(self, name):
        loom = circuitcheck.load(name)
        stops = []
        for path in readings_files(name).values():
            advice = loom.next(path)
            if said := re.search(r"'put_right: \[(.*?)\]'", advice.why):
                assert f"put_right: [{said[1]}]" in loom.prove(path).to_write
                stops.append(path)
        assert stops

    def test_readings_after_the_repair_are_judged(self):
        loom = circuitcheck.load("twin-fan-switch")
        files = readings_files("twin-fan-switch")
        proof = loom.prove(files["slow-on-low"], files["nothing-wrong"])
        assert proof.judgement.verdict == "sound"
        assert loom.prove(files["slow-on-low"], files["slow-on-low"]).judgement.verdict == "located"


@pytest.mark.parametrize("name", ["twin-fan-three-relays", "cabin-blower"])
def test_every_test_that_it_names_can_be_asked_for(name):
    """What `next` predicts for a suspect is what `whatif` gives for that fault in that test."""
    loom = circuitcheck.load(name)
    advice = loom.next(symptom="never stops" if name != "cabin-blower" else "blower dead")
    made = [one for one in (advice.test, *advice.others) if one.name not in loom.harness.tests]
    assert made
    for test in made:
        sound = {one.name: one.shown for one in next(iter(loom.expect(test.name))).readings}
        for one in test.readings:
            assert sound[one.sound.name] == one.sound.shown
            would = one.would[0]
            given = next(iter(loom.whatif(would.suspects[0], test=test.name)))
            reading = next(each for each in given.readings if each.name == one.sound.name)
            assert would.reading.split(" (")[0] in (reading.shown, reading.shown.split(" (")[0])
