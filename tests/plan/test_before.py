"""``plan --thorough``: at the end of each way the cheap readings in which a second fault would show."""

import json

import pytest
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.harness.model import Test
from circuitcheck.loom import Loom
from circuitcheck.plan.phrases import where
from circuitcheck.plan.tree import Leaf

LOOM = circuitcheck.load("twin-fan-switch")
SYMPTOM = "right fan dead on low"


@pytest.fixture(scope="module")
def careful():
    return LOOM.plan(SYMPTOM, thorough=True)


def ends(plan):
    return [one.then for step in plan.steps for one in step.branches if isinstance(one.then, Leaf)]


def read_there(before, *faults):
    """What the readings of such a test give with some faults, solved by themselves in its set-up."""
    candidate = next(one for one in LOOM._planner.candidates if one.name == before.name)
    words = [one for one, _ in before.readings]
    observe = {name: one for name, one in candidate.observations if where(LOOM.harness, one) in words}
    test = Test(title="before", setup=candidate.setup, observe=observe)
    loom = Loom(LOOM.harness.model_copy(update={"tests": {"before": test}}))
    found = loom.whatif(*faults)["before"].readings
    return {where(LOOM.harness, observe[one.name]): one for one in found}


def test_without_being_asked_for_there_are_none():
    plain = LOOM.plan(SYMPTOM)
    assert not plain.befores
    assert "first as it stands" not in str(plain)


def test_each_is_cheap_and_reads_what_the_first_fault_alone_gives(careful):
    assert careful.befores
    for end in ends(careful):
        if end.before is None or "=" in end.suspects[0]:
            continue
        assert end.before.minutes <= 5
        fault = LOOM.fault(end.suspects[0])[0].mode
        if fault.severity is not None:
            continue  # its value is that of the plan, and not the middle of its range
        found = read_there(end.before, end.suspects[0])
        for words, read in end.before.readings:
            assert found[words].shown.startswith(read.split()[0])


def test_a_second_fault_shows_there(careful):
    """The cheap reading is there for what moves it: some other fault does, and by more than its band."""
    end = next(one for one in ends(careful) if one.before)
    alone = read_there(end.before, end.suspects[0])
    moved = set()
    for spec in ("R1 open", "R2 open", "W5 open", "M1 open", "E1 open"):
        both = read_there(end.before, end.suspects[0], spec)
        for words, one in alone.items():
            low, high = one.low, one.high
            if both[words].expected is None or not low <= both[words].expected <= high:
                moved.add(spec)
    assert moved


def test_the_page_and_the_json_have_them(careful):
    page = " ".join(str(careful).split())
    assert "Before a repair take what stands behind 'first'" in page
    for one in careful.befores:
        assert all(text in page for text in one.cautions)
    done = CliRunner().invoke(
        app, ["plan", "twin-fan-switch", "--symptom", SYMPTOM, "--thorough", "--json"]
    )
    assert done.exit_code == 0
    assert '"before": {' in json.dumps(json.loads(done.stdout))
