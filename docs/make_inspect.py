"""Write ``docs/inspect.md`` from the rules themselves: ``python docs/make_inspect.py``."""

from __future__ import annotations

from pathlib import Path

from circuitcheck.inspect.inspection import all_rules
from circuitcheck.inspect.limits import LIMITS
from circuitcheck.inspect.rule import Rule

PAGE = Path(__file__).with_name("inspect.md")

HEAD = """# Checks of the design

Written by `docs/make_inspect.py` from the code; do not edit by hand.

`circuitcheck inspect HARNESS` judges the design itself, not the vehicle: where it asks for a burnt wire, a
welded contact, a fuse that opens without a fault or a resistor that burns while no fuse opens. It solves
the circuit in every state of use (ignition and engine, every temperature step of the switches, every
position of the hand switches), sound, at the instant in which the motors still stand, with each motor
locked, with a dead short at each wire, and with each single break; the rules look at the currents found.
Fuses are kept whole in all of these, so that a rule sees the current there would be and judges by the
opening times of ISO 8820-3 what the fuse makes of it.

A finding is **serious** (something burns, shorts or cannot work), **doubtful** (look at it, and fix or
accept it) or a **note**. Exit status is 0 whatever is found; `--json`, `--as sarif` (SARIF 2.1.0) and
`--as junit` (JUnit XML) are for programs.

Currents are those of the description at 20 degC, with no tolerance; a result within some per cent of its
limit may fall either way. `--limit NAME=VALUE` sets a limit of your own. Where a source disagrees with your
vehicle's manual or your local rules, those come first. Leave airbag and high-voltage wiring alone; change
wires and fuses with the battery disconnected.

## Living with a finding

What you have looked at and will not change, you accept by name and with a reason, each on its own:

    circuitcheck inspect HARNESS --accept "no-fuse W6: old wiring, kept as it was built"

or one a line in a file that is kept beside the harness (`--accepted FILE`; lines that begin with `#` are
remarks). A whole rule cannot be accepted, and none without a reason. An accepted finding is still shown,
with its reason, and no longer counted; SARIF marks it as suppressed, JUnit XML as skipped. An acceptance that
no finding answers to any more is told on standard error.

"""

TAIL = """
## What the rules do not see

- Where wires lie beside each other: `bundle` is one number for all of them, and so is `ambient`.
- The time in which a wire warms up: an overload is compared with the continuous current and, as if no heat
  left the copper, with the heating of a short circuit.
- The type of a fuse: up to 40 A it is taken for type C of ISO 8820-3, above that for type E, also beyond
  80 A, where the table ends.
- Inertia: with which time constant a starting current falls is the limit `run-up`, not worked out.
- Temperatures of resistors: only their watts.
- A second battery feeding the loom at another place.
- Two faults at once; contacts that weld (as a way to a sneak path); shorts inside a plug.
- Hand switches with more than 60 combined positions: the first 60.
"""


def page() -> str:
    """The page as text."""
    return HEAD + "## Rules\n\n" + "\n".join(section(one) for one in all_rules()) + limits() + TAIL


def section(one: Rule) -> str:
    """One rule: what, how grave, limits, source."""
    text = f"### {one.id}\n\n{one.what} Up to *{one.severity.name}*.\n\n"
    doc = " ".join((one.check.__doc__ or "").split())
    text += f"Found: {doc[0].lower()}{doc[1:]}\n\n" if doc else ""
    if one.limits:
        text += f"Limits: {', '.join(f'`{name}`' for name in one.limits)}. "
    return text + f"Source: {one.source}.\n"


def limits() -> str:
    """The limits a person may set."""
    lines = ["", "## Limits", "", "| limit | usual | what it is | source |", "| --- | --- | --- | --- |"]
    lines += [
        f"| `{one.name}` | {f'{one.value:g} {one.unit}'.strip()} | {one.what} | {one.source} |"
        for one in LIMITS.values()
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
