"""YAML text to a plain tree of dicts, lists and strings, with the line of every entry.

Only the part of YAML 1.2 that a description needs: no anchors, no tags, no second document. Every
scalar stays text (``off`` is never a boolean); the models decide what it means. The tree is built
from parser events with an explicit stack, so that a hostile file can neither recurse nor expand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)  # fmt: skip
from ruamel.yaml.reader import ReaderError

from circuitcheck.errors import Problem

MAX_BYTES = 2_000_000
MAX_DEPTH = 12
Path_ = tuple[str | int, ...]


@dataclass(slots=True)
class Tree:
    """The content of a file, the line of each path in it, and what was wrong with its form."""

    file: str
    data: Any = None
    lines: dict[Path_, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def line(self, path: Path_) -> int:
        """The line of a path, or of the nearest thing around it."""
        for end in range(len(path), -1, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return 0

    def report(self, path: Path_, found: str, must: str, near: str = "") -> None:
        """Add a problem at a path."""
        name = ".".join(str(one) for one in path)
        self.problems.append(Problem(self.file, self.line(path), name, found, must, near))


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
        return "", [Problem(name, 0, "", f"more than {MAX_BYTES // 1_000_000} MB",
                            "must be a description, not a data dump")]  # fmt: skip
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return "", [Problem(name, line, "", f"byte 0x{raw[error.start]:02x}",
                            "must be text in UTF-8")]  # fmt: skip


def parse(text: str, file: str) -> Tree:
    """Build the tree; problems of form end up in ``Tree.problems`` and nothing is raised."""
    tree = Tree(file)
    tab = re.search(r"^[ ]*\t", text, re.MULTILINE)
    if tab:
        line = text[: tab.start()].count("\n") + 1
        tree.problems.append(Problem(file, line, "", "a tab", "must be indented with spaces"))
        return tree
    if not text.strip():
        tree.problems.append(Problem(file, 0, "", "an empty file", "must hold a description"))
        return tree
    try:
        _Builder(tree).run(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        found = _in_words(error.problem or "")
        line = mark.line + 1 if mark else 0
        tree.problems.append(Problem(file, line, "", found, "must be YAML"))
    except (ReaderError, UnicodeEncodeError) as error:
        place = error.start if isinstance(error, UnicodeEncodeError) else error.position
        line = text[:place].count("\n") + 1
        tree.problems.append(Problem(file, line, "", "a control character", "must be plain text"))
    except YAMLError as error:
        found = " ".join(str(error).split())[:120]
        tree.problems.append(Problem(file, 0, "", found, "must be YAML"))
    return tree


def _in_words(problem: str) -> str:
    """What the YAML reader says, to stand after 'found'."""
    problem = " ".join(problem.split())
    if problem.startswith("found "):
        return problem.removeprefix("found ")
    return f"something that is not YAML ({problem})" if problem else "something that is not YAML"


class _Builder:
    """Turns events into the tree; one open container per level of the stack."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.stack: list[tuple[Any, Path_]] = []
        self.key: list[str | None] = []
        self.documents = 0

    def run(self, text: str) -> None:
        yaml = YAML(typ="safe", pure=False)
        for event in yaml.parse(text):
            if isinstance(event, DocumentStartEvent):
                self.documents += 1
                if self.documents > 1:
                    self._refuse(event, "a second document", "must be one document")
                    return
            elif isinstance(event, AliasEvent) or getattr(event, "anchor", None):
                self._refuse(event, "an anchor or alias (& or *)", "must be written out")
                return
            elif getattr(event, "tag", None) not in (None, "!"):
                self._refuse(event, f"a tag ({event.tag})", "must be written without tags")
                return
            elif isinstance(event, MappingStartEvent | SequenceStartEvent):
                if len(self.stack) >= MAX_DEPTH:
                    self._refuse(event, f"more than {MAX_DEPTH} levels", "must be less nested")
                    return
                self._open({} if isinstance(event, MappingStartEvent) else [], event)
            elif isinstance(event, MappingEndEvent | SequenceEndEvent):
                self.stack.pop()
                self.key.pop()
            elif isinstance(event, ScalarEvent):
                self._scalar(event)

    def _refuse(self, event: Any, found: str, must: str) -> None:
        line = event.start_mark.line + 1
        self.tree.problems.append(Problem(self.tree.file, line, "", found, must))

    def _open(self, container: Any, event: Any) -> None:
        if self._awaits_key():
            self._refuse(event, "a list or mapping as a key", "must be a name")
            self.key[-1] = "?"
        path = self._place(container, event)
        self.stack.append((container, path))
        self.key.append(None)

    def _scalar(self, event: Any) -> None:
        if self._awaits_key():
            container, path = self.stack[-1]
            name = event.value
            if name in container:
                first = self.tree.lines[(*path, name)]
                self._refuse(event, f"'{name}' a second time",
                             f"must stand once (first on line {first})")  # fmt: skip
            self.key[-1] = name
            self.tree.lines.setdefault((*path, name), event.start_mark.line + 1)
            return
        self._place(event.value, event)

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
            if step not in container:
                container[step] = value
            self.key[-1] = None
        else:
            step = len(container)
            container.append(value)
        self.tree.lines.setdefault((*path, step), line)
        return (*path, step)
