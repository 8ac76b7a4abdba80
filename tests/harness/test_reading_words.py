"""Words of looked-at readings, as people write them; what they mean is common practice, no source."""

import math

import pytest
from pydantic_core import PydanticCustomError

from circuitcheck.harness.readings import parse_reading


@pytest.mark.parametrize(
    ("kind", "said", "word"),
    [
        ("lamp", "glows", "dim"),
        ("lamp", "Glowing", "dim"),
        ("lamp", "off", "dark"),
        ("lamp", "bright", "bright"),
        ("lamp", "flickers", "buzzes"),
        ("speed", "stopped", "off"),
        ("speed", "not turning", "off"),
        ("click", "click", "clicks"),
        ("click", "no click", "silent"),
        ("click", "chatters", "buzzes"),
        ("turn", "turns freely", "free"),
        ("turn", "Seized", "stuck"),
        ("turn", "turns hard", "stiff"),
        ("turn", "slips", "loose"),
        ("fuse", "burnt", "blown"),
        ("fuse", "OK", "whole"),
    ],
)
def test_the_usual_words_are_taken(kind, said, word):
    value, found = parse_reading(kind, said)
    assert math.isnan(value)
    assert found == word


@pytest.mark.parametrize(("kind", "said"), [("lamp", "stopped"), ("click", "glows"), ("lamp", "lit")])
def test_a_word_that_could_mean_two_things_is_asked_back(kind, said):
    with pytest.raises(PydanticCustomError) as error:
        parse_reading(kind, said)
    for word in {"lamp": ("dark", "dim", "bright"), "click": ("silent", "clicks")}[kind]:
        assert word in error.value.context["must"]
