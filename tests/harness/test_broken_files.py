"""Broken harness files: each is the good one with one change, and each gets one helpful answer."""

from __future__ import annotations

import os
import re
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from circuitcheck.errors import DescriptionError, UnknownName
from circuitcheck.harness.load import load_harness, parse_harness, read_harness

BENCH = Path(__file__).parents[1] / "data" / "bench.yaml"
GOOD = BENCH.read_text(encoding="utf-8")
RELAY = GOOD.replace("  E0: {kind: ground}\n", """\
  E0: {kind: ground}
  K1: {kind: relay, coil: 80 ohm, pick_up: 60 %, drop_out: 20 %}
  S3: {kind: switch, positions: {off: [], low: [[B, 1]]}, at_rest: off}
  A1:
    kind: module
    inputs: {sense: {between: [7, 8], ohms: 1 kohm, on_at: 8 V, off_at: 4 V}}
    outputs: {fan: {between: [1, 2], closed_when: [not sense]}}
""").replace("tests:\n", """\
  W10: {from: F3.out, to: S3.B, size: 1 mm2, length: 1 m}
  W11: {from: S3.1, to: K1.86, size: 1 mm2, length: 1 m}
  W12: {from: K1.85, to: E1.31, size: 1 mm2, length: 1 m}
  W13: {from: F3.out, to: A1.7, size: 1 mm2, length: 1 m}
  W14: {from: A1.8, to: E1.31, size: 1 mm2, length: 1 m}
  W15: {from: A1.1, to: K1.30, size: 1 mm2, length: 1 m}
  W16: {from: A1.2, to: K1.87, size: 1 mm2, length: 1 m}
tests:
  clicking:
    title: Relay
    setup: {switches: {S3: low}, pull: [K1]}
    observe: {relay: {click: K1}}
""", 1)  # fmt: skip
TWO = GOOD.replace("  F3: {kind", "  G2: {kind: battery, resting: 12.6 V}\n  F3: {kind").replace(
    "wires:\n", """\
wires:
  W90: {from: G1.+, to: G2.+, size: 25 mm2, length: 0.3 m}
  W91: {from: G1.-, to: G2.-, size: 25 mm2, length: 0.3 m}
""", 1)  # fmt: skip
FREQUENT = GOOD.replace("access:\n", "frequencies: {R1 open: 12}\naccess:\n")
BRIDGE = "bridge: [[S1.2, S1.1]]"
LEFT = "left: {speed: M1}"
FEED = "setup: {unplug: [S1]}"
TWO_VOLTS = "observe:\n      feed: {volts: [S1.2, G1.-]}\n      hot: {volts: [S1.1, G1.-]}"
GRILLE = "access:\n  behind the grille: {minutes: 25, note: grille off}"
W0 = "  W0: {from: G1.-, to: E0.31, size: 25 mm2, length: 0.4 m, colour: BK}\n"


@pytest.mark.parametrize("text", [GOOD, RELAY, TWO, FREQUENT], ids=["bench", "relay", "two", "often"])
def test_the_unchanged_texts_are_good(text):
    assert parse_harness(text).parts


def problems_of(text):
    with pytest.raises(DescriptionError) as caught:
        parse_harness(text, "loom.yaml")
    return caught.value.problems


