"""The page of rules is what the rules are."""

import runpy
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_page_of_rules_is_current():
    script = runpy.run_path(str(ROOT / "docs" / "make_inspect.py"))
    assert (ROOT / "docs" / "inspect.md").read_text(encoding="utf-8") == script["page"](), (
        "run: python docs/make_inspect.py"
    )


def test_every_rule_says_what_it_finds():
    from circuitcheck.inspect.inspection import all_rules

    for rule in all_rules():
        assert rule.what.endswith("."), rule.id
        assert rule.check.__doc__, rule.id
