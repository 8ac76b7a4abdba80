"""A sheet of readings as YAML: what was found test by test, and readings that no test lists."""

from __future__ import annotations

import re
from pathlib import Path

from circuitcheck.errors import nearest
from circuitcheck.harness.convert import build
from circuitcheck.harness.model import (
    KINDS_OF_OBSERVATION,
    Harness,
    Observation,
    Setup,
    Test,
)
from circuitcheck.harness.reading import NOT_TAKEN
from circuitcheck.harness.rules import check_setup
from circuitcheck.harness.setup_words import in_few_words
from circuitcheck.harness.sheet_reader import METER, METER_KEYS, PUT_RIGHT, SYMPTOM, SheetReader
from circuitcheck.harness.tree import Path_, Repeats, parse

_KEYS = ("readings", "harness", "date", "note", SYMPTOM, METER, PUT_RIGHT, "tests", "also")
_LONE_DASH = re.compile(r"(?<=:) +(-{1,2})(?=\s*(?:[,}]|$|\s#))", re.MULTILINE)
"""A dash as the whole value of a key. YAML sees a list begin, which it cannot there."""

_GROWS = Repeats(lambda path: path == ("also",) or (path[0] == "tests" and len(path) <= 2), NOT_TAKEN)
"""A sheet grows at its end: ``tests`` and ``also`` may stand there again, and fill in what was blank."""


def from_yaml(harness: Harness, text: str, file: str) -> SheetReader:
    """What the text of a sheet says, and its problems."""
    tree = parse(_LONE_DASH.sub(r' "\1"', text), file, _GROWS)
    reader = SheetReader(harness, tree)
    if not tree.whole:
        return reader
    if not isinstance(tree.data, dict):
        must = "must have 'tests:' with readings, or be CSV that begins with 'test,name,reading'"
        tree.report((), "no keys", must)
        return reader
    if {"parts", "wires"} <= set(tree.data):
        tree.report((), "a harness", "must be a sheet of readings, with 'tests:' or 'also:'")
        return reader
    for key in tree.data:
        if key not in _KEYS:
            tree.report(
                (key,), f"unknown key '{key}'", f"known here: {', '.join(_KEYS)}", nearest(key, _KEYS)
            )
    of = tree.data.get("harness", harness.name)
    if of != harness.name and Path(str(of)).stem != harness.name:
        tree.report(("harness",), f"readings of '{of}'", f"must be readings of '{harness.name}'")
    if SYMPTOM in tree.data:
        reader.take_symptom(tree.data[SYMPTOM], (SYMPTOM,))
    if METER in tree.data:
        _take_meter(reader)
    _take_put_right(reader)
    _take_tests(reader)
    _take_added(reader)
    return reader


def _take_meter(reader: SheetReader) -> None:
    """``{input: 1 Mohm, within: 5 %}``: how the meter loads the circuit, and how far off it may be."""
    given = reader.tree.data[METER]
    if not isinstance(given, dict) or not given or not METER_KEYS.keys() >= given.keys():
        reader.tree.report(
            (METER,),
            "no input",
            "must be {input: 1 Mohm}, the resistance of the voltmeter between its leads, "
            "{within: 5 %}, by how much of a reading it may be off, or both",
        )
        return
    for key, text in given.items():
        reader.take_meter(key, text, (METER, key))


def _take_put_right(reader: SheetReader) -> None:
    """One unit, or a list of them."""
    given = reader.tree.data.get(PUT_RIGHT, [])
    for number, one in enumerate(given if isinstance(given, list) else [given]):
        reader.take_put_right(one, (PUT_RIGHT, number) if isinstance(given, list) else (PUT_RIGHT,))


def _take_tests(reader: SheetReader) -> None:
    """Readings that the tests of the harness list."""
    tree, harness = reader.tree, reader.harness
    tests = tree.data.get("tests", {})
    if not isinstance(tests, dict):
        tree.report(("tests",), "no mapping", "must be 'test: {name: reading}'")
        tests = {}
    for test, readings in tests.items():
        if not isinstance(readings, dict):
            tree.report(("tests", test), "no mapping", "must be '{name: reading}'")
            continue
        if test not in harness.tests:
            tree.report(
                ("tests", test),
                f"no test '{test}'",
                "must be a test of the harness",
                nearest(test, harness.tests),
            )
            continue
        for name, value in readings.items():
            reader.take(test, name, value, ("tests", test, name))


def _take_added(reader: SheetReader) -> None:
    """Readings with their own points, and perhaps their own set-up; one name for each of these."""
    added = reader.tree.data.get("also", [])
    own: dict[str, str] = {}
    for number, one in enumerate(added if isinstance(added, list) else [added]):
        path: Path_ = ("also", number)
        if not isinstance(one, dict) or "read" not in one or not {"test", "setup"} & one.keys():
            reader.tree.report(
                path,
                "no reading",
                "must be {test: T, volts: [A, B], read: 12 V}, or with 'setup' in place of 'test'",
            )
            continue
        known = ("test", "setup", *KINDS_OF_OBSERVATION, "read")
        unknown = [key for key in one if key not in known]
        for key in unknown:
            reader.tree.report(
                (*path, key),
                f"unknown key '{key}'",
                f"known here: {', '.join(known)}",
                nearest(key, known),
            )
        if unknown:
            continue
        target = {key: value for key, value in one.items() if key in KINDS_OF_OBSERVATION}
        observation = build(Observation, target, reader.tree, path)
        if observation is None:
            continue
        name = " ".join(f"{k} {v if isinstance(v, str) else ' '.join(v)}" for k, v in target.items())
        test = str(one.get("test", ""))
        if "setup" in one:
            setup = build(Setup, one["setup"], reader.tree, (*path, "setup"))
            if setup is None:
                reader.check_value(one["read"], path)
                continue
            check_setup(reader.harness, reader.tree, (*path, "setup"), setup, reader.known)
            taken = (*own.values(), *reader.harness.tests)
            test = own.get(repr(setup)) or own.setdefault(repr(setup), in_few_words(setup, taken))
            before = dict(reader.setups[test].observe) if test in reader.setups else {}
            reader.setups[test] = Test(title=test, setup=setup, observe=before | {name: observation})
        elif test not in reader.harness.tests:
            reader.tree.report(
                (*path, "test"),
                f"no test '{test}'",
                "must be a test of the harness",
                nearest(test, reader.harness.tests),
            )
            reader.check_value(one["read"], path)
            continue
        else:
            reader.setups[test] = reader.harness.tests[test]
        reader.add(test, name, observation, one["read"], path)
