"""The lessons: their circuits agree with the books, their commands run, their cases can be solved."""

import re
from pathlib import Path

import pytest

from circuitcheck.learn.explanation import explain
from circuitcheck.loom import load

COURSE = Path(__file__).parent.parent.parent / "docs" / "course"
LESSONS = sorted(COURSE.glob("[0-9]-*.md"))
PAGES = [*LESSONS, COURSE / "README.md"]
NAMES = [path.stem for path in PAGES]
PRACTISE = re.compile(r"^circuitcheck (practise \S+ --level \d --seed \d+)$", re.M)


def text_of(path):
    return path.read_text(encoding="utf-8")


def prose_of(path):
    """A page without code, and without what stands inside its marks."""
    text = re.sub(r"```.*?```", "", text_of(path), flags=re.S)
    return re.sub(r"`[^`]*`|(?<=<!--= ).*?(?= -->)", "", text)


# -- the pages ----------------------------------------------------------------------------------


def test_there_are_eight_lessons_and_the_index_names_them_in_order():
    assert len(LESSONS) == 8
    linked = re.findall(r"^\d\. \[.*?\]\((\S+)\)", text_of(COURSE / "README.md"), re.M)
    assert linked == [path.name for path in LESSONS]


@pytest.mark.parametrize("path", PAGES, ids=NAMES)
def test_every_quantity_in_the_prose_comes_from_a_command(path, pages):
    units = "|".join(sorted(pages["UNITS"], key=len, reverse=True))
    loose = re.findall(rf"\d+(?:\.\d+)? (?:{units})\b(?!<!--= )", prose_of(path))
    assert not loose, "a quantity needs a mark, or ticks if it is given in a command"


@pytest.mark.parametrize("path", PAGES, ids=NAMES)
def test_marks_stay_invisible_on_every_code_host(path):
    # CommonMark before 0.31: a comment within a line ends the comment at two hyphens.
    assert not [one for one in re.findall(r"<!--(.*?)-->", text_of(path)) if "--" in one]


@pytest.mark.parametrize("path", PAGES, ids=NAMES)
def test_the_commands_that_a_page_only_names_run(path, pages):
    # Those that it shows the output of, or takes numbers from, are run by tests/test_docs.py.
    text = text_of(path)
    run = {
        *pages["BLOCK"].findall(text),
        *(pages["source_of"](one) for one in pages["MARK"].finditer(text)),
    }
    for command in dict.fromkeys(pages["COMMAND"].findall(text)):
        if command in run or "--plot" in command or "practise" in command:
            continue
        assert pages["ran"](command, COURSE).stdout


def test_every_lesson_has_exercises_with_answers_and_a_case():
    for path in LESSONS:
        _, exercises, rest = re.split(r"## Exercises|<details>", text_of(path))
        answers, practise = rest.split("</details>")
        asked = re.findall(r"^\d\. ", exercises, re.M)
        assert 3 <= len(asked) <= 5, path.name
        assert re.findall(r"^\d\. ", answers, re.M) == asked, path.name
        assert "`circuitcheck " in answers
        assert PRACTISE.search(practise), path.name
        assert "](plays/" in practise, path.name


# -- the cases ----------------------------------------------------------------------------------


PLAYS = sorted(COURSE.glob("plays/*.txt"))


@pytest.mark.parametrize("play", PLAYS, ids=[one.stem for one in PLAYS])
def test_a_case_is_solved_by_its_script(play):
    first, *lines = text_of(play).splitlines()
    harness, level, seed = re.fullmatch(r"# practise (\S+) --level (\d) --seed (\d+)", first).groups()
    loom = load(COURSE / harness if harness.endswith(".yaml") else harness)
    session = loom.practise(level=int(level), seed=int(seed))
    for line in lines:
        session.feed(line)
    faults = session.case.faults
    assert session.over
    assert session.mistakes == session.workshop.unsafe == []
    assert set(session.named) == {one.mode.spec for one in faults}
    assert session.said_none == (not faults)
    assert set(session.units) == {one.mode.replace for one in faults}


def test_every_case_of_a_lesson_has_a_script_and_every_script_a_lesson():
    asked = {words for path in LESSONS for words in PRACTISE.findall(text_of(path))}
    assert asked == {text_of(play).splitlines()[0].removeprefix("# ") for play in PLAYS}
    linked = {name for path in LESSONS for name in re.findall(r"\]\((plays/\S+)\)", text_of(path))}
    assert linked == {f"plays/{play.name}" for play in PLAYS}


