"""Each rule notices what breaks it, and in a sound design no other rule notices anything.

Where a finding has a number, the number is worked out by hand beside it, from the rated values of the
fixture with the simplest formula that will do; the tolerance covers what that leaves out.
"""

import re

import pytest
from sound_design import finding, inspected, noticed

import circuitcheck
from circuitcheck.inspect.inspection import all_rules
from circuitcheck.inspect.rule import Severity
from circuitcheck.shipped import harness_files

MOTOR_1 = "M1: {kind: motor, rated: {volts: 13, amps: 12, rpm: 2500}, winding: 0.20 ohm}"
RESISTOR = "R1: {kind: resistor, ohms: 0.60, watts: 250}"
W5 = "W5: {from: K1.87, to: M1.+, size: 6 mm2"
W6 = "W6: {from: M1.-, to: E1.31, size: 6 mm2, length: 0.4 m}"

#: What is changed in the sound design, and the one rule that must notice, with the places.
CASES = [
    ("no-fuse", ["W3"], [("to: F3.in, size: 2.5 mm2, length: 0.3 m", "to: F3.in, size: 2.5 mm2, length: 1.5 m")]),
    ("fuse-over-wire", ["W5"], [(W5, W5.replace("6 mm2", "1 mm2"))]),
    ("fuse-running", ["F1"], [(MOTOR_1, MOTOR_1.replace("amps: 12", "amps: 25"))]),
    ("fuse-starting", ["F1"], [(MOTOR_1, MOTOR_1.replace("0.20 ohm", "0.12 ohm"))]),
    ("wire-running", ["W6"], [(W6, W6.replace("6 mm2", "0.5 mm2").replace("0.4 m", "0.05 m"))]),
    ("wire-unused", ["W40", "W41"], [
        ("  E0: {kind", "  X9: {kind: splice, wires: 2}\n  E0: {kind"),
        ("wires:\n  W0", "wires:\n  W40: {from: F3.out, to: X9.1, size: 2.5 mm2, length: 1 m}\n"
                         "  W41: {from: X9.2, to: F3.out, size: 2.5 mm2, length: 1 m}\n  W0"),
    ]),
    ("terminal-unreached", ["X1.4"], [("X1: {kind: splice, wires: 3}", "X1: {kind: splice, wires: 4}")]),
    ("locked-motor", ["M1"], [
        ("F1: {kind: fuse, rating: 30 A}", "F1: {kind: fuse, rating: 60 A}"),
        ("to: K1.30, size: 6 mm2", "to: K1.30, size: 16 mm2"), (W5, W5.replace("6 mm2", "16 mm2")),
    ]),
    ("resistor-running", ["R1"], [(RESISTOR, RESISTOR.replace("250", "30, cut_out: {opens: 170 degC}"))]),
    ("resistor-locked", ["R1"], [(RESISTOR, RESISTOR.replace("250", "100"))]),
    ("cut-out", ["R1"], [(RESISTOR, RESISTOR.replace("250", "250, cut_out: {opens: 250 degC}"))]),
    ("contact-running", ["S1 high"], [("opens: 93 degC}, rating: 5 A", "opens: 93 degC}, rating: 0.2 A")]),
    ("contact-making", ["K1 30-87"], [("across_coil: diode, rating: 40 A", "across_coil: diode, rating: 15 A")]),
    ("contact-breaking", ["K2 30-87"], [
        ("K2: {kind: relay, coil: 85 ohm, across_coil: resistor, rating: 40 A}",
         "K2: {kind: relay, coil: 85 ohm, across_coil: resistor, rating: 10 A}"),
    ]),
    ("coil-undamped", ["K2"], [
        ("K2: {kind: relay, coil: 85 ohm, across_coil: resistor,", "K2: {kind: relay, coil: 85 ohm,"),
    ]),
    ("coil-pick-up", ["K2"], [
        ("K2: {kind: relay, coil: 85 ohm,", "K2: {kind: relay, coil: 85 ohm, pick_up: 90 %,"),
    ]),
    ("never-rests", ["K4"], [
        ("  E0: {kind", "  K4: {kind: relay, contacts: break, across_coil: resistor}\n  E0: {kind"),
        ("X1: {kind: splice, wires: 3}", "X1: {kind: splice, wires: 4}"),
        ("X5: {kind: splice, wires: 4}", "X5: {kind: splice, wires: 5}"),
        ("wires:\n  W0", "wires:\n  W40: {from: X1.4, to: K4.30, size: 1 mm2, length: 1 m}\n"
                         "  W41: {from: K4.87a, to: K4.86, size: 1 mm2, length: 1 m}\n"
                         "  W42: {from: K4.85, to: X5.5, size: 1 mm2, length: 1 m}\n  W0"),
    ]),
    ("wrong-volts", ["H1"], [("H1: {kind: lamp, watts: 2 W}", "H1: {kind: lamp, watts: 2 W, volts: 24 V}")]),
    ("feed-drop", ["M1"], [
        ("F1: {kind: fuse, rating: 30 A}", "F1: {kind: fuse, rating: 25 A}"),
        ("K1: {kind: relay, coil: 85 ohm,", "K1: {kind: relay, coil: 85 ohm, contact: 80 mohm,"),
    ]),
    ("ground-drop", ["M1"], [("E1: {kind: ground}", "E1: {kind: ground, joint: 30 mohm}")]),
    ("shared-ground", ["E1"], [("  E3: {kind: ground}\n", ""), ("to: E3.31", "to: E1.31")]),
]  # fmt: skip


