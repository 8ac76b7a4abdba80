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
        ("hear", "quiet", "silent"),
        ("hear", "runs", "runs"),
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


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("lamp", "stopped"),
        ("click", "glows"),
        ("lamp", "lit"),
        ("hear", "hums"),  # one that is held on chopped current hums too
    ],
)
def test_a_word_that_could_mean_two_things_is_asked_back(kind, said):
    with pytest.raises(PydanticCustomError) as error:
        parse_reading(kind, said)
    words = {
        "lamp": ("dark", "dim", "bright"),
        "click": ("silent", "clicks"),
        "hear": ("silent", "runs"),
    }
    for word in words[kind]:
        assert word in error.value.context["must"]
