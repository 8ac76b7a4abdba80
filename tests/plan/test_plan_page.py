"""The page of a plan: its lines part the outcomes as the tree does, and it can be followed on paper."""

import re

import numpy as np
import pytest

import circuitcheck
from circuitcheck.harness.model import Observation
from circuitcheck.plan.branches import Ways
from circuitcheck.plan.outcomes import Outcomes
from circuitcheck.plan.phrases import tag, where
from circuitcheck.plan.tree import Leaf

PAGES = [
    ("first-fan", "fan dead on low"),
    ("twin-fan-switch", "right fan dead on low"),
    ("cabin-blower", "blower dead on 2"),
]


@pytest.fixture(scope="module", params=PAGES, ids=[name for name, _ in PAGES])
def plan(request):
    name, symptom = request.param
    return circuitcheck.load(name).plan(symptom)


class TestLines:
    """Law: whatever lines are found, the first that fits a cell must lead where that cell was to lead,
    and every outcome goes one way."""

    @pytest.mark.parametrize("seed", range(20))
    def test_the_first_line_that_fits_leads_where_the_cell_does(self, seed):
        draw = np.random.default_rng(seed)
        sizes = draw.integers(2, 5, size=3)
        read = [
            Outcomes(tuple(map(str, range(n))), draw.dirichlet(np.full(n, 0.3), size=40)) for n in sizes
        ]
        cells = [tuple(int(draw.integers(n)) for n in sizes) for _ in range(9)]
        cells = list(dict.fromkeys(cells))
        groups = [*(cells[n::3] for n in range(3)), [()]]
        weights = draw.dirichlet(np.ones(40))
        ways = Ways(read, weights).part(groups)

        def leads(cell):
            fits = (
                n
                for n, way in enumerate(ways)
                for line in way.lines
                if all(cell[place] in chosen for place, chosen in line.items())
            )
            return next(fits, len(ways) - 1)

        for number, some in enumerate(groups[:-1]):
            assert [leads(cell) for cell in some] == [number] * len(some)
        assert sum(way.weights.sum() for way in ways) == pytest.approx(1.0)

    def test_one_reading_is_enough_where_it_decides_alone(self):
        sure = Outcomes(("off", "fast"), np.array([[1.0, 0.0], [0.0, 1.0]]))
        idle = Outcomes(("dark", "bright"), np.array([[0.5, 0.5], [0.5, 0.5]]))
        off, fast, rest = Ways([sure, idle], np.array([0.5, 0.5])).part(
            [[(0, 0), (0, 1)], [(1, 0), (1, 1)], [()]]
        )
        assert (off.lines, fast.lines, rest.lines) == (({0: (0,)},), ({0: (1,)},), ())


class TestPage:
    def test_it_is_one_sheet_of_two_pages(self, plan):
        lines = str(plan).splitlines()
        assert len(lines) <= 128
        assert max(map(len, lines)) <= 80

    def test_it_can_be_held_to_one_page_which_settles_less(self, plan):
        short = circuitcheck.load(plan.harness).plan(plan.symptom, pages=1)
        assert len(str(short).splitlines()) <= 64
        assert len(short.steps) <= len(plan.steps)
        assert short.settled <= plan.settled

    def test_every_way_on_it_leads_somewhere(self, plan):
        page = str(plan)
        tests = {int(one) for one in re.findall(r"^ ?(\d+)\. ", page, re.M)}
        assert {int(one) for one in re.findall(r"->\s+step (\d+)", page)} == tests - {1}

    def test_each_line_says_what_is_read_where(self, plan):
        for step in plan.steps:
            tags = [re.escape(one.tag) for one in step.readings]
            for branch in step.branches[:-1]:
                if isinstance(branch.then, Leaf) and branch.then.open:
                    continue  # it is not on the page
                for outcome in branch.outcomes:
                    for one in outcome.split(", "):
                        assert re.match(rf"({'|'.join(tags)}) |a relay buzzes", one), outcome

    def test_every_name_on_it_is_explained(self, plan):
        page, _, names = str(plan).partition("Names: ")
        harness = circuitcheck.load(plan.harness).harness
        steps = page[page.index(" 1. ") :]
        steps = re.sub(r"\[[^]]*\]", "", steps)
        used = {
            one
            for one in re.findall(r"\b[A-Z]\d+\b", steps)
            if one in harness.parts or one in harness.wires
        }
        assert used <= set(re.findall(r"\b([A-Z]\d+)\s", names))

    def test_markdown_and_json_say_the_same(self, plan):
        from circuitcheck.plan.page import page

        markdown = page(plan, markdown=True)
        node = plan.to_dict()["plan"]
        assert node["step"] == 1
        first = " ".join(markdown.split())
        for one in node["branches"]:
            if one["then"]["done"]:
                assert one["outcome"].split(", or ")[0] in first


def test_phrases():
    harness = circuitcheck.load("twin-fan-switch").harness
    seen = [
        ({"drop": ["X3.3b", "G1.-"]}, "volts lost X3.3b to G1.-", "lost from X3.3b"),
        ({"drop": ["G1.+", "S1.2"]}, "volts lost G1.+ to S1.2", "lost to S1.2"),
        ({"drop": ["F3.out", "S1.2"]}, "volts lost F3.out to S1.2", "lost F3.out to S1.2"),
        ({"drop": ["G1.+", "G1.-"]}, "volts lost G1.+ to G1.-", "lost G1.+ to G1.-"),
        ({"volts": ["S1.2", "G1.-"]}, "volts at S1.2", "S1.2"),
        ({"ohms": ["X3.1b", "X3.3b"]}, "ohms X3.1b to X3.3b", "X3.1b to X3.3b"),
        ({"speed": "M1"}, "left fan", "left fan"),
        ({"amps": "bridge"}, "amps in the lead", "the lead"),
        ({"volts": ["G1.+", "G1.-"]}, "volts at G1.+", "G1.+ to G1.-"),
    ]
    for given, words, short in seen:
        one = Observation.model_validate(given)
        assert (where(harness, one), tag(harness, one)) == (words, short)


@pytest.mark.parametrize(
    ("name", "symptom"), [("twin-fan-module", "both fans dead"), ("truck-24v", "fan dead")]
)
def test_most_cases_of_the_commonest_complaint_end_on_the_sheet(name, symptom):
    """A sheet on which most jobs fall off the edge is not worth carrying; common practice, no source."""
    assert circuitcheck.load(name).plan(symptom).settled > 0.5
