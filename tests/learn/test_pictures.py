"""The pictures: their numbers against laws and the solver, their files, and a friendly refusal."""

import subprocess
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import circuitcheck
from circuitcheck.cli.main import app
from circuitcheck.learn import curves
from circuitcheck.learn.plots import PICTURES, save

LOOM = circuitcheck.load("twin-fan-switch")
BAD_GROUND = "E1 high resistance=0.8 ohm"


def run(*arguments):
    return CliRunner().invoke(app, list(arguments), catch_exceptions=False)


def test_the_stairs_go_down_and_a_bad_ground_is_one_tall_step():
    found = curves.stairs(LOOM.harness, "high-at-the-plug", LOOM.fault(BAD_GROUND))
    assert np.all(np.diff(found.sound) <= 0)
    drops = -np.diff(found.faulty)
    at_ground = found.nodes.index("E1.31")
    assert found.nodes[at_ground + 1] == "chassis"
    # What a meter reads there under the same fault.
    read = LOOM.whatif(BAD_GROUND, test="high-at-the-plug")["high-at-the-plug"]
    loss = next(one.expected for one in read.readings if one.name == "left-ground")
    assert drops[at_ground] == pytest.approx(loss, rel=0.03)
    assert drops[at_ground] > 4


def test_an_open_line_holds_its_volts_up_to_the_break():
    found = curves.stairs(LOOM.harness, "high-at-the-plug", LOOM.fault("F3 blown"))
    before = found.nodes.index("F3.in")
    assert found.faulty[before] == pytest.approx(12.6, abs=1e-3)
    assert found.faulty[-2] == pytest.approx(0, abs=1e-6)


def test_speed_and_current_rise_with_the_supply_and_fall_with_the_resistor():
    supply = curves.against_supply(LOOM.harness, "low-at-the-plug")
    assert supply.rpm["M1"][0] == 0
    assert np.all(np.diff(supply.rpm["M1"]) >= 0)
    assert np.all(np.diff(supply.amps["M1"]) >= 0)
    resistor = curves.against_resistor(LOOM.harness, "low-at-the-plug")
    assert np.all(np.diff(resistor.rpm["M2"]) < 0)
    assert "R1 and R2" in resistor.label
    # At the value that the description has, the curve passes the expected speed.
    read = LOOM.expect("low-at-the-plug")["low-at-the-plug"]
    expected = next(one.expected for one in read.readings if one.name == "left")
    assert np.interp(resistor.present, resistor.at, resistor.rpm["M1"]) == pytest.approx(
        expected, rel=1e-3
    )
    assert np.interp(supply.present, supply.at, supply.rpm["M1"]) == pytest.approx(expected, rel=1e-3)


def test_low_and_high_cross_the_fan_where_the_solver_runs_it():
    motor, points = curves.running_points(LOOM.harness, "low-at-the-plug")
    by_test = dict(points)
    for test in ("low-at-the-plug", "high-at-the-plug"):
        one = by_test[test]
        read = LOOM.expect(test)[test]
        assert one.rpm == pytest.approx(
            next(r.expected for r in read.readings if r.name == "left"), rel=1e-6
        )
        # On the motor's straight line between held and no-load, and on the fan's curve.
        assert one.torque == pytest.approx(one.stall * (1 - one.rpm / one.free), rel=1e-6)
        assert one.torque == pytest.approx(
            motor.fan * (one.rpm * np.pi / 30) ** 2 + motor.friction, rel=1e-6
        )


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_every_picture_is_written_both_ways(tmp_path, name):
    figure = LOOM.picture(name, "low-at-the-plug", "R1 drifted=0.8 ohm")
    svg = save(figure, tmp_path / "one.svg").read_text(encoding="utf-8")
    assert "<svg" in svg
    assert save(figure, tmp_path / "one.png").read_bytes().startswith(b"\x89PNG")
    again = save(LOOM.picture(name, "low-at-the-plug", "R1 drifted=0.8 ohm"), tmp_path / "two.svg")
    assert again.read_text(encoding="utf-8") == svg


def test_pictures_are_black_and_white():
    figure = LOOM.picture("staircase", "high-at-the-plug", BAD_GROUND)
    lines = figure.axes[0].get_lines()
    assert {line.get_color() for line in lines} == {"black"}
    assert len({line.get_linestyle() for line in lines}) == len(lines)


def test_from_the_command_line(tmp_path):
    file = tmp_path / "ground.svg"
    done = run(
        "explain",
        "twin-fan-switch",
        "-t",
        "high-at-the-plug",
        "-f",
        BAD_GROUND,
        "--plot",
        str(file),
        "--observe",
        "left-ground",
    )
    assert done.exit_code == 0
    assert "E1 high resistance" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--plot", "a.pdf"), "must end in .svg or .png"),
        (("--plot", "a.svg", "--picture", "stairs"), "no picture 'stairs'; nearest: staircase"),
        (("--plot", "/nowhere/a.svg"), "cannot write /nowhere/a.svg"),
    ],
)
def test_mistakes_are_one_line(arguments, says):
    done = run("explain", "first-fan", "-t", "fan-direct", *arguments)
    assert done.exit_code == 2
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_nothing_to_draw_is_said():
    done = run("explain", "first-fan", "-t", "fan-direct", "--plot", "a.svg", "--picture", "resistor")
    assert done.exit_code == 2
    assert "no series resistor" in done.stderr


def test_without_matplotlib_the_reason_is_given():
    code = (
        "import sys; sys.modules['matplotlib'] = None\n"
        "from circuitcheck.cli.main import app\n"
        "app(['explain', 'first-fan', '-t', 'fan-direct', '--plot', 'a.svg'])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "circuitcheck[plots]" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_plain_install_brings_what_draws():
    # What the packages themselves declare: lcapy asks for matplotlib, and circuitcheck for lcapy.
    root = Path(__file__).parent.parent.parent
    asked = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"][
        "dependencies"
    ]
    assert any(one.startswith("lcapy") for one in asked)
    assert any(one.startswith("matplotlib") and "extra" not in one for one in metadata.requires("lcapy"))
    assert "plain install brings" in (root / "docs" / "course" / "README.md").read_text(encoding="utf-8")


def test_curves_that_lie_on_each_other_are_drawn_once_with_both_names():
    """Two like fans, each behind the same resistor, turn alike; a mark under another cannot be read."""
    figure = circuitcheck.load("twin-fan-switch").picture("resistor", "low-at-the-plug")
    upper = figure.axes[0]
    assert [one.get_text() for one in upper.get_legend().get_texts()] == ["M1 and M2"]