def test_the_sound_design_passes_every_rule():
    result = inspected()
    assert noticed(result) == {}


@pytest.mark.parametrize(("rule", "places", "changes"), CASES, ids=[one[0] for one in CASES])
def test_a_breach_is_noticed_by_its_rule_alone(rule, places, changes):
    assert noticed(inspected(*changes)) == {rule: places}


#: Breaches that weaken more than one thing: what else must notice, and why.
MORE = {
    "coil-polarity": "a shorted feed overloads its fuse and contacts as well",
    "resistor-alone": "what is too small alone is too small with the fan locked",
    "two-feeds": "two fuses side by side open at twice the current",
    "sneak-path": "shown with its path below",
    "single-point": "every design has some",
}


def test_every_rule_is_broken_by_a_test():
    tested = {one[0] for one in CASES} | set(MORE)
    assert tested == {rule.id for rule in all_rules()}


def test_a_feed_three_times_too_long_is_serious():
    wire = "to: F3.in, size: 2.5 mm2, length: 0.3 m"
    result = inspected((wire, wire.replace("0.3 m", "3 m")))
    assert finding(result, "no-fuse").severity is Severity.serious
    assert finding(result, "no-fuse").value == pytest.approx(3.0)


def test_no_fuse_at_all_is_serious_however_short_the_wire():
    """The ignition feed with its fuse left out: lamp and coils, each with its part."""
    result = inspected(
        ("  F3: {kind: fuse, rating: 10 A}\n", ""), ("to: F3.in", "to: S2.30"),
        ("  W20: {from: F3.out, to: S2.30, size: 1.5 mm2, length: 0.8 m}\n", ""),
    )  # fmt: skip
    bare = {
        one.place: one.severity for one in result.findings if one.rule == "no-fuse" and one.value is None
    }
    assert bare == dict.fromkeys(("K1", "K2", "K3", "H1"), Severity.serious)


def test_a_diode_the_wrong_way_round_shorts_the_feed_of_the_coil():
    result = inspected(("to: K1.86", "to: K1.85"), ("from: K1.85", "from: K1.86"))
    assert noticed(result)["coil-polarity"] == ["K1"]
    assert set(noticed(result)) >= {"coil-polarity", "contact-running", "fuse-running"}


def test_a_diode_in_the_loom_damps_a_coil_and_may_be_turned():
    splice = ("X2: {kind: splice, wires: 3}", "X2: {kind: splice, wires: 4}")
    ground = ("X5: {kind: splice, wires: 4}", "X5: {kind: splice, wires: 5}")
    bare = ("K3: {kind: relay, coil: 85 ohm, across_coil: resistor,", "K3: {kind: relay, coil: 85 ohm,")
    diode = ("  E0: {kind", "  V1: {kind: diode}\n  E0: {kind")

    def wired(upper: str, lower: str):
        wires = (f"wires:\n  W40: {{from: X2.4, to: V1.{upper}, size: 1 mm2, length: 0.1 m}}\n"
                 f"  W41: {{from: V1.{lower}, to: X5.5, size: 1 mm2, length: 0.1 m}}\n  W0")  # fmt: skip
        return inspected(splice, ground, bare, diode, ("wires:\n  W0", wires))

    right = noticed(wired("k", "a"))
    assert "coil-undamped" not in right
    assert "coil-polarity" not in right
    assert "coil-polarity" in noticed(wired("a", "k"))


