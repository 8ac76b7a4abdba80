"""How long `circuitcheck locate` takes as a whole process, against importing its libraries alone.

    python tests/benchmarks/startup.py [--json] [--rounds 5]

Processor time, which other work on the machine moves less than what passes on the clock. Both sides in
turn, in one run; medians, and the ratio of the medians. Both have their bytecode at hand, as
what is installed has it, whatever the environment says: a first round, not counted, writes it.
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


def seconds(command: list[str], bytecode: Path) -> float:
    kept = {key: one for key, one in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    environment = {**kept, "PYTHONPYCACHEPREFIX": str(bytecode)}
    before = _used()
    subprocess.run(command, check=True, capture_output=True, env=environment)
    return _used() - before


def _used() -> float:
    """Processor seconds of all processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measure(name: str, rounds: int, bytecode: Path) -> dict[str, float | str]:
    sheet = str(next(iter(readings_files(name).values())))
    ours = [sys.executable, "-m", "circuitcheck", "locate", name, sheet]
    bare = [sys.executable, "-c", LIBRARIES]
    pairs = [(seconds(ours, bytecode), seconds(bare, bytecode)) for _ in range(rounds + 1)][1:]
    locate, libraries = (statistics.median(side) for side in zip(*pairs, strict=True))
    return {"harness": name, "locate_s": locate, "libraries_s": libraries, "ratio": locate / libraries}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        rows = [measure(name, given.rounds, Path(folder)) for name in harness_files()]
    if given.json:
        print(json.dumps(rows, indent=2))
    else:
        for row in rows:
            print(
                f"{row['harness']:24} {row['locate_s']:.2f} s against {row['libraries_s']:.2f} s: "
                f"{row['ratio']:.2f}"
            )
