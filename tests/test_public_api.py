"""What the package offers, and that results turn into the dicts that the command line prints."""

import json

import pytest

import circuitcheck


def test_all_is_sorted_and_importable():
    assert circuitcheck.__all__ == sorted(circuitcheck.__all__)
    assert all(hasattr(circuitcheck, name) for name in circuitcheck.__all__)


def test_public_names_are_documented():
    for name in circuitcheck.__all__:
        assert getattr(circuitcheck, name).__doc__, name


@pytest.fixture(scope="module")
def loom():
    return circuitcheck.load("first-fan")


def test_the_verbs_work_together(loom):
    fault = next(one for one in loom.faults() if one.spec.endswith("blown"))
    sheet = loom.whatif(fault.spec, spread=1)
    verdict = loom.locate(sheet)
    assert verdict.suspects[0].group == 1
    assert fault.spec in [one.spec for one in verdict.suspects if one.group == 1]


def test_results_are_plain_dicts_and_tables(loom):
    expectation = loom.expect()
    as_dict = expectation.to_dict()
    assert json.loads(json.dumps(as_dict)) == as_dict
    assert set(as_dict["tests"][0]) >= {"test", "title", "cautions", "lead", "readings"}
    names = {"name", "kind", "unit", "expected", "low", "high", "word"}
    assert set(as_dict["tests"][0]["readings"][0]) == names
    assert "<table>" in expectation._repr_html_()
    verdict = loom.locate(loom.whatif(spread=3))
    as_dict = verdict.to_dict()
    assert json.loads(json.dumps(as_dict)) == as_dict
    names = {"spec", "where", "fault", "replace", "probability", "group", "estimate", "reasons"}
    assert set(as_dict["suspects"][0]) >= names
    names = {"test", "name", "measured", "expected", "low", "high", "fits"}
    assert set(as_dict["readings"][0]) >= names
    assert "<table>" in verdict._repr_html_()


def test_unknown_names_offer_the_nearest(loom):
    with pytest.raises(circuitcheck.UnknownName, match="nearest: first-fan"):
        circuitcheck.load("first-fam")
    test = loom.tests()[0]
    with pytest.raises(circuitcheck.UnknownName, match=f"nearest: {test}"):
        loom.expect(test + "x")
    with pytest.raises(circuitcheck.UnknownName, match="nearest: M1 open"):
        loom.whatif("M1 opne")
    with pytest.raises(ValueError, match="has no value to give"):
        loom.whatif("M1 open=3 ohm")


def test_locate_takes_a_mapping_and_a_file(loom, tmp_path):
    written = loom.written("M1 open", spread=2)
    by_mapping = loom.locate(written)
    rows = ["test,name,reading"]
    rows += [
        f"{test},{name},{value}" for test, values in written.items() for name, value in values.items()
    ]
    path = tmp_path / "sheet.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    assert loom.locate(path).to_dict() == by_mapping.to_dict()


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        (lambda loom, sheet: sheet, ["fan-direct", "feed-loss"]),
        (lambda loom, sheet: loom.why(sheet), ["M1 open", "with it", "fan-direct"]),
        (lambda loom, sheet: loom.prove(sheet), ["minutes, which rule out", "ignition on"]),
        (lambda loom, sheet: loom.inspect(), ["no-fuse, W6:"]),
        (lambda loom, sheet: loom.buzz(), ["W1 RD", "G1.+"]),
        (lambda loom, sheet: loom.powerup(), ["10-X2", "fed through a 12 V lamp"]),
        (lambda loom, sheet: loom.explain("fan-direct"), ["The way of the current", "motor M1"]),
    ],
)
def test_print_shows_what_a_person_wants_to_read(loom, asked, shown):
    """Names of the harness file, and none of the way Python writes a dataclass."""
    found = asked(loom, loom.sheet(loom.written("M1 open", spread=2)))
    text = str(found)
    assert all(one in text for one in shown)
    assert f"{type(found).__name__}(" not in text
