"""YAML text to a plain tree of dicts, lists and strings, with the line of every entry.

Only the part of YAML 1.2 that a description needs: no anchors, no tags, no second document. Every
scalar stays text (``off`` is never a boolean); the models decide what it means. The tree is built
from parser events with an explicit stack, so that a hostile file can neither recurse nor expand.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from circuitcheck.errors import Problem
from circuitcheck.harness.slips import mend

MAX_BYTES = 10_000_000
MAX_DEPTH = 12
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
_STANDARD_TAG = "tag:yaml.org,2002:"
Path_ = tuple[str | int, ...]


@dataclass(slots=True)
class Tree:
    """The content of a file, the line of each path in it, and what was wrong with it.

    :param whole: whether the content is all there; if not, it is not worth a look
    :param settled: paths that have had their problem reported, and need no second one
    :param unread: names of parts and wires that stand there and could not be read
    :param doubled: paths that stand there more than once; the first counts
    :param guessed: lines with a slip of form, read as they were probably meant
    """

    file: str
    data: Any = None
    lines: dict[Path_, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    whole: bool = True
    settled: set[Path_] = field(default_factory=set)
    unread: set[str] = field(default_factory=set)
    doubled: set[Path_] = field(default_factory=set)
    guessed: set[int] = field(default_factory=set)

    def line(self, path: Path_) -> int:
        """The line of a path, or of the nearest thing around it."""
        for end in range(len(path), -1, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return 0

    def report(self, path: Path_, found: str, must: str, near: str = "") -> None:
        """Add a problem at a path, unless there is one from the reading of the text."""
        if path in self.settled or self.line(path) in self.guessed:
            return
        name = ".".join(str(one) for one in path)
        self.problems.append(Problem(self.file, self.line(path), name, found, must, near))


@dataclass(frozen=True)
class Repeats:
    """What may stand more than once in a file that grows at its end.

    :param goes_on: whether a second list or mapping at a path goes on with the first
    :param blanks: values that a later one at the same path takes the place of
    """

    goes_on: Callable[[Path_], bool] = lambda _: False
    blanks: Collection[str] = ()


_WHY_NOT: dict[type[OSError], tuple[str, str]] = {
    FileNotFoundError: ("no such file", "must be a file that exists"),
    IsADirectoryError: ("a directory", "must be a file"),
    PermissionError: ("no permission to read it", "must be readable"),
}


def read_text(path: Path) -> tuple[str, list[Problem]]:
    """The text of a file, or what stops it from being one."""
    name = str(path)
    try:
        with path.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except OSError as error:
        found, must = _WHY_NOT.get(type(error), (error.strerror or "an error", "must be readable"))
        return "", [Problem(name, 0, "", found, must)]
    except ValueError:  # a NUL in the name
        return "", [Problem(name, 0, "", "no such file", "must be a file that exists")]
    if len(raw) > MAX_BYTES:
        return "", [
            Problem(
                name,
                0,
                "",
                f"more than {MAX_BYTES // 1_000_000} MB",
                "must be a description, not a data dump",
            )
        ]
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return "", [Problem(name, line, "", f"byte 0x{raw[error.start]:02x}", "must be text in UTF-8")]


def parse(text: str, file: str, repeats: Repeats | None = None) -> Tree:
    """Build the tree; problems of form end up in ``Tree.problems`` and nothing is raised.

    :param repeats: what may stand more than once; nothing may unless told
    """
    tree, repeats = Tree(file), repeats or Repeats()
    problem = _unreadable(text, file)
    if problem is not None:
        tree.whole = False
        tree.problems.append(problem)
        return tree
    if _tabbed(text):
        return _read_on(text, file, repeats)
    try:
        tree.whole = _Builder(tree, repeats).run(text)
    except YAMLError:
        return _read_on(text, file, repeats)
    return tree


def _read_on(text: str, file: str, repeats: Repeats) -> Tree:
    """The tree of a text that is not YAML: its slips told, and all else as far as it can be read."""
    mended = mend(text, file)
    tree = Tree(file, problems=mended.problems, unread=mended.unread, guessed=mended.lines)
    tree.whole = mended.text is not None and _Builder(tree, repeats).run(mended.text)
    return tree


def _tabbed(text: str) -> bool:
    """Whether a line begins with a tab, which some readers of YAML take and others do not."""
    return re.search(r"^ *\t", text, re.MULTILINE) is not None


def _unreadable(text: str, file: str) -> Problem | None:
    """What cannot be read at all: control characters, an empty file."""
    control = _CONTROL.search(text)
    if control:
        found = f"the control character U+{ord(control[0]):04X}"
        return Problem(file, _line_at(text, control.start()), "", found, "must be plain text")
    if not re.search(r"^ *[^#\s]", text, re.MULTILINE):
        found = "nothing but comments" if text.strip() else "an empty file"
        return Problem(file, 0, "", found, "must hold a description")
    return None


def _line_at(text: str, position: int) -> int:
    return text.count("\n", 0, position) + 1


class _Builder:
    """Turns events into the tree; one open container per level of the stack."""

    def __init__(self, tree: Tree, repeats: Repeats) -> None:
        self.tree = tree
        self.repeats = repeats
        self.again: Any = None
        self.stack: list[tuple[Any, Path_]] = []
        self.key: list[str | None] = []
        self.documents = 0

    def run(self, text: str) -> bool:
        """Whether all of the text could be taken in."""
        yaml = YAML(typ="safe", pure=False)
        for event in yaml.parse(text):
            if isinstance(event, DocumentStartEvent):
                self.documents += 1
                if self.documents > 1:
                    self._refuse(event, "a second document", "must be one document")
                    return False
            elif isinstance(event, AliasEvent) or getattr(event, "anchor", None):
                self._refuse(event, "an anchor or alias (& or *)", "must be written out")
                return False
            tag = getattr(event, "tag", None)
            if tag not in (None, "!"):
                short = tag.replace(_STANDARD_TAG, "!!")
                self._refuse(event, f"the tag {short}", "must be written without tags")
            if isinstance(event, MappingStartEvent | SequenceStartEvent):
                if len(self.stack) >= MAX_DEPTH:
                    self._refuse(event, f"more than {MAX_DEPTH} levels", "must be less nested")
                    return False
                if self._awaits_key():
                    self._refuse(event, "a list or mapping as a key", "must be a name")
                    return False
                self._open({} if isinstance(event, MappingStartEvent) else [], event)
            elif isinstance(event, MappingEndEvent | SequenceEndEvent):
                self.stack.pop()
                self.key.pop()
            elif isinstance(event, ScalarEvent):
                self._scalar(event)
        return True

    def _refuse(self, event: Any, found: str, must: str, name: str = "") -> None:
        line = event.start_mark.line + 1
        self.tree.problems.append(Problem(self.tree.file, line, name, found, must))

    def _open(self, container: Any, event: Any) -> None:
        path = self._place(container, event)
        if self.again is not None:
            container, self.again = self.again, None
        self.stack.append((container, path))
        self.key.append(None)

    def _scalar(self, event: Any) -> None:
        if self._awaits_key():
            _, path = self.stack[-1]
            name = event.value
            where = ".".join(str(one) for one in (*path, name))
            if name == "<<" and event.implicit[0]:
                self._refuse(event, "a merge key '<<'", "must be written out", where)
                self.tree.settled.add((*path, name))
            self.key[-1] = name
            self.tree.lines.setdefault((*path, name), event.start_mark.line + 1)
            return
        self._place(event.value, event)

    def _once_more(self, path: Path_, container: Any, value: Any, event: Any) -> None:
        """A key that stands there already: it goes on, it fills in a blank, or it is one too many."""
        before = container[path[-1]]
        if isinstance(value, dict | list) and type(before) is type(value) and self.repeats.goes_on(path):
            self.again = before
        elif isinstance(before, str) and before in self.repeats.blanks:
            container[path[-1]] = value
            self.tree.lines[path] = event.start_mark.line + 1
        elif not (isinstance(value, str) and value in self.repeats.blanks):
            first = self.tree.lines[path]
            where = ".".join(str(one) for one in path)
            self._refuse(
                event, f"'{path[-1]}' a second time", f"must stand once (first on line {first})", where
            )
            self.tree.doubled.add(path)

    def _awaits_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1][0], dict) and self.key[-1] is None

    def _place(self, value: Any, event: Any) -> Path_:
        line = event.start_mark.line + 1
        if not self.stack:
            self.tree.data = value
            self.tree.lines[()] = line
            return ()
        container, path = self.stack[-1]
        if isinstance(container, dict):
            step: str | int = self.key[-1] or ""
            if step in container:
                self._once_more((*path, step), container, value, event)
            else:
                container[step] = value
            self.key[-1] = None
        else:
            step = len(container)
            container.append(value)
        self.tree.lines.setdefault((*path, step), line)
        return (*path, step)
