"""Put real output into the README and the pages beside it: ``python docs/make_readme.py``."""

from __future__ import annotations

import re
from pathlib import Path

from typer.testing import CliRunner

from circuitcheck.cli.main import app

ROOT = Path(__file__).parent.parent
SHEET = "test,name,reading\nhigh-at-the-plug,left,fast\nhigh-at-the-plug,right,slow\n"
SHEET += "high-at-the-plug,right-ground,3.9 V\n"


def printed(command: str) -> str:
    """What a command line of the README prints on standard output."""
    words = [one or two for one, two in re.findall(r'"([^"]*)"|(\S+)', command)][1:]
    given = SHEET if "sheet.csv" in words else None
    words = [str(ROOT / word) if word.startswith("harnesses/") else word for word in words]
    done = CliRunner().invoke(app, ["-" if word == "sheet.csv" else word for word in words], input=given)
    return "\n".join(line.rstrip() for line in done.stdout.splitlines())


#: The pages that show output.
PAGES = (ROOT / "README.md", ROOT / "docs" / "continuity.md")


def page(text: str) -> str:
    """A page with the output of each shown command renewed."""
    return re.sub(
        r"```\n\$ (circuitcheck [^\n]+)\n.*?```",
        lambda match: f"```\n$ {match[1]}\n{printed(match[1])}\n```",
        text,
        flags=re.S,
    )


if __name__ == "__main__":
    for path in PAGES:
        path.write_text(page(path.read_text(encoding="utf-8")), encoding="utf-8")
