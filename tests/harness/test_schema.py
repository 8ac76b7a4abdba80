"""The published schemas are current, take every good file, and refuse broken ones."""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from circuitcheck.harness.schema import harness_schema, readings_schema

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "tests" / "data" / "bench.yaml"
GOOD = [BENCH, *sorted(ROOT.glob("harnesses/*.yaml")), *sorted(ROOT.glob("tests/solve/*.yaml"))]
SHEETS = sorted(ROOT.glob("harnesses/readings/*/*.yaml"))
SCHEMAS = {"harness": harness_schema, "readings": readings_schema}


def _plain(node: object) -> object:
    """As JSON has it: names are text, and so is a date."""
    if isinstance(node, dict):
        return {str(key): _plain(one) for key, one in node.items()}
    if isinstance(node, list):
        return [_plain(one) for one in node]
    return node.isoformat() if isinstance(node, date | datetime) else node


def complaints(what: str, text: str) -> list[str]:
    validator = Draft202012Validator(SCHEMAS[what]())
    data = _plain(YAML(typ="safe").load(text))
    return [f"{one.json_path}: {one.message}" for one in validator.iter_errors(data)]


@pytest.mark.parametrize("what", SCHEMAS)
def test_copy_in_shared_is_current(what):
    text = json.dumps(SCHEMAS[what](), indent=2, sort_keys=True, ensure_ascii=False) + "\n"
    assert (ROOT / "shared" / f"{what}.schema.json").read_text(encoding="utf-8") == text


@pytest.mark.parametrize("what", SCHEMAS)
def test_is_itself_a_valid_schema(what):
    Draft202012Validator.check_schema(SCHEMAS[what]())


def _open_objects(node: object, where: str = "$") -> list[str]:
    if isinstance(node, list):
        return [found for one in node for found in _open_objects(one, where)]
    if not isinstance(node, dict):
        return []
    found = [one for key, inner in node.items() for one in _open_objects(inner, f"{where}.{key}")]
    told_by_kind = "allOf" in node
    if node.get("type") == "object" and "additionalProperties" not in node and not told_by_kind:
        found.append(where)
    return found


@pytest.mark.parametrize("what", SCHEMAS)
def test_no_mapping_takes_unknown_keys(what):
    assert _open_objects(SCHEMAS[what]()) == []


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.name)
def test_good_harness_validates(path):
    assert complaints("harness", path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_shipped_readings_validate(path):
    assert complaints("readings", path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("ohms: 0.40", "ohms: 0.40 V", "$.parts.R1.ohms"),
        ("size: 25 mm2", "size: 25", "$.wires.W0.size"),
        ("size: 25 mm2", "size: 12 AWGs", "$.wires.W0.size"),
        ("kind: fuse", "kind: fuze", "$.parts.F3.kind"),
        ("tolerance: 5 %", "tolerence: 5 %", "$.parts.R1"),
        ("plug: no}", "plug: perhaps}", "$.parts.R1.plug"),
        ("from: G1.-, to: E0.31", "from: G1.-", "$.wires.W0"),
        ("{speed: M1}", "{speed: M1, click: M1}", "$.tests['low-at-the-plug'].observe.left"),
        ("volts: 12", "volts: 13", "$.volts"),
    ],
)
def test_broken_harness_does_not_validate(old, new, where):
    text = BENCH.read_text(encoding="utf-8")
    assert old in text
    found = complaints("harness", text.replace(old, new, 1))
    assert any(one.startswith(where) for one in found), found


SHEET = """\
readings: Right fan dead on low
harness: bench
date: 2026-05-03
note: 1
tests:
  low-at-the-plug: {left: off, amps: 0 A, feed: 12.4}
also:
  - {test: feed, volts: [S1.2, G1.-], read: 12.4 V}
  - {setup: {pull: [F3], ignition: on, running: yes, engine: 95 degC warming}, lamp: [F3.in, G1.-],
     read: bright}
"""


def test_good_readings_validate():
    assert complaints("readings", SHEET) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("harness: bench", "harnes: bench"),
        ("read: 12.4 V", "reads: 12.4 V"),
        ("test: feed, ", ""),
        ("volts: [S1.2, G1.-], ", ""),
        ("volts: [S1.2, G1.-]", "volts: [S1.2]"),
        ("left: off", "left: [off]"),
        ("pull: [F3]", "pul: [F3]"),
        ("ignition: on", "ignition: maybe"),
    ],
)
def test_broken_readings_do_not_validate(old, new):
    assert old in SHEET
    assert complaints("readings", SHEET.replace(old, new, 1)) != []
