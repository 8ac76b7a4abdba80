"""Inject each fault of each shipped harness, read its tests, locate it again.

    python tests/locate/round_trip.py --write     # renews docs/limits.md

The readings are those of the vehicle of the description, rounded as the meter shows them.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import circuitcheck
from circuitcheck.shipped import harness_files

PAGE = Path(__file__).parents[2] / "docs" / "limits.md"
BEGIN, END = "<!-- round trip begins -->\n", "<!-- round trip ends -->\n"


@dataclass(frozen=True)
class Outcome:
    spec: str
    verdict: str
    found: bool
    leader: str
    silent: bool
    """Whether the fault leaves every reading where a sound circuit has it."""

    @property
    def unseen(self) -> bool:
        """Whether nobody could know better from these readings."""
        return self.silent and self.verdict == "sound"

    @property
    def missed(self) -> bool:
        return not self.found and not self.unseen


def outcomes(name: str, most: int | None = None) -> Iterator[Outcome]:
    loom = circuitcheck.load(name)
    faults = [one for one in loom.faults() if not one.while_there]
    for fault in faults[:: max(1, len(faults) // most)] if most else faults:
        verdict = loom.locate(loom.written(fault.spec))
        first = [one.spec for one in verdict.suspects if one.group == 1]
        silent = all(one.fits for one in verdict.readings)
        yield Outcome(fault.spec, verdict.verdict, fault.spec in first, first[0], silent)


def limits_of(name: str) -> str:
    found = list(outcomes(name))
    missed = [one for one in found if one.missed]
    unseen = [one.spec for one in found if one.unseen]
    lines = [
        f"### {name}",
        "",
        f"{len(found)} faults; {len(unseen)} move no reading out of its band and are called sound; of the other "
        f"{len(found) - len(unseen)}, {len(found) - len(unseen) - len(missed)} are in the first group.",
        "",
    ]
    if unseen:
        lines += [
            "Move no reading of the listed tests out of its band, so that the verdict is sound: "
            + ", ".join(f"`{one}`" for one in unseen)
            + ".",
            "",
        ]
    for one in missed:
        lines.append(f"- missed: `{one.spec}`: reads like `{one.leader}`, which is likelier.")
    if missed:
        lines.append("")
    return "\n".join(lines) + "\n"


def section() -> str:
    return "\n".join(limits_of(name) for name in harness_files())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help="renew docs/limits.md")
    text = section()
    if parser.parse_args().write:
        page = PAGE.read_text(encoding="utf-8")
        head, rest = page.split(BEGIN)
        PAGE.write_text(head + BEGIN + "\n" + text + END + rest.split(END)[1], encoding="utf-8")
    print(text)
