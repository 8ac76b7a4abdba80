"""The student's pages show what the program prints, and name every picture and level."""

import runpy
from pathlib import Path

import pytest

from circuitcheck.learn.case import LEVELS
from circuitcheck.learn.plots import PICTURES

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.parametrize("name", ["explain.md", "practise.md", "resistor.md"])
def test_the_output_on_the_page_is_current(name):
    script = runpy.run_path(str(ROOT / "docs" / "make_readme.py"))
    text = (ROOT / "docs" / name).read_text(encoding="utf-8")
    assert script["page"](text) == text, "run: python docs/make_readme.py"


def test_every_picture_and_level_is_on_its_page():
    page = (ROOT / "docs" / "explain.md").read_text(encoding="utf-8")
    assert all(f"| `{one}` |" in page for one in PICTURES)
    page = (ROOT / "docs" / "practise.md").read_text(encoding="utf-8")
    assert all(f"\n| {one} |" in page for one in LEVELS)
