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
    "How each reading speaks for a fault, against a sound circuit: '30:1 for' means that with it "
    "such a reading comes 30 times as often, '30:1 against' 30 times as seldom. Readings with a common "
    "cause (one battery, one motor, one temperature) count once, so that all together is not their "
    "product; a resistance that had to be guessed costs a little, and several misreadings at once are "
    "hardly believed."
)
_TELLING = 3.0
"""Tenths of a decade, two to one, from which a reading is shown."""
_SURE = 3.0
"""Powers of ten from which odds are not told any nearer."""


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
    chances = f"{percent_of(one.beforehand)} before any reading, {percent_of(one.chance)} now"
    say(f"{one.spec}{value}: {chances}")
    figures = tuple(round(entry.speaks) for entry in one.entries)
    if not any(figures):
        indented("no reading tells it from a sound circuit")
    elif figures in shown:
        indented(f"the readings speak as for {shown[figures]}")
    else:
        shown[figures] = one.spec
        telling = [entry for entry in one.entries if abs(entry.speaks) >= _TELLING]
        _entries(telling, len(one.entries))
        indented(
            f"all together {odds(one.readings + one.together)}; with how often it fails, "
            f"{odds(one.total)}"
        )


def _entries(telling: Sequence[Entry], count: int) -> None:
    """The readings that speak for or against."""
    table = plain_table(
        "test", "reading", "read", "with it", "sound", "speaks", right=("read", "with it", "sound")
    )
    last = ""
    for entry in telling:
        test = entry.test if entry.test != last else ""
        last = entry.test
        doubt = " (misread)" if entry.misread > _DOUBTFUL else ""
        table.add_row(test, entry.name, entry.read + doubt, entry.gives, entry.sound, odds(entry.speaks))
    out.print(Padding(table, (0, 0, 0, 2)))
    rest = count - len(telling)
    if rest:
        indented(f"and {rest} reading{'s that say' if rest > 1 else ' that says'} little either way")


def odds(tenths: float) -> str:
    """Tenths of a decade as odds.

    >>> odds(15.0), odds(-3.0), odds(0.4), odds(240.0)
    ('32:1 for', '2:1 against', 'even', 'over 1000:1 for')
    """
    if round(tenths) == 0:
        return "even"
    side = "for" if tenths > 0 else "against"
    power = abs(tenths) / 10
    if power > _SURE:
        return f"over {10**_SURE:.0f}:1 {side}"
    many = 10**power
    return f"{many:.{0 if many >= 1.95 else 1}f}:1 {side}"
