"""A sound design to be broken, as text: tests replace one thing in it and look which rules notice."""

from pathlib import Path

from circuitcheck.harness.load import parse_harness
from circuitcheck.inspect.inspection import Inspection, inspect_harness
from circuitcheck.inspect.limits import Limits

SOUND = Path(__file__).with_name("sound.yaml").read_text(encoding="utf-8")


def inspected(
    *changes: tuple[str, str], limits: tuple[str, ...] = (), rules: tuple[str, ...] = ()
) -> Inspection:
    """The inspection of the sound design with some of its text replaced."""
    text = SOUND
    for old, new in changes:
        assert text.count(old) == 1, f"{text.count(old)} times in the sound design: {old}"
        text = text.replace(old, new)
    return inspect_harness(parse_harness(text, name="sound"), Limits.of(limits), rules=rules)


def noticed(result: Inspection) -> dict[str, list[str]]:
    """The places that each rule found, single points of failure apart: every design has some."""
    found: dict[str, list[str]] = {}
    for one in result.findings:
        if one.rule != "single-point":
            found.setdefault(one.rule, []).append(one.place)
    return found


def finding(result: Inspection, rule: str):
    """The one finding of a rule."""
    (found,) = [one for one in result.findings if one.rule == rule]
    return found
