"""Where the harness library and the shared tables are: inside a wheel, or beside the package."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """The folder ``harnesses`` or ``shared`` of this copy of the project."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def harness_files() -> dict[str, Path]:
    """The shipped harnesses by name."""
    return {path.stem: path for path in sorted(folder("harnesses").glob("*.yaml"))}


def readings_files(harness: str) -> dict[str, Path]:
    """The sample readings shipped for a harness, by name."""
    found = sorted((folder("harnesses") / "readings" / harness).glob("*.yaml"))
    return {path.stem: path for path in found}
