"""The student's pages name every picture and level."""

from pathlib import Path

from circuitcheck.learn.case import LEVELS
from circuitcheck.learn.plots import PICTURES

ROOT = Path(__file__).parent.parent.parent


def test_every_picture_and_level_is_on_its_page():
    page = (ROOT / "docs" / "explain.md").read_text(encoding="utf-8")
    assert all(f"| `{one}` |" in page for one in PICTURES)
    page = (ROOT / "docs" / "practise.md").read_text(encoding="utf-8")
    assert all(f"\n| {one} |" in page for one in LEVELS)
