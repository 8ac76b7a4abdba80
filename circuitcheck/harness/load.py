"""A harness file to a checked :class:`Harness`; all its problems at once, or none."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from circuitcheck.errors import DescriptionError, Problem, UnknownName, nearest
from circuitcheck.harness.convert import build, shown
from circuitcheck.harness.model import Access, Harness, Header, Supply, Test
from circuitcheck.harness.rules import ALL_ACCESS, ALL_NAMES, check, report_check
from circuitcheck.harness.tree import Tree, parse, read_text
from circuitcheck.parts import KINDS
from circuitcheck.parts.part import Part
from circuitcheck.parts.wire import Wire
from circuitcheck.shipped import harness_files

Entry = TypeVar("Entry")

MAX_ENTRIES = 50_000
"""Parts, wires or tests in one file; a fan circuit has fifty, a whole vehicle some thousands."""
COUNTS = ("cavities", "wires")
"""Fields of parts that say how many terminals there are."""


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
    return _whole(parse(text, file), name)


def harness_from(description: Mapping[str, Any], name: str = "harness") -> Harness:
    """Check a description that a program has made: dicts, lists and text as in a file.

    :raises DescriptionError: with every problem of it; there are no lines to give
    """
    return _whole(Tree("<description>", dict(description)), name)


def _whole(tree: Tree, name: str) -> Harness:
    harness = _checked(tree, name) if tree.whole else None
    if tree.problems or harness is None:
        raise DescriptionError(_told_once(tree.problems))
    return harness


def _told_once(problems: list[Problem]) -> list[Problem]:
    """In the order of lines; a missing part is told where it is named first, with the other lines."""
    found: list[Problem] = []
    lines: dict[str, dict[int, None]] = {}
    for one in sorted(problems, key=lambda one: one.line):
        if not one.found.startswith("no part "):
            found.append(one)
            continue
        if one.found not in lines:
            found.append(one)
        lines.setdefault(one.found, {})[one.line] = None
    return [_with_lines(one, list(lines.get(one.found, ()))[1:]) for one in found]


def _with_lines(problem: Problem, lines: list[int]) -> Problem:
    if not lines:
        return problem
    some = ", ".join(str(line) for line in lines[:12]) + (", ..." if len(lines) > 12 else "")
    word = "line" if len(lines) == 1 else "lines"
    return replace(problem, found=f"{problem.found} (again on {word} {some})")


def _checked(tree: Tree, name: str) -> Harness | None:
    """Everything that can be read, checked as far as it can be; None if the tree has problems."""
    if not isinstance(tree.data, dict):
        tree.report((), "no keys", "must begin with 'harness: a title'")
        return None
    raw = tree.data
    if "parts" not in raw and {"readings", "symptom", "also", "put_right"} & set(raw):
        tree.report((), "a sheet of readings", "must be a harness, with 'parts:' and 'wires:'")
        return None
    sections = [key for key in ("parts", "wires", "tests") if isinstance(raw.get(key), dict)]
    emptied: dict[str, Any] = {key: {} for key in sections}
    if tree.unread or not isinstance(raw.get("access", {}), dict):
        tree.unread.add(ALL_ACCESS)
    header = build(Header, {**raw, **emptied}, tree, ())  # the entries are read one by one below
    whole = _is_whole(tree, sections)
    parts = {key: _part(tree, key, one) for key, one in _section(tree, "parts")}
    wires = {key: build(Wire, one, tree, ("wires", key)) for key, one in _section(tree, "wires")}
    tests = {key: build(Test, one, tree, ("tests", key)) for key, one in _section(tree, "tests")}
    frequencies = {key: _weight(tree, key, one) for key, one in _section(tree, "frequencies")}
    tree.unread |= {key for key, one in [*parts.items(), *wires.items()] if one is None}
    for title, entries in (("parts", parts), ("wires", wires)):
        if title in sections and not raw[title]:
            tree.report((title,), "nothing", "must have some")
        elif not entries:
            tree.unread.add(ALL_NAMES)
    top = header or _stand_in(raw)
    harness = Harness.model_construct(
        name=name,
        title=top.harness,
        about=top.about or "",
        volts=int(top.volts),
        supply=top.supply,
        ambient=top.ambient,
        parts=_read(parts),
        wires=_read(wires),
        tests=_read(tests),
        access=top.access,
        frequencies=frequencies,
    )
    check(harness, tree, header=header is not None, whole=whole)
    return harness


def _is_whole(tree: Tree, sections: list[str]) -> bool:
    """Whether each name stands for one part or wire; marks the names that may be missing."""
    doubled = {path[0] for path in tree.doubled if len(path) == 2}
    if "parts" in doubled:
        tree.unread.add(ALL_NAMES)
    return not (tree.guessed or {"parts", "wires"} & doubled) and {"parts", "wires"} <= set(sections)


def _stand_in(raw: dict[str, Any]) -> Header:
    """For a top level that could not be read, so that the names below it are checked all the same."""
    access = raw.get("access")
    return Header.model_construct(
        harness="",
        about=None,
        volts="12",
        ambient=20.0,
        parts={},
        wires={},
        tests={},
        frequencies={},
        supply=Supply(battery="", resting="12.6 V", running="14.2 V"),
        access={key: Access(minutes=0.0) for key in access} if isinstance(access, dict) else {},
    )


def _read(entries: Mapping[str, Entry | None]) -> dict[str, Entry]:
    """The entries that could be read."""
    return {key: one for key, one in entries.items() if one is not None}


def _section(tree: Tree, title: str) -> list[tuple[str, Any]]:
    section = tree.data.get(title)
    if not isinstance(section, dict):
        return []
    if len(section) > MAX_ENTRIES:
        tree.report((title,), f"{len(section)} entries", f"must be one loom: at most {MAX_ENTRIES}")
        return []
    return [(key, one) for key, one in section.items() if not _runs_into_brace(tree, title, key, one)]


def _runs_into_brace(tree: Tree, title: str, key: str, value: Any) -> bool:
    """Whether ``K1 {kind: relay}`` stands there: to YAML the key ``K1 {kind``; told as what it is."""
    match = re.fullmatch(r"(\S+) +\{(.*)", key)
    if match is None or not (isinstance(value, str) and value.endswith("}")):
        return False
    name, inner = match.groups()
    tree.report((title, key), f"no ':' after '{name}'", f"must be '{name}: {{{inner}: {value}'")
    tree.unread.add(name)
    return True


_ALSO_CALLED = {
    "earth": "ground",
    "bulb": "lamp",
    "fan": "motor",
    "connector": "plug",
    "ecu": "module",
    "joint": "splice",
}
"""What kinds of part are called as well."""


def _part(tree: Tree, name: str, data: Any) -> Part | None:
    path = ("parts", name)
    if not isinstance(data, dict):
        apart = re.sub(r"^(\w+):(?=\S)", r"\1: ", str(data))
        tree.report(
            path,
            shown(data),
            "must be a mapping, such as {kind: fuse, rating: 40 A}",
            apart if apart != str(data) else "",
        )
        return None
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        found = "no kind" if kind is None else f"kind {shown(kind)}"
        tree.report(
            (*path, "kind"),
            found,
            f"must be one of {', '.join(KINDS)}",
            _ALSO_CALLED.get(str(kind)) or nearest(str(kind), KINDS),
        )
        return None
    part = build(KINDS[kind], data, tree, path)
    if part is not None and any(field in COUNTS for field, *_ in part.check()):
        report_check(name, part, tree)  # it has no terminals to speak of
        return None
    return part


def _weight(tree: Tree, spec: str, text: Any) -> float:
    try:
        weight = float(text)
    except (TypeError, ValueError):
        weight = -1.0
    if not 0 <= weight < 1e6:
        tree.report(("frequencies", spec), shown(text), "must be a number from 0 up to a million")
        return 0.0
    return weight


__all__ = ["harness_from", "load_harness", "parse_harness", "read_harness"]