# good text, what is replaced, by what, name, words of what was found and of what it must be, nearest
ONE_PROBLEM = {
    # keys
    "unknown key at the top": (GOOD, "ambiance", None, "", "", "", ""),
    "unknown key of the supply": (GOOD, "resting:", "restin:", "supply.restin", "unknown key",
                                  "battery, resting, running", "resting"),
    "unknown key of a part": (GOOD, "internal:", "internl:", "parts.G1.internl", "unknown key",
                              "known here: kind", "internal"),
    "unknown key inside a part": (GOOD, "low: {closes:", "low: {close:", "parts.S1.low.close",
                                  "unknown key 'close'", "closes, opens", "closes"),
    "unknown key of a rated point": (GOOD, "rpm: 2600}", "rpm: 2600, kg: 1}", "parts.M1.rated.kg",
                                     "unknown key 'kg'", "volts, amps, rpm", ""),
    "unknown key of a wire": (GOOD, "length: 0.4 m", "lenght: 0.4 m", "wires.W0.lenght",
                              "unknown key", "from, to, size", "length"),
    "unknown key of a test": (GOOD, "minutes: 4", "minuts: 4", "tests.low-at-the-plug.minuts",
                              "unknown key", "title, setup, observe", "minutes"),
    "unknown key of a set-up": (GOOD, FEED, "setup: {unplugged: [S1]}", "tests.feed.setup.unplugged",
                                "unknown key", "ignition, running", "unplug"),
    "unknown key of an observation": (GOOD, LEFT, "left: {sped: M1}",
                                      "tests.low-at-the-plug.observe.left.sped", "unknown key 'sped'",
                                      "volts, drop", "speed"),
    "unknown key of an access": (GOOD, "note: grille off", "notes: grille off",
                                 "access.behind the grille.notes", "unknown key", "minutes, note",
                                 "note"),
    "misspelt section": (GOOD, "observe:", "obs:", "tests.low-at-the-plug.obs", "unknown key 'obs'",
                         "title, setup", "observe"),
    "no title": (GOOD, "harness: Test bench, one fan with a series resistor\n", "", "",
                 "no 'harness'", "must have 'harness'", ""),
    "wire without an end": (GOOD, "to: E0.31, ", "", "wires.W0", "no 'to'", "must have 'to'", ""),
    "duplicate key": (GOOD, "  F3: {kind", "  G1: {kind", "parts.G1", "'G1' a second time",
                      "first on line 6", ""),
    # form
    "tab": (GOOD, "    low: {closes", "\t low: {closes", "", "a tab", "spaces", ""),
    "not YAML": (GOOD, "harness: Test", "harness: @Test", "", "a character that no value can begin with",
                 "in quotes", ""),
    "control character": (GOOD, "0.40", "0.4\x070", "", "control character", "plain text", ""),
    "anchor": (GOOD, "supply: {", "supply: &s {", "", "an anchor", "written out", ""),
    "alias": (GOOD, "internal: 12 mohm", "internal: *s", "", "alias", "written out", ""),
    "second document": (GOOD, "access:\n", "---\naccess:\n", "", "a second document",
                        "one document", ""),
    "tag": (GOOD, "ohms: 0.40", "ohms: !!float 0.40", "", "the tag !!float",
            "without tags", ""),
    "list as a key": (GOOD, "access: behind", "[a]: behind", "", "as a key", "must be a name", ""),
    "list for mapping": (GOOD, LEFT, "left: [speed, M1]", "tests.low-at-the-plug.observe.left",
                         "a list of 2", "must be a mapping", ""),
    "word for a part": (GOOD, "E0: {kind: ground}", "E0: ground", "parts.E0", "'ground'",
                        "{kind: fuse", ""),
    "mapping for list": (GOOD, FEED, "setup: {unplug: {S1: yes}}", "tests.feed.setup.unplug",
                         "a mapping", "must be a list", ""),
    "word for list": (GOOD, FEED, "setup: {unplug: S1}", "tests.feed.setup.unplug", "'S1'",
                      "must be a list", ""),
    "merge key": (GOOD, "internal: 12 mohm", "<<: {internal: 12 mohm}", "parts.G1.<<",
                  "a merge key", "written out", ""),
    "null part": (GOOD, "E0: {kind: ground}", "E0:", "parts.E0", "nothing", "{kind: fuse", ""),
    "null wire": (GOOD, W0, "  W0:\n", "wires.W0", "nothing", "must be a mapping", ""),
    "null set-up": (GOOD, FEED, "setup:", "tests.feed.setup", "nothing", "must be a mapping", ""),
    "list for section": (GOOD, GRILLE, "access: [a]", "access", "a list of 1", "mapping of names", ""),
    "list for a word": (GOOD, "rating: 40 A", "rating: [40 A]", "parts.F3.rating", "a list of 1",
                        "a current with its unit, such as '15 A'", ""),
    "quote not closed": (GOOD, "where: left", "where: 'left", "", "an opening quote",
                         "both or none", ""),
    "bracket not closed": (GOOD, "[S1.2, S1.1]]}", "[S1.2, S1.1]}", "", "no ',' or ']' where one is due",
                           "a ']' for each '['", ""),
    "brace not closed": (GOOD, "E0: {kind: ground}", "E0: {kind: ground", "", "'{' without its '}'",
                         "closed with '}'", ""),
    "bracket too many": (GOOD, "E0: {kind: ground}", "E0: {kind: ground}}", "", "'}' where none can",
                         "left out", ""),
    "no comma": (GOOD, "from: G1.-, to: E0.31", "from: G1.- to: E0.31", "", "no ',' or '}'",
                 "a comma before 'to'", ""),
    "semicolon": (GOOD, "from: G1.-, to: E0.31", "from: G1.-; to: E0.31", "", "';'", "a comma", ""),
    "out of step": (GOOD, "  E0: {kind: ground}", "   E0: {kind: ground}", "", "3 blanks before 'E0:'",
                    "2 blanks, as line 15", ""),
    "no colon": (GOOD, "harness: Test", "harness Test", "", "a line without ':'", "'harness: ...'", ""),
    "no colon before a brace": (GOOD, "E0: {kind: ground}", "E0 {kind: ground}", "parts.E0 {kind",
                                "no ':' after 'E0'", "'E0: {kind: ground}'", ""),
    "value with a colon": (GOOD, "harness: Test", "harness: One: Test", "", "a ':' where none can",
                           "in quotes", ""),
    # quantities
    "wrong unit": (GOOD, "ohms: 0.40", "ohms: 0.40 V", "parts.R1.ohms", "'0.40 V'",
                   "a resistance in ohm, mohm", ""),
    "missing unit": (GOOD, "internal: 12 mohm", "internal: 12", "parts.G1.internal", "'12'",
                     "not without a unit", ""),
    "decimal comma": (GOOD, "ohms: 0.40", "ohms: 0,40 ohm", "parts.R1.ohms", "'0,40 ohm'",
                      "decimal point: 0.40 ohm", ""),
    "decimal comma in quotes": (GOOD, "ohms: 0.40", "ohms: '0,40 ohm'", "parts.R1.ohms", "'0,40 ohm'",
                                "a decimal point", ""),
    "negative ohms": (GOOD, "ohms: 0.40", "ohms: -0.40", "parts.R1.ohms", "'-0.40'", "above 0 ohm", ""),
    "zero ohms": (GOOD, "ohms: 0.40", "ohms: 0", "parts.R1.ohms", "'0'", "above 0 ohm", ""),
    "NaN ohms": (GOOD, "ohms: 0.40", "ohms: .nan", "parts.R1.ohms", "'.nan'", "a resistance", ""),
    "infinite ohms": (GOOD, "ohms: 0.40", "ohms: .inf", "parts.R1.ohms", "'.inf'", "a resistance", ""),
    "overflowing ohms": (GOOD, "ohms: 0.40", "ohms: 1e999", "parts.R1.ohms", "'1e999'",
                         "a resistance below 1000 Mohm, such as", ""),
    "infinity in words": (GOOD, "ohms: 0.40", "ohms: inf ohm", "parts.R1.ohms", "'inf ohm'",
                          "a resistance with its unit", ""),
    "less than any resistance": (GOOD, "ohms: 0.40", "ohms: 1e-300 ohm", "parts.R1.ohms",
                                 "'1e-300 ohm'", "above 0.0001 mohm", ""),
    "longer than any number": (GOOD, "ohms: 0.40", f"ohms: {'9' * 5000}", "parts.R1.ohms",
                               f"'{'9' * 80}...'", "below 1000 Mohm", ""),
    "empty": (GOOD, "ohms: 0.40", "ohms: ", "parts.R1.ohms", "nothing", "a resistance", ""),
    "share over all": (GOOD, "tolerance: 5 %", "tolerance: 500 %", "parts.R1.tolerance", "'500 %'",
                       "a share below 100 %", ""),
    "null": (GOOD, "ohms: 0.40", "ohms: null", "parts.R1.ohms", "'null'", "a resistance", ""),
    "bad section": (GOOD, "size: 25 mm2", "size: 25 mm", "wires.W0.size", "'25 mm'", "mm2", ""),
    "bad yes or no": (GOOD, "plug: no}", "plug: nope}", "parts.R1.plug", "'nope'", "yes or no", ""),
    "bad colour": (GOOD, "colour: BN", "colour: XX", "wires.W5.colour", "'XX'", "IEC 60757", ""),
    "bad engine text": (GOOD, FEED, "setup: {engine: warm}", "tests.feed.setup.engine", "'warm'",
                        "95 degC warming", ""),
    "engine as a list": (GOOD, FEED, "setup: {engine: [95, warming]}", "tests.feed.setup.engine",
                         "a list of 2", "95 degC warming", ""),
    "bad engine unit": (GOOD, FEED, "setup: {engine: 95 C cooling}", "tests.feed.setup.engine", "95 C",
                        "degC", ""),
    "volts: 13": (GOOD, "volts: 12\n", "volts: 13\n", "volts", "'13'", "12 or 24", ""),
    "running below resting": (GOOD, "running: 14.2 V", "running: 12.2 V", "supply.running", "12.2 V",
                              "at least the 12.6 V", ""),
    "resting of another vehicle": (GOOD, "resting: 12.6 V", "resting: 24.6 V", "supply.resting",
                                   "24.6 V", "near the 12 V", ""),
    "negative minutes": (GOOD, "minutes: 4", "minutes: -4", "tests.low-at-the-plug.minutes", "'-4'",
                         "at least 0", ""),
    # kinds
    "unknown kind": (GOOD, "kind: thermoswitch", "kind: thermoswich", "parts.S1.kind",
                     "kind 'thermoswich'", "must be one of battery", "thermoswitch"),
    "no kind": (GOOD, "{kind: fuse, rating", "{rating", "parts.F3.kind", "no kind",
                "must be one of battery", ""),
    "list for kind": (GOOD, "kind: fuse", "kind: [fuse]", "parts.F3.kind", "kind", "must be one of",
                      "fuse"),
    "opens above closes": (GOOD, "opens: 87 degC", "opens: 95 degC", "parts.S1.low.opens", "95 degC",
                           "below the 92 degC", ""),
    "high stage below low": (GOOD, "closes: 99 degC, opens: 94", "closes: 91 degC, opens: 84",
                             "parts.S1.high.closes", "91 degC", "above the 92 degC", ""),
    "drop-out above pick-up": (RELAY, "drop_out: 20 %", "drop_out: 70 %", "parts.K1.drop_out", "70",
                               "must be", ""),
    "winding twice": (GOOD, "winding: 0.18 ohm", "winding: 0.18 ohm, locked: 72 A",
                      "parts.M1.winding", "both of winding and locked", "must give one", ""),
    "no winding": (GOOD, "winding: 0.18 ohm, ", "", "parts.M1.winding", "neither", "must give one", ""),
    "no back EMF": (GOOD, "winding: 0.18 ohm", "winding: 0.9 ohm", "parts.M1.winding", "0.9 ohm",
                    "back EMF", ""),
    "at rest nowhere": (RELAY, "at_rest: off", "at_rest: up", "parts.S3.at_rest", "'up'",
                        "must be one of off, low", ""),
    "condition without input": (RELAY, "closed_when: [not sense]", "closed_when: [not sensor]",
                                "parts.A1.outputs.fan.closed_when", "'not sensor'", "inputs: sense", ""),
    "input on below off": (RELAY, "off_at: 4 V", "off_at: 9 V", "parts.A1.inputs.sense.off_at", "9 V",
                           "at most the 8 V", ""),
    "half a cavity": (GOOD, "cavities: 3", "cavities: 2.5", "parts.X2.cavities", "2.5",
                      "whole number from 1 to 120", ""),
    "endless cavities": (GOOD, "cavities: 3", "cavities: 1e300", "parts.X2.cavities", "'1e300'",
                         "whole number below 1000,", ""),
    # wires
    "wire to nowhere": (GOOD, "to: F3.in", "to: nowhere", "wires.W1.to", "'nowhere'",
                        "part.terminal", ""),
    "wire to a part": (GOOD, "to: F3.in", "to: F3", "wires.W1.to", "'F3' alone",
                       "a terminal of F3: in, out", ""),
    "wire to a part of another number": (GOOD, "to: S1.2", "to: S4.2", "wires.W2.to", "no part 'S4'",
                                         "terminal of a part", "S1.2"),
    "wire to a missing part": (GOOD, "to: X2.1a", "to: XX2.1a", "wires.W3.to", "no part 'XX2'",
                               "terminal of a part", "X2.1a"),
    "wire to a missing terminal": (GOOD, "to: F3.in", "to: F3.inn", "wires.W1.to",
                                   "no terminal 'F3.inn'", "terminal of F3: in, out", "F3.in"),
    "wire to itself": (GOOD, "to: F3.in", "to: G1.+", "wires.W1", "both ends on G1.+",
                       "join two terminals", ""),
    "probe on a misspelt chassis": (GOOD, "volts: [S1.2, G1.-]", "volts: [S1.2, chasis]",
                                    "tests.low-at-the-plug.observe.feed.volts", "'chasis'",
                                    "must be a terminal, written part.terminal, as F3.in, or chassis",
                                    "chassis"),
    "words for another key": (RELAY, "{kind: relay, coil", "{kind: relay, contact: make, coil",
                              "parts.K1.contact", "'make'", "must be a resistance", "contacts: make"),
    "part never wired": (GOOD, "  E1: {kind", "  F9: {kind: fuse, rating: 5 A}\n  E1: {kind",
                         "parts.F9", "no wire to it", "must be wired", ""),
    "no strap": (GOOD, "to: E0.31", "to: M1.-", "parts.E0", "no wire to it", "must be wired", ""),
    "battery minus unwired": (GOOD, "from: G1.-, to: E0.31", "from: E1.31, to: E0.31", "parts.G1",
                              "no wire on G1.-", "minus clamp", ""),
    "plus joined to minus": (GOOD, "to: F3.in", "to: G1.-", "wires.W1",
                             "plus joined to battery minus", "a load between", ""),
    "kind by its other name": (GOOD, "E0: {kind: ground}", "E0: {kind: earth}", "parts.E0.kind",
                               "kind 'earth'", "must be one of", "ground"),
    "no way out": (GOOD, "  W9: {", "  # W9: {", "parts.M1", "no wire on M1.-", "a wire there too", ""),
    "colour in words": (GOOD, "colour: BK", "colour: black", "wires.W0.colour", "'black'",
                        "(nearest: BK)", ""),
    "supply names no battery": (GOOD, "battery: G1", "battery: F3", "supply.battery", "'F3'",
                                "kind battery: G1", ""),
    "supply names a missing one": (TWO, "battery: G1", "battery: G11", "supply.battery", "'G11'",
                                   "kind battery: G1, G2", "G1"),
    "batteries that differ": (TWO, "battery, resting: 12.6 V", "battery, resting: 6.3 V", "parts.G2",
                              "6.3 V beside 12.6 V of G1", "same volts", ""),
    "dotted name": (GOOD, "  X2: {kind", "  X.2: {kind", "parts.X.2", "the name 'X.2'",
                    "without dot", ""),
    "case twins": (GOOD, "  W3: {", "  w2: {", "wires.w2", "'w2' beside 'W2'", "more than capitals", ""),
    "wire named as a part": (GOOD, "  W1: {", "  G1: {", "wires.G1", "'G1' as wire and as part",
                             "its own name", ""),
    # tests
    "test of a missing part": (GOOD, FEED, "setup: {unplug: [S11]}", "tests.feed.setup.unplug.0",
                               "no part 'S11'", "must be a part", "S1"),
    "test of a missing terminal": (GOOD, BRIDGE, "bridge: [[S1.2, S1.4]]",
                                   "tests.low-at-the-plug.setup.bridge.0", "no terminal 'S1.4'",
                                   "terminal of S1: 1, 2, 3", "S1.3"),
    "bridge with one end": (GOOD, BRIDGE, "bridge: [[S1.2]]", "tests.low-at-the-plug.setup.bridge.0",
                            "a list of 1", "a list of two", ""),
    "bridge to itself": (GOOD, BRIDGE, "bridge: [[S1.2, S1.2]]",
                         "tests.low-at-the-plug.setup.bridge.0", "S1.2 with itself",
                         "join two terminals", ""),
    "missing position": (RELAY, "{S3: low}", "{S3: lo}", "tests.clicking.setup.switches.S3", "'lo'",
                         "a position of S3: off, low", "low"),
    "no hand switch": (RELAY, "{S3: low}", "{S33: low}", "tests.clicking.setup.switches.S33", "'S33'",
                       "must be a hand switch", "S3"),
    "missing motor": (GOOD, LEFT, "left: {speed: M11}", "tests.low-at-the-plug.observe.left.speed",
                      "'M11'", "kind motor: M1", "M1"),
    "missing relay": (RELAY, "{click: K1}", "{click: K11}", "tests.clicking.observe.relay.click",
                      "'K11'", "kind relay: K1", "K1"),
    "no relay at all": (GOOD, LEFT, "left: {click: K1}", "tests.low-at-the-plug.observe.left.click",
                        "'K1'", "there is none", ""),
    "pull without a plug": (GOOD, FEED, "setup: {pull: [M1]}", "tests.feed.setup.pull.0", "'M1'",
                            "a plug or socket", ""),
    "fed through nothing": (GOOD, FEED, "setup: {through: {}}", "tests.feed.setup.through", "nothing",
                            "one of lamp: 21 W, limit: 5 A", ""),
    "fed through two things": (GOOD, FEED, "setup: {through: {lamp: 21 W, limit: 5 A}}",
                               "tests.feed.setup.through", "a lamp and a limit", "must be one of", ""),
    "fed through a lamp of volts": (GOOD, FEED, "setup: {through: {lamp: 12 V}}",
                                    "tests.feed.setup.through.lamp", "'12 V'", "must be a power", ""),
    "fed with the battery off": (GOOD, FEED, "setup: {through: {lamp: 21 W}, battery: disconnected}",
                                 "tests.feed.setup.through", "with the battery disconnected",
                                 "must have no 'through' then", ""),
    "engine without its battery": (GOOD, FEED, "setup: {through: {limit: 5 A}, running: yes}",
                                   "tests.feed.setup.through", "no battery beside a running engine",
                                   "'running: no'", ""),
    "lamp in place of no fuse": (GOOD, FEED, "setup: {through: {lamp: 21 W, at: F33}}",
                                 "tests.feed.setup.through.at", "no part 'F33'", "must be a fuse", "F3"),
    "lamp beside its fuse": (GOOD, FEED, "setup: {through: {lamp: 21 W, at: F3}}",
                             "tests.feed.setup.through.at", "'F3', which is still in",
                             "must have 'pull: [F3]'", ""),
    "supply in place of a fuse": (GOOD, FEED, "setup: {through: {limit: 5 A, at: F3}, pull: [F3]}",
                                  "tests.feed.setup.through.at", "a place for a limited supply",
                                  "must be a lamp there", ""),
    "series lamp that is not there": (GOOD, LEFT, "left: {lamp: through}",
                                      "tests.low-at-the-plug.observe.left.lamp", "'through'",
                                      "must have 'through: {lamp: 21 W}' there", ""),
    "clamp on nothing": (GOOD, "{amps: bridge}", "{amps: W44}",
                         "tests.low-at-the-plug.observe.amps.amps", "'W44'", "a wire, a fuse", "W4"),
    "clamp on no lead": (GOOD, "{amps: bridge}", "{amps: feed}",
                         "tests.low-at-the-plug.observe.amps.amps", "no such lead", "'feed'", ""),
    "same point twice": (GOOD, "volts: [S1.2, G1.-]", "volts: [S1.2, S1.2]",
                         "tests.low-at-the-plug.observe.feed.volts", "S1.2 twice", "two points", ""),
    "two kinds in one": (GOOD, LEFT, "left: {speed: M1, amps: F3}",
                         "tests.low-at-the-plug.observe.left", "2 things to observe (amps and speed)",
                         "exactly one of volts, drop", ""),
    "no kind in one": (GOOD, LEFT, "left: {inline: yes}", "tests.low-at-the-plug.observe.left",
                       "0 things", "exactly one of volts, drop", ""),
    "missing access of a part": (GOOD, "access: behind the grille", "access: behind the gril",
                                 "parts.S1.access", "'behind the gril'", "entry of 'access'",
                                 "behind the grille"),
    "missing access of a test": (GOOD, "minutes: 4", "access: [behind the grill]",
                                 "tests.low-at-the-plug.access.0", "'behind the grill'",
                                 "entry of 'access'", "behind the grille"),
    "missing access of a wire": (GOOD, "colour: BN}", "colour: BN, access: behind}", "wires.W5.access",
                                 "'behind'", "entry of 'access'", ""),
    "nothing to observe": (GOOD, TWO_VOLTS, "observe: {}", "tests.feed.observe", "nothing to observe",
                           "an observation", ""),
    "frequency as a list": (FREQUENT, "R1 open: 12", "R1 open: [12]", "frequencies.R1 open",
                            "a list of 1", "a number from 0", ""),
    "frequency of no fault": (FREQUENT, "R1 open: 12", "R1 opn: 12", "frequencies.R1 opn",
                              "no fault 'R1 opn'", "must be a fault mode", "R1 open"),
    "frequency of no fault of a kind": (FREQUENT, "R1 open: 12", "resistor opn: 12",
                                        "frequencies.resistor opn", "no fault 'resistor opn'",
                                        "a kind of part here with its mode", "resistor open"),
    "frequency of a kind that is not here": (FREQUENT, "R1 open: 12", "diode open: 12",
                                             "frequencies.diode open", "no fault 'diode open'",
                                             "a kind of part here with its mode", "wire open"),
    "frequency of a word": (FREQUENT, "R1 open: 12", "R1 open: often", "frequencies.R1 open",
                            "'often'", "a number from 0", ""),
    "negative frequency": (FREQUENT, "R1 open: 12", "R1 open: -1", "frequencies.R1 open", "'-1'",
                           "a number from 0", ""),
}  # fmt: skip
ONE_PROBLEM["unknown key at the top"] = (
    GOOD, "volts: 12\n", "ambiant: 20 degC\nvolts: 12\n", "ambiant", "unknown key 'ambiant'",
    "harness, about, volts", "ambient",
)  # fmt: skip
#: where the answer is not on the line of the change: the line begins so
ELSEWHERE = {
    "no way out": "  M1:",
    "part never wired": "  F9:", "no strap": "  E0:", "battery minus unwired": "  G1:",
    "at rest nowhere": "  S3:", "endless cavities": "  X2:",
}  # fmt: skip