def test_a_resistor_that_takes_over_from_another_is_too_small_alone():
    """Two of 1.2 ohm in place of one of 0.6. Low speed as solved with 0.6 ohm takes 8 to 9 A, half in
    each; alone, the one left carries 5 to 7 A: 30 to 59 W against 22 to 25 W together."""
    other = (
        "  R2: {kind: resistor, ohms: 1.2, watts: 28}\n  X7: {kind: splice, wires: 3}\n"
        "  X8: {kind: splice, wires: 3}\n  X3: {kind: splice"
    )
    wires = (
        "  W10: {from: K2.87, to: X7.1, size: 6 mm2, length: 0.7 m}\n"
        "  W40: {from: X7.2, to: R1.1, size: 6 mm2, length: 0.1 m}\n"
        "  W41: {from: X7.3, to: R2.1, size: 6 mm2, length: 0.1 m}\n"
        "  W42: {from: R1.2, to: X8.1, size: 6 mm2, length: 0.1 m}\n"
        "  W43: {from: R2.2, to: X8.2, size: 6 mm2, length: 0.1 m}\n"
        "  W11: {from: X8.3, to: X4.1, size: 6 mm2, length: 0.2 m}\n"
    )
    result = inspected(
        ("R1: {kind: resistor, ohms: 0.60, watts: 250}", "R1: {kind: resistor, ohms: 1.2, watts: 28}"),
        ("  X3: {kind: splice", other),
        ("  W10: {from: K2.87, to: R1.1, size: 6 mm2, length: 0.8 m}\n", wires),
        ("  W11: {from: R1.2, to: X4.1, size: 6 mm2, length: 0.2 m}\n", ""),
    )
    both = ["R2", "R1"]  # in the order of the file
    assert noticed(result) == {"resistor-alone": both, "resistor-locked": both}
    for one in result.findings:
        if one.rule == "resistor-alone":
            assert 30 < one.value < 59


def test_two_fuses_side_by_side_leave_the_wire_live():
    result = inspected(
        ("X3: {kind: splice, wires: 3}", "X3: {kind: splice, wires: 4}"),
        ("wires:\n  W0", "wires:\n  W40: {from: F1.out, to: X3.4, size: 6 mm2, length: 0.3 m}\n  W0"),
    )
    found = finding(result, "two-feeds")
    assert "F1 and F2" in found.words
    assert "W40" in found.words


def test_a_lamp_and_a_coil_on_one_ground_feed_each_other_when_it_is_lost():
    """The lamp shows that the left fan is fed and shares the ground of the coils. With that ground lost
    at low speed, the current of coil K2 leaves backwards through the lamp and the fan at rest: 14 V over
    85 ohm and the lamp's 5 ohm cold to 72 ohm hot is 0.09 to 0.16 A."""
    result = inspected(
        ("X1: {kind: splice, wires: 3}", "X1: {kind: splice, wires: 2}"),
        ("from: X1.3, to: H1.1, size: 1 mm2", "from: K1.87, to: H1.1, size: 6 mm2"),
        ("X5: {kind: splice, wires: 4}", "X5: {kind: splice, wires: 5}"),
        ("from: H1.2, to: E4.31", "from: H1.2, to: X5.5"), ("  E4: {kind: ground}\n", ""),
    )  # fmt: skip
    assert noticed(result) == {"sneak-path": ["H1", "K1", "K3"]}  # at high speed the other coils too
    found = next(one for one in result.findings if one.place == "H1")
    parts = [one.split(".")[0] for one in found.path]
    order = [parts.index(name) for name in ("F3", "S1", "K2", "H1", "M1", "E1")]
    assert order == sorted(order)
    assert 0.09 < found.value < 0.16
    assert found.path[0] == "G1.+"
    assert found.path[-1] == "G1.-"


