"""Put real output into the README and the pages beside it: ``python docs/make_readme.py``."""

from __future__ import annotations

import contextlib
import re
import tempfile
from pathlib import Path

from typer.testing import CliRunner

from circuitcheck.cli.main import app

ROOT = Path(__file__).parent.parent
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
PAGES = tuple(ROOT / name for name in (
    "README.md", "docs/explain.md", "docs/practise.md", "docs/continuity.md", "docs/restore.md",
    "docs/resistor.md"))  # fmt: skip


def printed(command: str) -> str:
    """What a command line of a page prints on standard output."""
    words = [one or two for one, two in re.findall(r'"([^"]*)"|(\S+)', command)][1:]
    if "homework.txt" in words or "retrofit.yaml" in words:
        return _in_a_folder(words)
    given = SHEET if "sheet.csv" in words else None
    words = [str(ROOT / word) if word.startswith("harnesses/") else word for word in words]
    done = CliRunner().invoke(app, ["-" if word == "sheet.csv" else word for word in words], input=given)
    return "\n".join(line.rstrip() for line in done.stdout.splitlines())


def _in_a_folder(words: list[str]) -> str:
    """A command that reads or writes a file where it is run."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("homework.txt").write_text(HOMEWORK, encoding="utf-8")
        done = CliRunner().invoke(app, words)
    return "\n".join(line.rstrip() for line in done.stdout.splitlines())


def page(text: str) -> str:
    """The page with the output of each shown command renewed."""
    return re.sub(
        r"```\n\$ (circuitcheck [^\n]+)\n.*?```",
        lambda match: f"```\n$ {match[1]}\n{printed(match[1])}\n```",
        text,
        flags=re.S,
    )


if __name__ == "__main__":
    for path in PAGES:
        path.write_text(page(path.read_text(encoding="utf-8")), encoding="utf-8")