@pytest.mark.parametrize("case", ONE_PROBLEM)
def test_one_mistake_gets_one_answer(case):
    text, old, new, name, found, must, near = ONE_PROBLEM[case]
    assert old in text
    broken = text.replace(old, new, 1)
    (problem,) = problems_of(broken)
    start = ELSEWHERE.get(case)
    if start is None:
        line = text[: text.index(old)].count("\n") + 1
    else:
        line = next(number for number, one in enumerate(broken.splitlines(), 1) if one.startswith(start))
    assert problem.line == line
    assert problem.name == name
    assert found in problem.found
    assert must in problem.must
    assert problem.nearest == near
    assert str(problem).startswith(f"loom.yaml:{line}: ")


def test_no_strap_to_the_body():
    text = GOOD.replace(W0, "  W0: {from: G1.-, to: M1.-, size: 4 mm2, length: 1 m}\n")
    text = text.replace("  E0: {kind: ground}\n", "").replace("W5: {from: X2.3a", "W5: {from: R1.2")
    (first, *rest) = problems_of(text)
    assert (first.line, first.name, rest) == (6, "parts.G1", [])
    assert "no strap from G1.- to the body" in first.found


def test_plus_and_minus_may_share_a_plug():
    text = GOOD.replace("  X2: {kind", "  X1: {kind: plug, cavities: 2}\n  X2: {kind")
    text = text.replace("to: F3.in,", "to: X1.1a,")
    text = text.replace("from: G1.-, to: E0.31", "from: G1.-, to: X1.2a")
    text = text.replace(
        "tests:\n",
        """\
  W20: {from: X1.1b, to: F3.in, size: 6 mm2, length: 1 m}
  W21: {from: X1.2b, to: E0.31, size: 6 mm2, length: 1 m}
tests:
""",
        1,
    )
    assert "X1" in parse_harness(text).parts