def test_a_lamp_that_returns_through_a_fan_is_told_without_any_break():
    """From the ignition feed to the feed of the left fan: while that fan stands, its winding is the lamp's
    ground. At 14 V 2 W at 12 V are 0.18 A (I ~ V**0.55), and 0.2 ohm of winding makes no odds."""
    result = inspected(
        ("from: H1.2, to: E4.31", "from: H1.2, to: K1.87"), ("  E4: {kind: ground}\n", "")
    )
    assert noticed(result)["sneak-path"] == ["H1"]
    found = finding(result, "sneak-path")
    assert found.severity is Severity.serious
    assert found.value == pytest.approx(2 / 12 * (14 / 12) ** 0.55, rel=0.03)
    assert "through M1" in found.words


def test_the_single_points_of_failure_are_the_common_feed_and_ground_of_the_coils():
    """By hand: each fan has a fuse, relay and ground of its own; what both depend on is the battery, the
    ignition feed as far as the splice behind pin 2 of the switch, the high contact with its splice, and
    the ground of the coils."""
    places = {one.place for one in inspected().findings if one.rule == "single-point"}
    battery, strap = {"G1"}, {"E0", "W0"}
    feed = {"W3", "F3", "W20", "S2", "W21", "X1", "W22", "S1"}
    ground = {"X5", "W31", "E3"}
    assert places == battery | strap | feed | ground


def test_twelve_volt_parts_in_a_twenty_four_volt_loom():
    result = inspected(
        ("volts: 12\n", "volts: 24\n"), ("resting: 12.6 V, running: 14.2 V", "resting: 25.2 V, running: 28.4 V")
    )  # fmt: skip
    found = [one for one in result.findings if one.rule == "wrong-volts"]
    assert {one.place for one in found} == {"M1", "M2", "H1", "K1", "K2", "K3"}
    assert {one.severity for one in found} == {Severity.serious}


def test_a_thicker_wire_is_never_judged_worse():
    sizes = ("0.35", "0.5", "0.75", "1", "1.5", "2.5", "4", "6")
    grave = []
    for size in sizes:
        result = inspected((W5, W5.replace("6 mm2", f"{size} mm2")), rules=("fuse-over-wire",))
        grave.append(max((one.severity for one in result.findings), default=-1))
    assert grave == sorted(grave, reverse=True)
    assert (grave[0], grave[-1]) == (Severity.serious, -1)


def test_a_hotter_bonnet_and_a_larger_bundle_never_help():
    counts = [
        len(inspected(limits=(f"ambient={air}", f"bundle={wires}"), rules=("fuse-over-wire",)).findings)
        for air, wires in ((20, 1), (60, 1), (60, 2), (80, 2), (80, 4), (95, 6))
    ]
    assert counts == sorted(counts)
    assert (counts[0], counts[2]) == (0, 0)
    assert counts[-1] > 0


class TestNumbers:
    """Hand calculations beside what the rules say."""

    def test_locked_motor(self):
        """14.2 V over 0.2 ohm of winding and 0.03 to 0.06 ohm of battery, fuse, wires and contacts."""
        changes = next(one[2] for one in CASES if one[0] == "locked-motor")
        assert "no fuse is sure to open" in finding(inspected(*changes), "locked-motor").words
        changes = next(one[2] for one in CASES if one[0] == "contact-making")
        assert 14.2 / 0.26 < finding(inspected(*changes), "contact-making").value < 14.2 / 0.23

    def test_locked_through_the_resistor(self):
        """I = 14.2 V over 0.8 ohm and 0.03 to 0.06 ohm; P = I**2 times 0.6 ohm: 163 to 176 W."""
        found = finding(inspected((RESISTOR, RESISTOR.replace("250", "100"))), "resistor-locked")
        assert 0.6 * (14.2 / 0.86) ** 2 < found.value < 0.6 * (14.2 / 0.83) ** 2

    def test_ground_drop(self):
        """12 to 13 A through 30 mohm of joint, 2 mohm of wire and pins, 1 mohm of strap and clamp."""
        found = finding(
            inspected(("E1: {kind: ground}", "E1: {kind: ground, joint: 30 mohm}")), "ground-drop"
        )
        assert 12 * 0.031 < found.value < 13 * 0.038

    def test_shared_ground_lifts_by_ohms_law(self):
        changes = next(one[2] for one in CASES if one[0] == "shared-ground")
        found = finding(inspected(*changes, limits=("aged-joint=0.2",)), "shared-ground")
        lift = float(found.words.split("ground by ")[1].split(" V")[0])
        assert lift == pytest.approx(0.2 * found.value, rel=0.01)
        assert found.severity is Severity.note  # a coil only; electronics would be doubtful

    def test_current_for_good_of_a_thin_wire(self):
        """1 mm2: 19 A by the table (DIN VDE 0298-4), 0.8 for two together, and the same rise of 40 K
        above 60 degC: 15 A, less a few per cent as copper at 100 degC makes more heat."""
        found = finding(inspected((W5, W5.replace("6 mm2", "1 mm2"))), "fuse-over-wire")
        assert 0.93 * 15.2 < found.limit < 15.2
        assert found.value == 30