def test_the_state_names_the_hand_switch_that_the_lessons_turn():
    session = load(COURSE / "one-fan.yaml").practise(level=1, seed=4)
    assert not any("S1" in line for line in session.feed("state"))
    session.feed("switch S1 high")
    assert "  S1 in position high" in session.feed("state")


# -- the pictures -------------------------------------------------------------------------------


def drawn():
    found = re.compile(r"^(circuitcheck .* --plot (\S+\.svg).*)$", re.M)
    return [pair for path in PAGES for pair in found.findall(text_of(path))]


def outline(svg):
    """The words of a picture, and the points of its lines [pt]."""
    lines = re.findall(r' d="([^"]*)"', svg)
    points = [float(one) for line in lines for one in re.findall(r"-?\d+\.?\d*", line)]
    return re.findall(r"<text[^>]*>([^<]*)<", svg), points


@pytest.mark.parametrize(("command", "file"), drawn())
def test_a_picture_is_current(command, file, pages, tmp_path):
    pytest.importorskip("matplotlib")
    new = tmp_path / "new.svg"
    pages["ran"](command.replace(file, str(new)), COURSE)
    words, points = outline(text_of(COURSE / file))
    new_words, new_points = outline(text_of(new))
    assert words == new_words, "run: python docs/make_readme.py"
    if len(points) == len(new_points):  # another version of matplotlib may draw a frame otherwise
        assert points == pytest.approx(new_points, abs=1.0)


# -- the circuits of books ----------------------------------------------------------------------

# Answers as printed, one unit of the last digit off at most. CP2e: OpenStax, College Physics 2e.
# LIEC-1: T. R. Kuphaldt, Lessons In Electric Circuits, volume I.
PRINTED = [
    # CP2e 21.1, first example: 12.0 V on 1.00, 6.00 and 13.0 ohm in a row.
    (
        "series",
        "row",
        {"amps": (0.600, 0.001), "first": (0.600, 0.001), "second": (3.60, 0.01), "third": (7.80, 0.01)},
    ),
    # CP2e 21.1, third example: a lead of 1.00 ohm before 6.00 and 13.0 ohm side by side.
    (
        "lead",
        "both",
        {"amps": (2.35, 0.01), "lead": (2.35, 0.01), "loads": (9.65, 0.01), "first-load": (1.61, 0.01)},
    ),
    # LIEC-1 ch. 8: 24 V on two 250 Mohm, a 10 Mohm meter across the lower.
    ("meter", "halves", {"lower": (0.8889, 0.0001)}),
    # LIEC-1 ch. 10: 28 V behind 4 ohm and 7 V behind 1 ohm feed 2 ohm.
    (
        "two-sources",
        "load",
        {"load": (4, 0.01), "volts": (8, 0.01), "strong": (5, 0.01), "weak": (1, 0.01)},
    ),
    # LIEC-1 ch. 10, unbalanced bridge.
    (
        "bridge",
        "bridge",
        {
            "upper-left": (4.706, 0.001),
            "upper-right": (5.294, 0.001),
            "across": (0.5882, 0.0001),
            "lower-left": (5.294, 0.001),
            "lower-right": (4.706, 0.001),
        },
    ),
]


@pytest.mark.parametrize(("name", "test", "printed"), PRINTED, ids=[one[0] for one in PRINTED])
def test_a_circuit_of_a_book_gives_the_answers_of_the_book(name, test, printed):
    table = load(COURSE / f"{name}.yaml").expect(test).to_dict()["tests"][0]["readings"]
    found = {one["name"]: abs(one["expected"]) for one in table}
    for reading, (value, digit) in printed.items():
        assert found[reading] == pytest.approx(value, abs=digit), reading


def test_the_motor_of_the_book():
    # CP2e 23.6: 48.0 V, 0.400 ohm; running 40.0 V of back EMF, 20 A, 160 W of heat; held 120 A.
    loom = load(COURSE / "motor.yaml")
    told = explain(loom.harness, "running", observe="speed")
    found = {one.left: one.value for one in told.lines}
    assert found["E_M1"] == pytest.approx(40.0, abs=0.1)
    assert found["I"] == pytest.approx(20, abs=1)
    (motor,) = (one for one in told.drawn if one.symbol == "R_M1")
    assert motor.heat == pytest.approx(160, abs=1)
    assert loom.explain("running", "M1 seized").value == pytest.approx(120, abs=1)
