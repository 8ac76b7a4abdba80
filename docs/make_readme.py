"""Put real output and numbers into the README and the pages beside it: ``python docs/make_readme.py``.

Three things on a page are renewed:

- a block that begins with ``$ circuitcheck ...`` holds what the command prints (``| head -4`` cuts it);
- a number or a word before a mark: ``2.35 A<!--= value -->`` is what the JSON of the command last named
  above holds at ``value``, in the unit and to the decimals that the page writes. A mark may name its
  source, a command (options in their short form, for a comment holds no two hyphens) or a harness
  file: ``1.00 ohm<!--= R1/ohms of lead.yaml -->``. Each name of the path is the shallowest key, or
  entry so named, below the one before; ``|path|`` is its amount;
- a picture that the page both shows, ``![...](pictures/x.svg)``, and draws, ``--plot pictures/x.svg``.

Commands of a lesson are run in ``docs/course``, all others in the project's folder.
"""

from __future__ import annotations

import contextlib
import json
import re
import sys
import tempfile
from collections import deque
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from typer.testing import CliRunner, Result

from circuitcheck.cli.main import app

ROOT = Path(__file__).parent.parent
COURSE = ROOT / "docs" / "course"
SHEET = "test,name,reading\nhigh-at-the-plug,left,fast\nhigh-at-the-plug,right,slow\n"
SHEET += "high-at-the-plug,right-ground,3.9 V\n"
HOMEWORK = """\
ignition on
coolant 101 warming     # hot: both fans must run fast
look
undo S1                 # the same without the switch
lead S1.2 to S1.3
look
volts X2.3a G1.-        # ground of the left fan, under load
volts X3.3a G1.-        # and of the right one
fault E2 high resistance
renew E2
done
"""
#: The pages that show output.
PAGES = (
    *(
        ROOT / name
        for name in (
            "README.md",
            "docs/explain.md",
            "docs/practise.md",
            "docs/continuity.md",
            "docs/restore.md",
            "docs/resistor.md",
        )
    ),
    *sorted(COURSE.glob("*.md")),
)
UNITS = {
    "V": 1.0,
    "mV": 1e-3,
    "A": 1.0,
    "mA": 1e-3,
    "uA": 1e-6,
    "ohm": 1.0,
    "mohm": 1e-3,
    "kohm": 1e3,
    "Mohm": 1e6,
    "W": 1.0,
    "mW": 1e-3,
    "kW": 1e3,
    "rpm": 1.0,
    "minutes": 1.0,
    "%": 0.01,
    "m": 1.0,
    "degC": 1.0,
    "mm2": 1.0,
}
AMOUNT = rf"-?\d[\d.]*(?: (?:{'|'.join(sorted(UNITS, key=len, reverse=True))})(?!\w))?"
MARK = re.compile(rf"({AMOUNT}|\w+)<!--= (.+?)(?: of (.+?))? -->")
COMMAND = re.compile(r"(?:`|^\$ |^| of )(circuitcheck [^`\n]+?)(?=`|$| -->)", re.M)
BLOCK = re.compile(r"```\n\$ (circuitcheck [^\n]+)\n.*?```", re.S)


# -- commands ------------------------------------------------------------------------------------


@cache
def ran(command: str, folder: Path, *more: str) -> Result:
    """A command line of a page, done in a folder.

    :raises ValueError: if it ends with a mistake
    """
    words = [one or two for one, two in re.findall(r'"([^"]*)"|(\S+)', command)][1:]
    given = SHEET if "sheet.csv" in words else None
    with (
        tempfile.TemporaryDirectory() as aside,
        homework() as script,
        contextlib.chdir(
            aside if "retrofit.yaml" in words else folder  # a command that writes does it out of the way
        ),
    ):
        stand_ins = {"sheet.csv": "-", "homework.txt": str(script)}
        done = CliRunner().invoke(
            app, [*(stand_ins.get(word, word) for word in words), *more], input=given
        )
    if done.exit_code:
        raise ValueError(f"{command}: {done.stderr or done.exception}")
    return done


@contextlib.contextmanager
def homework() -> Iterator[Path]:
    """The script that a page shows, as a file."""
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "homework.txt"
        script.write_text(HOMEWORK, encoding="utf-8")
        yield script


