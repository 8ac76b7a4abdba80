"""Pictures with matplotlib (the extra ``plots``; lcapy asks for it): dashes and marks, not colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import cycle
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from circuitcheck.circuit.chosen import ChosenFault
from circuitcheck.errors import UnknownName
from circuitcheck.harness.model import Harness
from circuitcheck.learn import curves
from circuitcheck.learn.way import place_of
from circuitcheck.physics.branch import Array
from circuitcheck.physics.motor import RPM

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DASHES = ("-", "--", ":", "-.")
MARKS = ("o", "s", "^", "D")
_NEAR = 0.01
"""Share of its highest value within which one curve hides another."""
FORMATS = (".svg", ".png")
MISSING = "pictures need matplotlib, which is not installed here: pip install 'circuitcheck[plots]'"


def picture(
    name: str,
    harness: Harness,
    test: str,
    faults: Sequence[ChosenFault] = (),
    through: str | None = None,
) -> Figure:
    """One of ``PICTURES`` for a test, sound or with faults.

    :param through: for the staircase, a branch or terminal that the way should pass
    :raises UnknownName: if there is no such picture
    :raises ValueError: if the test has nothing of the kind to show, or matplotlib is missing
    """
    if name not in PICTURES:
        raise UnknownName("picture", name, PICTURES)
    figure = _figure()
    PICTURES[name](figure, harness, test, faults, through)
    condition = f"with {' and '.join(one.spec for one in faults)}" if faults else "sound"
    figure.suptitle(f"{harness.name}, {test}, {condition}", fontsize=11)
    return figure


def save(figure: Figure, file: str | Path) -> Path:
    """Write a picture as SVG or PNG, by the ending of the file's name.

    :raises ValueError: if the ending is another one or the file cannot be written
    """
    path = Path(file)
    check_ending(path)
    import matplotlib as mpl  # noqa: PLC0415

    # No date and fixed identifiers: the same picture is the same file.
    with mpl.rc_context({"svg.hashsalt": "circuitcheck", "svg.fonttype": "none"}):
        try:
            extra = {"metadata": {"Date": None}} if path.suffix == ".svg" else {"dpi": 150}
            figure.savefig(path, **extra)
        except OSError as error:
            raise ValueError(f"cannot write {path}: {error.strerror or error}") from None
    return path


def check_ending(file: str | Path) -> None:
    """See that the ending is one that can be written.

    :raises ValueError: if it is not
    """
    if Path(file).suffix not in FORMATS:
        raise ValueError(f"cannot tell the format of '{file}'; its name must end in .svg or .png")


def _figure() -> Figure:
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415
    except ImportError:
        raise ValueError(MISSING) from None
    return Figure(figsize=(8, 5), layout="constrained")


def _supply(
    figure: Figure, harness: Harness, test: str, faults: Sequence[ChosenFault], through: str | None
) -> None:
    _speed_and_current(figure, curves.against_supply(harness, test, faults))


def _resistor(
    figure: Figure, harness: Harness, test: str, faults: Sequence[ChosenFault], through: str | None
) -> None:
    _speed_and_current(figure, curves.against_resistor(harness, test, faults))


def _speed_and_current(figure: Figure, run: curves.Run) -> None:
    upper, lower = figure.subplots(2, 1, sharex=True)
    for axes, lines, label in ((upper, run.rpm, "speed in rpm"), (lower, run.amps, "current in A")):
        for place, (name, values) in enumerate(_drawn(lines).items()):
            # Marks begin at different points, so that of two near curves both can be seen.
            axes.plot(
                run.at,
                values,
                color="black",
                linestyle=DASHES[place % 4],
                marker=MARKS[place % 4],
                markevery=(3 * place, 8),
                markerfacecolor="white",
                label=name,
            )
        axes.axvline(run.present, color="0.5", linewidth=0.8)
        axes.set_ylabel(label)
        axes.set_ylim(bottom=0)
        _plain(axes)
    upper.legend(frameon=False)
    upper.annotate(
        "as described",
        (run.present, 0.04),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        xytext=(4, 0),
        fontsize=8,
    )
    lower.set_xlabel(run.label)


def _drawn(lines: Mapping[str, Array]) -> dict[str, Array]:
    """Curves by the names of what they hold for: those that lie on each other are one."""
    groups: list[tuple[list[str], Array]] = []
    for name, values in lines.items():
        near = _NEAR * float(np.abs(values).max())
        like = next((names for names, other in groups if np.allclose(values, other, 0.0, near)), None)
        if like is None:
            groups.append(([name], values))
        else:
            like.append(name)
    return {" and ".join(names): values for names, values in groups}


def _crossing(
    figure: Figure, harness: Harness, test: str, faults: Sequence[ChosenFault], through: str | None
) -> None:
    motor, points = curves.running_points(harness, test, faults)
    axes = figure.subplots()
    fastest = 1.15 * max(one.free for _, one in points) or 1000.0
    rpm = np.linspace(0.0, fastest, 200)
    axes.plot(
        rpm,
        motor.fan * (rpm * RPM) ** 2 + motor.friction,
        color="black",
        linewidth=2,
        label=f"the fan of {points[0][1].motor} takes",
    )
    for (name, one), dash, mark in zip(points, cycle(DASHES[1:] + DASHES[:1]), cycle(MARKS)):
        line = ([0, one.rpm, one.free], [one.stall, one.torque, 0])
        held = ([0], [one.stall])
        axes.plot(
            *(line if one.free else held),
            color="black",
            linestyle=dash,
            marker=mark,
            markevery=[1] if one.free else [0],
            markersize=9,
            markerfacecolor="white",
            label=f"the motor offers, {name}: {one.rpm:.0f} rpm, {one.amps:.1f} A",
        )
    axes.set_xlabel("speed in rpm")
    axes.set_ylabel("torque in N m")
    axes.set_xlim(0, fastest)
    axes.set_ylim(0, 1.1 * max(one.stall for _, one in points))
    axes.legend(frameon=False)
    _plain(axes)


def _staircase(
    figure: Figure, harness: Harness, test: str, faults: Sequence[ChosenFault], through: str | None
) -> None:
    figure.set_size_inches(11, 6)
    found = curves.stairs(harness, test, faults, through)
    axes = figure.subplots()
    places = np.arange(len(found.nodes))
    axes.step(places, found.sound, where="mid", color="black", marker="o", markersize=4, label="sound")
    if found.faulty is not None:
        label = " and ".join(one.spec for one in faults)
        axes.step(
            places,
            found.faulty,
            where="mid",
            color="black",
            linestyle="--",
            marker="s",
            markersize=5,
            markerfacecolor="white",
            label=label,
        )
        _widest_gap(axes, found)
    axes.set_xticks(places, [place_of(one) for one in found.nodes], rotation=90, fontsize=7)
    axes.set_ylabel("volts against battery minus")
    axes.set_xlabel("along the way of the current")
    axes.legend(frameon=False)
    _plain(axes)


def _widest_gap(axes: Any, found: curves.Stairs) -> None:
    """A word where the two part most."""
    assert found.faulty is not None
    gap = np.abs(np.nan_to_num(found.faulty - found.sound))
    place = int(np.argmax(gap))
    place = int(np.argmax(gap > 0.9 * gap[place]))
    if gap[place] > 0.05:
        axes.annotate(
            f"{found.nodes[place]}: {found.faulty[place]:.2f} V instead of {found.sound[place]:.2f} V",
            (place, found.faulty[place]),
            fontsize=9,
            textcoords="offset points",
            xytext=(8, 10),
        )


def _plain(axes: Any) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="0.85", linewidth=0.5)


PICTURES = {
    "staircase": _staircase,
    "crossing": _crossing,
    "supply": _supply,
    "resistor": _resistor,
}
