"""The rooms import only from the rooms to their left, and quick commands import nothing heavy."""

import ast
import subprocess
import sys
from pathlib import Path

import circuitcheck

PACKAGE = Path(circuitcheck.__file__).parent
ROOMS = [
    "physics",
    "parts",
    "harness",
    "circuit",
    "solve",
    "expect",
    "locate",
    "plan",
    "inspect",
    "learn",
    "cli",
]


def imports_of(path: Path) -> set[str]:
    """The rooms that a file imports from, type-checking blocks included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("circuitcheck."):
            found.add(node.module.split(".")[1])
    return found


def test_rooms_import_leftward_only():
    for number, room in enumerate(ROOMS):
        for path in (PACKAGE / room).rglob("*.py"):
            to_the_right = imports_of(path) & set(ROOMS[number + 1 :])
            assert not to_the_right, f"{path.name} in {room} imports {to_the_right}"


def test_part_kinds_do_not_know_each_other():
    kinds = {path.stem for path in (PACKAGE / "parts").glob("*.py")}
    kinds -= {"part", "fault", "contact", "frequency", "quantity", "__init__"}
    for path in (PACKAGE / "parts").glob("*.py"):
        if path.stem not in kinds:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
                "circuitcheck.parts."
            ):
                assert node.module.split(".")[2] not in kinds, f"{path.name} imports {node.module}"


def test_locate_leaves_heavy_libraries_alone():
    code = (
        "import sys, circuitcheck, circuitcheck.cli.main, circuitcheck.cli.tables\n"
        "loom = circuitcheck.load('first-fan')\n"
        "loom.locate(loom.whatif(spread=1))\n"
        "print(sorted({'lcapy', 'sympy', 'scipy', 'networkx', 'matplotlib'} & sys.modules.keys()))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
