"""Round trip: a description read, written and read again is the same description."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from circuitcheck.harness.load import parse_harness, read_harness
from circuitcheck.harness.schema import harness_schema
from circuitcheck.harness.write import quantity_text, to_yaml
from circuitcheck.parts import quantity as units

ROOT = Path(__file__).parents[2]
FILES = [path for folder in ("harnesses", "tests/data", "tests/solve")
         for path in sorted(ROOT.glob(f"{folder}/*.yaml"))]  # fmt: skip

LOOM = """\
harness: {title}
about: {about}
volts: 12
supply: {{battery: G1, resting: {resting} V, running: 14.2 V}}
ambient: {ambient} degC
parts:
  G1: {{kind: battery, internal: {internal} mohm, clamp: {clamp} ohm}}
  {fuse}: {{kind: fuse, rating: {rating} A, note: {note}}}
  S1: {{kind: thermoswitch, low: {{closes: 92 degC, opens: {opens} °C}}, access: {access}}}
  R1: {{kind: resistor, ohms: {ohms}, tolerance: {tolerance} %, cut_out: {{opens: 180 degC}}}}
  M1:
    kind: motor
    rated: {{volts: 13, amps: {amps}, rpm: {rpm}}}
    winding: {winding} mΩ
    plug: {plug}
  E1: {{kind: ground, where: {where}}}
wires:
  W0: {{from: G1.-, to: E1.31, size: {awg} AWG, length: {length} mm, colour: BK/GNYE}}
  W1: {{from: G1.+, to: {fuse}.in, size: {size} mm2, length: {length} cm}}
  W2: {{from: {fuse}.out, to: S1.2, size: 4 mm2, length: 1.8 m, belongs_to: {note}}}
  W3: {{from: S1.1, to: R1.1, size: 4 mm2, length: 1.8 m}}
  W4: {{from: R1.2, to: M1.+, size: 4 mm2, length: 1.8 m}}
  W5: {{from: M1.-, to: E1.31, size: 4 mm2, length: 1.8 m}}
tests:
  {test}:
    title: {title}
    setup: {{running: {plug}, engine: {ambient} degC cooling, bridge: [[S1.2, S1.1]]}}
    observe:
      {note}: {{volts: [S1.2, G1.-]}}
      {test}: {{amps: {fuse}, inline: {plug}}}
    minutes: {minutes}
    access: [{access}]
access:
  {access}: {{minutes: {minutes} h, note: {where}}}
frequencies: {{R1 open: {often}, wire open: {often}, W2 short to ground: 0}}
"""


def number(low, high):
    """As somebody types it, or with every digit there is."""
    floats = st.floats(low, high)
    return floats.map(repr) | floats.map("{:.2f}".format)


def written(text):
    """In quotes, as any YAML writer may do it."""
    return json.dumps(text, ensure_ascii=False)


# Surrogates are no text; what json.dumps leaves bare and YAML folds would not be read back as it was.
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp", "Cn"],
                             exclude_characters="\ufeff"), min_size=1, max_size=20)  # fmt: skip
LABEL = TEXT.filter(lambda text: text != "<<").map(written)

VALUES = st.fixed_dictionaries({
    "title": TEXT.map(written), "about": TEXT.map(written), "where": TEXT.map(written),
    "note": TEXT.map(lambda text: written(f"n{text}")),
    "test": TEXT.map(lambda text: written(f"t{text}")),
    "access": LABEL, "fuse": st.from_regex(r"F[A-Za-z0-9_-]{0,6}", fullmatch=True),
    "resting": number(11, 13), "ambient": number(-40, 60), "internal": number(1, 60),
    "clamp": number(0.01, 0.2), "rating": number(1, 80), "opens": number(-50, 91),
    "ohms": number(0.05, 9), "tolerance": number(0, 50), "plug": st.sampled_from(["yes", "no"]),
    "amps": number(1, 20), "rpm": number(500, 4000), "winding": number(20, 400),
    "awg": st.sampled_from(["0", "2/0", "4/0", "1", "12", "20"]), "size": number(0.5, 95),
    "length": number(1, 900), "minutes": number(0, 90), "often": number(0, 50),
})  # fmt: skip


@settings(deadline=None, max_examples=150)
@given(VALUES)
def test_nothing_is_lost(values):
    first = parse_harness(LOOM.format(**values), name="loom")
    text = to_yaml(first)
    again = parse_harness(text, name="loom")
    assert again == first
    assert to_yaml(again) == text


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_real_files_come_back_whole(path):
    harness = read_harness(path)
    text = to_yaml(harness)
    assert parse_harness(text, name=harness.name) == harness
    data = json.loads(json.dumps(YAML(typ="safe").load(text)))
    assert list(Draft202012Validator(harness_schema()).iter_errors(data)) == []


ALL_UNITS = [one for one in vars(units).values() if isinstance(one, units.Unit)]


@settings(deadline=None)
@given(st.sampled_from(ALL_UNITS), st.floats(1e-6, 0.999))
def test_every_unit_reads_back_exactly(unit, share):
    top = min(unit.high, 1e6)
    value = max(unit.low, 0.0) + share * (top - max(unit.low, 0.0))
    assert unit.parse(quantity_text(unit, value)) == value


@pytest.mark.parametrize(("unit", "value", "text"), [
    (units.OHM, 0.4, "0.4 ohm"), (units.OHM, 0.003, "3 mohm"), (units.OHM, 680.0, "680 ohm"),
    (units.OHM, 4700.0, "4700 ohm"), (units.OHM, 1e7, "10 Mohm"), (units.PERCENT, 0.05, "5 %"),
    (units.METRE, 1.8, "1.8 m"), (units.MINUTE, 25.0, "25 min"), (units.RPM, 2600.0, "2600 rpm"),
    (units.COUNT, 3.0, "3"), (units.CELSIUS, -7.5, "-7.5 degC"), (units.VOLT, 0.08, "80 mV"),
])  # fmt: skip
def test_written_as_a_person_would(unit, value, text):
    assert quantity_text(unit, value) == text


def test_text_that_yaml_would_misread_stands_in_quotes():
    text = (ROOT / "tests" / "data" / "bench.yaml").read_text(encoding="utf-8")
    note = 'off: #1, [a] {b} "c" \\ - * & ! | > % @ ` \u00e9\u2028\u0085\t'
    quoted = '"' + note.replace("\\", "\\\\").replace('"', '\\"').replace("\u2028", "\\L").replace(
        "\u0085", "\\N").replace("\t", "\\t") + '"'  # fmt: skip
    harness = parse_harness(text.replace("where: left chassis leg", f"where: {quoted}"), name="bench")
    assert harness.parts["E1"].where == note
    assert parse_harness(to_yaml(harness), name="bench") == harness
