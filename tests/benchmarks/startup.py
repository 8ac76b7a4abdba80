"""How long `circuitcheck locate` takes as a whole process, against importing its libraries alone.

    python tests/benchmarks/startup.py [--json] [--rounds 5]

Processor time, which other work on the machine moves less than what passes on the clock. Both sides in
turn, in one run; medians, and the ratio of the medians. Both have their bytecode at hand, as
what is installed has it, whatever the environment says: a first round, not counted, writes it.

A second table says what `locate` spends its time on, in milliseconds. `libraries` is there all of them that it
imports, with Python's own start, and not those of the first table: they load much of themselves only when
it is used, and networkx not at all. What is left over, `rest`, is mostly the command line read and the process
ended.
"""

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from circuitcheck.shipped import harness_files, readings_files

LIBRARIES = "import numpy, networkx, pydantic, typer, rich, ruamel.yaml"

PIECES = """
import json, sys, time
from contextlib import suppress
from importlib import import_module
from pathlib import Path

name, sheet, *libraries = sys.argv[1:]
marks = []
def passed(piece):
    marks.append((piece, time.process_time()))

import circuitcheck.cli  # the settings of the command, before numpy is there
for one in libraries:
    with suppress(ImportError):
        import_module(one)
passed("libraries")
import circuitcheck.cli.main, circuitcheck.cli.tables, circuitcheck.loom
passed("own imports")
loom = circuitcheck.loom.load(name)
taken = loom.sheet(Path(sheet))
passed("reading")
result = loom.locate(taken)
passed("solving")
circuitcheck.cli.tables.verdict(loom, result)
passed("printing")
took = {piece: end - start for (piece, end), start in zip(marks, [0.0] + [end for _, end in marks])}
others = [one for one in sys.modules if one.partition(".")[0] not in ("circuitcheck", "__main__")]
print()
print(json.dumps({"took": took, "libraries": others}))
"""


def seconds(command: list[str], bytecode: Path) -> tuple[float, str]:
    """Processor time of a process, and what it prints."""
    kept = {key: one for key, one in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    environment = {**kept, "PYTHONPYCACHEPREFIX": str(bytecode)}
    before = _used()
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
    return _used() - before, done.stdout


def _used() -> float:
    """Processor seconds of all processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measure(name: str, rounds: int, bytecode: Path) -> dict[str, float | str | dict[str, float]]:
    sheet = str(next(iter(readings_files(name).values())))
    ours = [sys.executable, "-m", "circuitcheck", "locate", name, sheet]
    bare = [sys.executable, "-c", LIBRARIES]
    apart = [sys.executable, "-c", PIECES, name, sheet]
    loaded = _pieces(apart, bytecode)["libraries"]
    rows = []
    for _ in range(rounds + 1):
        locate, libraries = seconds(ours, bytecode)[0], seconds(bare, bytecode)[0]
        took = _pieces([*apart, *loaded], bytecode)["took"]
        rows.append({"locate": locate, "bare": libraries, **took, "rest": locate - sum(took.values())})
    middle = {key: statistics.median(row[key] for row in rows[1:]) for key in rows[0]}
    locate, libraries = middle.pop("locate"), middle.pop("bare")
    return {
        "harness": name,
        "locate_s": locate,
        "libraries_s": libraries,
        "ratio": locate / libraries,
        "pieces_s": middle,
    }


def _pieces(command: list[str], bytecode: Path) -> dict:
    return json.loads(seconds(command, bytecode)[1].splitlines()[-1])


def show(rows: list[dict]) -> None:
    for row in rows:
        print(
            f"{row['harness']:24} {row['locate_s']:.2f} s against {row['libraries_s']:.2f} s: "
            f"{row['ratio']:.2f}"
        )
    print(f"\n{'milliseconds':24}", *(f"{piece:>12}" for piece in rows[0]["pieces_s"]))
    for row in rows:
        print(f"{row['harness']:24}", *(f"{took * 1000:12.0f}" for took in row["pieces_s"].values()))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        found = [measure(name, given.rounds, Path(folder)) for name in harness_files()]
    if given.json:
        print(json.dumps(found, indent=2))
    else:
        show(found)