def printed(command: str, folder: Path = ROOT) -> str:
    """What a command line of a page prints on standard output, cut by ``| head -N``."""
    command, _, head = command.partition(" | head -")
    lines = [line.rstrip() for line in ran(command, folder).stdout.splitlines()]
    return "\n".join(lines[: int(head)] if head else lines)


# -- numbers -------------------------------------------------------------------------------------


def found(source: str, path: str, folder: Path) -> Any:
    """What the JSON of a command, or a harness file, holds at a path.

    :raises LookupError: if there is nothing
    """
    data = _data(source.partition(" | ")[0], folder)
    for one in _at(data, path.strip("|").split("/")):
        return abs(one) if path.startswith("|") else one
    raise LookupError(f"nothing for the mark: {path} of {source}")


@cache
def _data(source: str, folder: Path) -> Any:
    if source.startswith("circuitcheck "):
        return json.loads(ran(source, folder, "--json").stdout)
    file = folder / source if source.endswith(".yaml") else ROOT / "harnesses" / f"{source}.yaml"
    return YAML(typ="safe").load(file)


def _at(data: Any, names: list[str]) -> Iterator[Any]:
    """All that can be reached by the names, the shallowest first."""
    if not names:
        yield data
        return
    for one in _below(data, names[0]):
        yield from _at(one, names[1:])


def _below(data: Any, name: str) -> Iterator[Any]:
    """Keys, and entries with that name, anywhere below."""
    waiting = deque([data])
    while waiting:
        one = waiting.popleft()
        if isinstance(one, dict):
            if name in one:
                yield one[name]
            waiting += one.values()
        elif isinstance(one, list):
            yield from (entry for entry in one if isinstance(entry, dict) and name in entry.values())
            waiting += one


def written(shown: str, value: Any) -> str:
    """A value in the unit and to the decimals that the page writes."""
    if not shown[0].isdigit() and shown[0] != "-":
        return str(value)
    number, _, unit = shown.partition(" ")
    decimals = len(number.partition(".")[2])
    amount, _, own = str(value).partition(" ")
    base = float(amount) * UNITS.get(own, 1.0)
    rounded = round(base / UNITS.get(unit, 1.0), decimals) + 0.0  # no minus before a zero
    return f"{rounded:.{decimals}f} {unit}".rstrip()


def source_of(mark: re.Match[str]) -> str:
    """What a mark takes its value from: the source that it names, or the command last named above it."""
    return mark[3] or str(COMMAND.findall(mark.string, 0, mark.start())[-1])


def numbers(text: str, folder: Path) -> str:
    """The page with the number or word before each mark renewed."""

    def renewed(mark: re.Match[str]) -> str:
        shown = mark[1]
        return written(shown, found(source_of(mark), mark[2], folder)) + mark[0].removeprefix(shown)

    return MARK.sub(renewed, text)


# -- pages ---------------------------------------------------------------------------------------


def folder_of(path: Path) -> Path:
    """Where the commands of a page are run."""
    return COURSE if path.parent == COURSE else ROOT


def page(text: str, folder: Path = ROOT) -> str:
    """The page with its outputs and numbers renewed."""
    text = BLOCK.sub(lambda one: f"```\n$ {one[1]}\n{printed(one[1], folder)}\n```", text)
    return numbers(text, folder)


def pictures(text: str) -> dict[str, str]:
    """The pictures of a page that a command on it draws: {file: command}."""
    shown = set(re.findall(r"!\[[^\]]*\]\((\S+\.svg)\)", text))
    drawn = {re.search(r"--plot (\S+)|$", one)[1]: one for one in COMMAND.findall(text)}
    return {file: command for file, command in drawn.items() if file in shown}


def main(names: list[str]) -> None:
    """Renew the pages so named, or all."""
    for path in PAGES:
        if names and path.name not in names:
            continue
        text = page(path.read_text(encoding="utf-8"), folder_of(path))
        path.write_text(text, encoding="utf-8")
        for command in pictures(text).values():
            ran(command, folder_of(path))


if __name__ == "__main__":
    main(sys.argv[1:])