def test_a_part_that_could_not_be_read_is_no_part_that_is_missing():
    """M1 stands there, with a slip of its own: that there were no motor is not so."""
    text = re.sub(r"winding: [^,}]+", "winding: 0.2 farad", GOOD)
    problems = problems_of(text.replace(LEFT, "left: {speed: M7}"))
    assert [one.name.split(".")[-1] for one in problems][:1] == ["winding"]
    missing = next(one for one in problems if one.found.startswith("no part 'M7'"))
    assert "there is none" not in missing.must
    assert "M1" in missing.must


@pytest.mark.parametrize(("unit", "written"), [
    ("resting: 12.6 V", "resting: 12.6 volts"), ("internal: 12 mohm", "internal: 12 mohms"),
])  # fmt: skip
def test_units_may_be_written_out(unit, written):
    assert unit in GOOD
    assert parse_harness(GOOD.replace(unit, written)).parts == parse_harness(GOOD).parts


def test_no_battery():
    problems = problems_of(GOOD.replace("  G1: {kind: battery, internal: 12 mohm}\n", ""))
    assert (problems[0].line, problems[0].must) == (4, "must be a part of kind battery: there is none")
    assert problems[0].found == "no part 'G1' (again on lines 18, 19, 35, 43, 48, 49)"
    assert problems[1:] == ()