def test_no_fuse_is_advised_that_would_open_at_the_start():
    """Two pieces of advice on one fuse must agree. A winding of 0.1 ohm draws some 100 A as it starts;
    20 A stand 350 % for 80 ms at the least (ISO 8820-3, from memory), and it starts in 0.3 s or more."""
    hard = (MOTOR_1, MOTOR_1.replace("0.20 ohm", "0.10 ohm"))
    result = inspected(hard, (W5, W5.replace("6 mm2", "2.5 mm2")))
    wire = next(one for one in result.findings if (one.rule, one.place) == ("fuse-over-wire", "W5"))
    fuse = next(one for one in result.findings if one.rule == "fuse-starting")
    assert "before it may open as the motors start" in wire.words
    assert not re.search(r"put a fuse of", wire.words, re.IGNORECASE)
    lasts = re.search(r"one of (\d+) A where every wire", fuse.words)
    assert f"a fuse of {lasts[1]} A, one that outlasts the start" in wire.words


def test_a_short_that_is_fed_through_a_resistor_is_said_to_be():
    """Ohm's law: on low R1 of 0.6 ohm stands between the battery and K3.87, 14.2 V / 0.6 ohm = 23.7 A at
    the most, which a fuse of 30 A carries for good."""
    thin = "W12: {from: K3.87, to: X4.2, size: 6 mm2"
    found = finding(inspected((thin, thin.replace("6 mm2", "2.5 mm2"))), "fuse-over-wire")
    amps = re.search(r"fed back through R1, draws ([\d.]+) A", found.words)
    assert 20 < float(amps[1]) < 23.7


def test_how_grave_a_fuse_too_large_is_depends_on_what_can_flow():
    """0.35 mm2 behind 30 A melts in a dead short of 150 A or more: (115 * 0.35 / 150)**2 = 0.07 s, and
    the fuse may take 0.1 s or more (ISO 8820-3, 600 %)."""
    thin = inspected((W5, W5.replace("6 mm2", "0.35 mm2")))
    found = finding(thin, "fuse-over-wire")
    assert found.severity is Severity.serious
    lamp = "W23: {from: X1.3, to: H1.1, size: 1 mm2"
    note = inspected(("F3: {kind: fuse, rating: 10 A}", "F3: {kind: fuse, rating: 15 A}"),
                     (lamp, lamp.replace("1 mm2", "0.75 mm2")))  # fmt: skip
    grave = {one.place: one.severity for one in note.findings if one.rule == "fuse-over-wire"}
    assert set(grave.values()) == {Severity.note}  # what is behind it cannot draw that much
    assert "W23" in grave


@pytest.mark.parametrize("name", sorted(harness_files()))
def test_whatever_is_serious_or_doubtful_says_what_to_do(name):
    """An order to do something, or a question: nobody is left with a finding alone."""
    orders = r"\b(Put|Fit|Make|Give|Take|Keep|Have|Renew|See)\b|\?"
    for one in circuitcheck.load(name).inspect().findings:
        if one.severity is not Severity.note:
            assert re.search(orders, one.words), one.words
