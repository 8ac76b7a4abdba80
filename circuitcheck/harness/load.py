"""A harness file to a checked :class:`Harness`; all its problems at once, or none."""

from __future__ import annotations

from pathlib import Path
from typing import Any, TypeVar

from circuitcheck.errors import DescriptionError, UnknownName, nearest
from circuitcheck.harness.convert import build
from circuitcheck.harness.model import Harness, Header, Test
from circuitcheck.harness.rules import BASIC_RULES, RULES, can_be_wired
from circuitcheck.harness.tree import Tree, parse, read_text
from circuitcheck.parts import KINDS
from circuitcheck.parts.part import Part
from circuitcheck.parts.wire import Wire
from circuitcheck.shipped import harness_files

Entry = TypeVar("Entry")


def load_harness(source: str | Path) -> Harness:
    """A harness by path, or by the name of a shipped one.

    :raises UnknownName: if it is neither
    :raises DescriptionError: with every problem of the file
    """
    text = str(source)
    shipped = harness_files()
    if text in shipped:
        return read_harness(shipped[text])
    path = Path(text)
    if not path.exists() and path.suffix not in (".yaml", ".yml") and "/" not in text:
        raise UnknownName("harness", text, shipped)
    return read_harness(path)


def read_harness(path: Path) -> Harness:
    """Read and check one file.

    :raises DescriptionError: with every problem of the file
    """
    text, problems = read_text(path)
    if problems:
        raise DescriptionError(problems)
    return parse_harness(text, str(path), path.stem)


def parse_harness(text: str, file: str = "<text>", name: str = "harness") -> Harness:
    """Check a description that is already in memory.

    :param file: how problems call it
    :raises DescriptionError: with every problem of the text
    """
    tree = parse(text, file)
    harness = None
    if not tree.problems:
        harness = _checked(tree, name)
    if tree.problems or harness is None:
        raise DescriptionError(sorted(tree.problems, key=lambda one: one.line))
    return harness


def _checked(tree: Tree, name: str) -> Harness | None:
    if not isinstance(tree.data, dict):
        tree.report((), "no keys", "must begin with 'harness: a title'")
        return None
    raw = tree.data
    sections = [key for key in ("parts", "wires", "tests") if isinstance(raw.get(key), dict)]
    emptied: dict[str, Any] = {key: {} for key in sections}
    header = build(Header, {**raw, **emptied}, tree, ())  # the entries are read one by one below
    parts = {key: _part(tree, key, one) for key, one in _section(raw, "parts")}
    wires = {key: build(Wire, one, tree, ("wires", key)) for key, one in _section(raw, "wires")}
    tests = {key: build(Test, one, tree, ("tests", key)) for key, one in _section(raw, "tests")}
    frequencies = {key: _weight(tree, key, one) for key, one in _section(raw, "frequencies")}
    whole = _whole(parts), _whole(wires), _whole(tests)
    if header is None or None in whole:
        return None
    if not parts or not wires:
        tree.report(("parts",) if not parts else ("wires",), "nothing", "must have some")
        return None
    harness = Harness.model_construct(
        name=name, title=header.harness, about=header.about or "", volts=int(header.volts),
        supply=header.supply, ambient=header.ambient, parts=whole[0] or {}, wires=whole[1] or {},
        tests=whole[2] or {},
        access=header.access, frequencies=frequencies,
    )  # fmt: skip
    for rule in BASIC_RULES:
        rule(harness, tree)
    for rule in RULES if can_be_wired(harness) else ():
        rule(harness, tree)
    return harness


def _whole(entries: dict[str, Entry | None]) -> dict[str, Entry] | None:
    """The entries, or None if one of them could not be read."""
    found = {key: one for key, one in entries.items() if one is not None}
    return found if len(found) == len(entries) else None


def _section(raw: dict[str, Any], key: str) -> list[tuple[str, Any]]:
    section = raw.get(key)
    return list(section.items()) if isinstance(section, dict) else []


def _part(tree: Tree, name: str, data: Any) -> Part | None:
    path = ("parts", name)
    if not isinstance(data, dict):
        tree.report(path, "no mapping", "must be written like {kind: fuse, rating: 40 A}")
        return None
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        found = f"kind '{kind}'" if kind is not None else "no kind"
        tree.report((*path, "kind"), found, f"must be one of {', '.join(KINDS)}",
                    nearest(str(kind), KINDS))  # fmt: skip
        return None
    return build(KINDS[kind], data, tree, path)


def _weight(tree: Tree, spec: str, text: Any) -> float:
    try:
        weight = float(text)
    except (TypeError, ValueError):
        weight = -1.0
    if not 0 <= weight < 1e6:
        tree.report(("frequencies", spec), f"'{text}'", "must be a number from 0 up")
        return 0.0
    return weight


__all__ = ["load_harness", "parse_harness", "read_harness"]
