"""What the pages say is what the code does."""

import re
import runpy
from pathlib import Path

import pytest

from circuitcheck.harness.load import parse_harness
from circuitcheck.harness.model import KINDS_OF_OBSERVATION, Setup
from circuitcheck.harness.readings import parse_readings
from circuitcheck.harness.tree import parse
from circuitcheck.parts import KINDS
from circuitcheck.shipped import harness_files

ROOT = Path(__file__).parent.parent


def test_the_page_of_part_kinds_is_current():
    script = runpy.run_path(str(ROOT / "docs" / "make_parts.py"))
    assert (ROOT / "docs" / "parts.md").read_text(encoding="utf-8") == script["page"](), (
        "run: python docs/make_parts.py"
    )


def blocks(page: str) -> list[str]:
    return re.findall(r"```yaml\n(.*?)```", (ROOT / "docs" / page).read_text(encoding="utf-8"), re.S)


def test_the_examples_of_the_format_page_load():
    harness_text, readings_text = blocks("formats.md")
    harness = parse_harness(harness_text, name="bench-fan")
    sheet = parse_readings(harness, readings_text)
    assert len(sheet.readings) == 7
    page = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    table = re.search(r"As CSV:\n\n```\n(.*?)```", page, re.S)
    assert len(parse_readings(harness, table.group(1)).readings) == 3


def test_every_key_of_a_test_is_on_the_format_page():
    page = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    for key in (*Setup.model_fields, *KINDS_OF_OBSERVATION):
        assert f"`{key}" in page, key


def test_every_page_is_in_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for page in (ROOT / "docs").glob("*.md"):
        assert f"docs/{page.name}" in readme, page.name
    assert "docs/course/README.md" in readme


SHOWN = [
    "README.md",
    *(f"docs/{name}.md" for name in ("explain", "practise", "continuity", "restore", "resistor")),
    *(f"docs/course/{path.name}" for path in sorted((ROOT / "docs" / "course").glob("*.md"))),
]


@pytest.mark.parametrize("name", SHOWN)
def test_the_output_and_the_numbers_of_a_page_are_current(name, pages):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert pages["page"](text, pages["folder_of"](ROOT / name)) == text, (
        "run: python docs/make_readme.py"
    )


def test_all_pages_that_show_output_are_looked_at(pages):
    assert sorted(str(path.relative_to(ROOT)) for path in pages["PAGES"]) == sorted(SHOWN)


def test_a_number_that_is_no_longer_true_is_renewed(pages):
    # OpenStax College Physics 2e, 21.1, first example: 0.600 A through 1.00, 6.00 and 13.0 ohm.
    text = "`circuitcheck expect series.yaml` has 9.99 A<!--= amps/expected --> and {}<!--= R3/ohms of series.yaml -->"
    found = pages["page"](text.format("5.0 ohm"), ROOT / "docs" / "course")
    assert " has 0.60 A<!--= amps" in found
    assert "and 13.0 ohm<!--= R3" in found
    with pytest.raises(ValueError, match="no test 'rov'"):
        pages["page"]("```\n$ circuitcheck expect series.yaml --test rov\n```", ROOT / "docs" / "course")
    with pytest.raises(LookupError, match="R9/ohms of series"):
        pages["page"](text.replace("R3", "R9").format("5 ohm"), ROOT / "docs" / "course")


CASES = runpy.run_path(str(ROOT / "docs" / "make_cases.py"))


@pytest.mark.parametrize("case", CASES["CASES"], ids=lambda case: case.harness)
def test_the_worked_cases_are_current(case):
    """Each is played again from symptom to proof; it ends at the unit with the fault, proven sound."""
    text = CASES["page"](case)
    known = (ROOT / "docs" / "cases" / f"{case.harness}.md").read_text(encoding="utf-8")
    assert known == text, "run: python docs/renew.py"
    assert "Verdict: sound" in text.rpartition("## The proof")[2]


def test_there_is_a_worked_case_for_each_shipped_harness():
    assert {one.harness for one in CASES["CASES"]} == set(harness_files())
    index = (ROOT / "docs" / "cases" / "README.md").read_text(encoding="utf-8")
    assert index == CASES["index"]()


def test_the_examples_of_the_kinds_of_part_can_be_read():
    """As they stand on the page, by the reader of harness files; each kind with nested fields has one."""
    page = runpy.run_path(str(ROOT / "docs" / "make_parts.py"))["page"]()
    shown = [parse(text, "parts.md").data for text in re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)]
    parts = {data["kind"]: data for one in shown for data in one.values()}
    assert {"motor", "thermoswitch", "module", "resistor", "switch", "fuse"} <= set(parts)
    for kind, data in parts.items():
        assert KINDS[kind].model_validate(data).pins()
    assert not re.search(r"^    \S", page, re.MULTILINE), "an indented line is a block of code"