@pytest.mark.parametrize(
    "change", [(", battery: disconnected}", "}"), ("battery: disconnected", "battery: connected")]
)
def test_ohms_with_the_battery_connected(change):
    problems = problems_of(GOOD.replace(*change))
    assert [one.line for one in problems] == [55]
    assert all("battery: disconnected" in one.must for one in problems)


def test_all_problems_at_once_in_the_order_of_lines():
    text = GOOD
    for old, new in (
        ("minutes: 4", "minuts: 4"),
        ("0.40", "0.40 V"),
        ("kind: fuse", "kind: fuze"),
        ("volts: 12\n", "volts: 13\n"),
        ("colour: BN", "colour: XX"),
    ):
        text = text.replace(old, new, 1)
    assert [one.line for one in problems_of(text)] == [3, 7, 14, 24, 37]


def test_mistakes_of_every_sort_are_told_at_once():
    text = GOOD
    for old, new in (
        ("volts: 12\n", "volts: 12\nvolts: 24\n"),  # form
        ("resting: 12.6 V", "restng: 12.6 V"),  # the top level
        ("rating: 40 A", "rating: 40 V"),  # a part
        ("opens: 94 degC", "opens: 104 degC"),  # a part against itself
        ("to: S1.2,", "to: S1.4,"),  # a name
        ("[[S1.2, S1.1]]", "[[S1.2, R2.1]]"),  # a test
    ):
        assert old in text
        text = text.replace(old, new, 1)
    problems = problems_of(text)
    assert [(one.line, one.name) for one in problems] == [
        (4, "volts"), (5, "supply.restng"), (8, "parts.F3.rating"), (12, "parts.S1.high.opens"),
        (22, "wires.W2.to"), (33, "tests.low-at-the-plug.setup.bridge.0"),
    ]  # fmt: skip


