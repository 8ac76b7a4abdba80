"""The ledger of a verdict, for people."""

from __future__ import annotations

from collections.abc import Sequence

from rich.padding import Padding

from circuitcheck.cli.tables import indented, out, percent_of, plain_table, say, verdict
from circuitcheck.locate.why import Account, Entry, Why
from circuitcheck.loom import Loom

_MOST = 6
_DOUBTFUL = 0.5
"""Chance of a misreading from which it is told."""
_LEGEND = (
    "What each reading speaks for a suspect against a sound circuit, in tenths of a decade: +10 is ten "
    "to one for it, +20 a hundred to one, +3 two to one; -10 is ten to one against it. The figures add "
    "up. 'Taken together': readings that share a cause (one battery, one motor, one temperature) are "
    "not counted twice, a resistance that had to be fitted costs a little, and several misreadings at "
    "once are hardly believed."
)


def why(loom: Loom, result: Why) -> None:
    """The verdict, then the account of each leading suspect."""
    verdict(loom, result.verdict)
    say()
    say("The ledger", "bold")
    indented(_LEGEND)
    shown: dict[tuple[int, ...], str] = {}
    for one in result.accounts[:_MOST]:
        _account(one, shown)
    if len(result.accounts) > _MOST:
        say(f"\nand {len(result.accounts) - _MOST} more, with --json")


def _account(one: Account, shown: dict[tuple[int, ...], str]) -> None:
    """One suspect.

    :param shown: who has been shown with these very figures
    """
    say()
    value = f", {one.value}" if one.value else ""
    say(f"{one.spec}{value}: {percent_of(one.beforehand)} beforehand, {percent_of(one.chance)} now")
    figures = tuple(round(entry.speaks) for entry in one.entries)
    if not any(figures):
        indented("no reading tells it from a sound circuit")
    elif figures in shown:
        indented(f"the readings speak as for {shown[figures]}")
    else:
        shown[figures] = one.spec
        _entries([entry for entry in one.entries if round(entry.speaks)], len(one.entries))
    indented(f"how often it occurs {signed(one.start)}, the readings {signed(one.readings)}, taken "
             f"together {signed(one.together)}: in all {signed(one.total)}")  # fmt: skip


def _entries(telling: Sequence[Entry], count: int) -> None:
    """The readings that speak for or against."""
    table = plain_table("test", "reading", "read", "it gives", "sound", "speaks",
                        right=("read", "it gives", "sound", "speaks"))  # fmt: skip
    last = ""
    for entry in telling:
        test = entry.test if entry.test != last else ""
        last = entry.test
        doubt = " (misread)" if entry.misread > _DOUBTFUL else ""
        table.add_row(test, entry.name, entry.read + doubt, entry.gives, entry.sound,
                      signed(entry.speaks))  # fmt: skip
    out.print(Padding(table, (0, 0, 0, 2)))
    rest = count - len(telling)
    if rest:
        indented(f"and {rest} reading{'s' if rest > 1 else ''} that both would give")


def signed(tenths: float) -> str:
    """``+12``, ``-3``, ``0``."""
    whole = round(tenths)
    return f"{whole:+d}" if whole else "0"