SLIPS_OF_FORM = {
    "tab": ("  E0: {kind: ground}", "\tE0: {kind: ground}"),
    "a level deep in tabs": ("    title: Low", "\t\ttitle: Low"),
    "brace": ("E0: {kind: ground}", "E0: {kind: ground"),
    "bracket": ("[S1.2, S1.1]]}", "[S1.2, S1.1]}"),
    "out of step": ("  E0: {kind: ground}", " E0: {kind: ground}"),
    "first of its block out of step": ("    title: Low", "     title: Low"),
    "colon": ("harness: Test", "harness Test"),
    "blank behind a colon": ("{kind: ground}", "{kind:ground}"),
    "quote": ("where: left", "where: 'left"),
    "comma": ("from: G1.-, to: E0.31", "from: G1.- to: E0.31"),
    "no such character": ("harness: Test", "harness: @Test"),
    "dash": ("  E0: {kind: ground}", "  - E0: {kind: ground}"),
}


@pytest.mark.parametrize("slip", SLIPS_OF_FORM)
def test_behind_a_slip_of_form_the_rest_of_the_file_is_read(slip):
    """The two other mistakes are told as they are without it."""
    right, wrong = SLIPS_OF_FORM[slip]
    other = GOOD.replace("ohms: 0.40", "ohms: 0.40 V").replace(LEFT, "left: {sped: M1}", 1)
    told = [str(one) for one in problems_of(other)]
    assert len(told) == 2
    assert right in other
    with_slip = [str(one) for one in problems_of(other.replace(right, wrong, 1))]
    assert len(with_slip) == 3
    assert set(told) < set(with_slip)


def test_tabs_are_told_once_with_their_lines():
    (problem,) = problems_of(re.sub("(?m)^ +(?=(title|setup|minutes):)", "\t\t", GOOD))
    assert re.fullmatch(r"a tab at the start of a line \(again on lines [\d, ]+\)", problem.found)


def test_several_slips_of_form():
    text = GOOD.replace("E0: {kind: ground}", "E0: {kind: ground").replace("harness: T", "harness T")
    text = text.replace("from: G1.-, to", "from: G1.-; to").replace("ohms: 0.40", "ohms: 0.40 V")
    assert [one.found for one in problems_of(text)] == [
        "a line without ':'", "'0.40 V'", "'{' without its '}'", "';' between entries",
    ]  # fmt: skip


def test_a_terminal_by_another_name():
    """Names of the trade, common practice, no source."""
    for wrong, right in (("G1.plus", "G1.+"), ("G1.negative", "G1.-"), ("E0.gnd", "E0.31")):
        old = {"G1.+": "from: G1.+", "G1.-": "from: G1.-", "E0.31": "to: E0.31"}[right]
        (problem,) = problems_of(GOOD.replace(old, old.replace(right, wrong), 1))
        assert problem.nearest == right


def test_a_sheet_of_readings_is_told_as_that():
    (problem,) = problems_of("readings: x\nharness: bench\ntests: {low: {fan: off}}\n")
    assert problem.found == "a sheet of readings"


def test_what_follows_from_an_unread_part_is_not_told():
    (problem,) = problems_of(GOOD.replace("kind: fuse", "kind: fuze"))
    assert problem.name == "parts.F3.kind"


def test_a_large_broken_file_is_told_in_no_time():
    tests = "".join(f"  t{n}: {{title: x, observe: {{a: {{amps: X{n}}}}}}}\n" for n in range(1900))
    problems = problems_of(GOOD.replace("tests:\n", f"tests:\n{tests}", 1))
    assert len(problems) == 1900
    many = "".join(f"  t{n}: x\n" for n in range(50_000))
    (problem,) = problems_of(GOOD.replace("tests:\n", f"tests:\n{many}", 1))
    assert (problem.found, problem.must) == ("50004 entries", "must be one loom: at most 50000")


@pytest.mark.parametrize(("text", "line", "found", "must"), [
    ("", 0, "an empty file", "must hold a description"),
    (" \n\n", 0, "an empty file", "must hold a description"),
    ("# nothing\n# at all\n", 0, "nothing but comments", "must hold a description"),
    ("just a word\n", 1, "no keys", "must begin with"),
    ("- a\n- b\n", 1, "no keys", "must begin with"),
    ("a: " + "[" * 10_000, 1, "more than 12 levels", "less nested"),
    ("a: " + "{a: " * 10_000, 1, "more than 12 levels", "less nested"),
    ("a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n", 1, "an anchor", "written out"),
])  # fmt: skip
def test_text_that_is_no_description(text, line, found, must):
    (problem,) = problems_of(text)
    assert problem.line == line
    assert found in problem.found
    assert must in problem.must


def refused(path):
    with pytest.raises(DescriptionError) as caught:
        read_harness(path)
    (problem,) = caught.value.problems
    assert problem.file == str(path)
    return problem


def test_not_utf_8(tmp_path):
    path = tmp_path / "latin.yaml"
    path.write_bytes(GOOD.encode().replace(b"left chassis leg", b"k\xfchler"))
    problem = refused(path)
    assert (problem.line, problem.found, problem.must) == (17, "byte 0xfc", "must be text in UTF-8")


def test_a_byte_order_mark_is_no_mistake(tmp_path):
    path = tmp_path / "marked.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_harness(path).name == "marked"


def test_directory(tmp_path):
    assert (refused(tmp_path).found, refused(tmp_path).must) == ("a directory", "must be a file")


def test_missing_file(tmp_path):
    assert refused(tmp_path / "none.yaml").found == "no such file"


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "locked.yaml"
    path.write_text(GOOD, encoding="utf-8")

    def locked(*_args, **_keywords):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", locked)
    assert refused(path).found == "no permission to read it"


def test_huge_file_is_not_read_to_its_end(tmp_path):
    path = tmp_path / "huge.yaml"
    with path.open("wb") as stream:
        os.truncate(stream.fileno(), 50_000_000)
    tracemalloc.start()
    try:
        problem = refused(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert (problem.found, problem.must) == ("more than 10 MB", "must be a description, not a data dump")
    assert peak < 50_000_000


def test_unknown_shipped_harness():
    with pytest.raises(UnknownName, match="nearest: twin-fan-switch") as caught:
        load_harness("twin-fan-swich")
    assert caught.value.nearest == "twin-fan-switch"


LINES = RELAY.splitlines(keepends=True)
SNIPPETS = st.sampled_from([
    "", " ", "\n", ":", ": ", "{", "}", "[", "]", "- ", "&a ", "*a", "!!int ", "'", '"', "#", "\t", "|",
    "? ", "---\n", "0", "-1", "1e999", "null", "S1.2", "kind: ", "\x00", "\ud800", "\u2028", "\ufeff",
])  # fmt: skip


@st.composite
def mutations(draw):
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["drop", "double", "swap", "splice", "cut"]))
        column = draw(st.integers(0, len(lines[at])))
        if what == "drop":
            lines[at] = ""
        elif what == "double":
            lines.insert(at, lines[at])
        elif what == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif what == "splice":
            lines[at] = lines[at][:column] + draw(SNIPPETS) + lines[at][column:]
        else:
            until = draw(st.integers(column, len(lines[at])))
            lines[at] = lines[at][:column] + draw(SNIPPETS) + lines[at][until:]
    return "".join(lines)


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(mutations())
def test_no_mutation_of_a_good_file_raises_anything_else(text):
    problems, lines = None, len(re.split(r"\r\n|[\n\r\x85\u2028\u2029]", text))
    try:
        assert parse_harness(text, "loom.yaml").parts
    except DescriptionError as error:
        problems = error.problems
    assert problems is None or problems
    assert all(0 <= one.line <= lines + 1 and one.found and one.must for one in problems or ())
