"""Slips of the pen that keep a text from being YAML: each told, and mended so that the rest is read.

A reader of YAML stops at the first of them. Here each is told in words, the line is put as it was
probably meant, and reading goes on: so all mistakes of a file are told in one pass, those behind the
slip included. What is mended is a guess: it is never used, and nothing more is told about its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from circuitcheck.errors import Problem

MOST = 20
"""Slips of one file; after so many, what it was meant to be is anybody's guess."""
MAX_MENDED = 300_000
"""Characters of a text that is still mended; each slip has it read a few times over."""
_NO_BLANK = re.compile(r"(?<![\w\"'])([A-Za-z_][\w.-]*):(?=[^\s,}\]/:])")
"""A key whose colon has no blank behind it."""
_CLOSING = {"{": "}", "[": "]"}


@dataclass(frozen=True)
class Slip:
    """What is wrong with a line, and one way in which it may have been meant.

    :param line: counted from 0
    :param mended: the line as it may have been meant; None if it is best left out, with what is
        indented below it
    :param sure: whether it can hardly have been meant otherwise
    """

    line: int
    found: str
    must: str
    mended: str | None = None
    sure: bool = False


@dataclass
class Mended:
    """A text that can be read again.

    :param text: None if it cannot
    :param lines: numbers, from 1, of the lines that are guesses
    :param unread: names of entries that may not have been read as they were meant
    """

    text: str | None
    problems: list[Problem] = field(default_factory=list)
    lines: set[int] = field(default_factory=set)
    unread: set[str] = field(default_factory=set)


def mend(text: str, file: str) -> Mended:
    """The text with each slip put as it was probably meant, and each told.

    :param text: of which a reader of YAML says that it is none
    """
    mended = Mended(text)
    lines = _without_tabs(text.splitlines(), file, mended)
    for _ in range(MOST):
        error = _error_of(lines)
        if error is None:
            mended.text = "\n".join(lines) + "\n"
            return mended
        slip = _likeliest(lines, error, len(text) <= MAX_MENDED)
        if slip.mended is not None or slip.line + 1 not in mended.lines:
            mended.problems.append(Problem(file, slip.line + 1, "", slip.found, slip.must))
        mended.lines.add(slip.line + 1)
        if not slip.sure:
            mended.unread.add(_entry(lines, slip.line))
        if slip.mended is None and not _leave_out(lines, slip.line, mended):
            break
        if slip.mended is not None:
            lines[slip.line] = slip.mended
        if len(text) > MAX_MENDED:
            break
    mended.text = None
    return mended


def _error_of(lines: list[str]) -> YAMLError | None:
    try:
        for _ in YAML(typ="safe", pure=False).parse("\n".join(lines) + "\n"):
            pass
    except YAMLError as error:
        return error
    return None


def _reach(lines: list[str]) -> float:
    """How far the text can be read: the line of the first error, or to the end."""
    error = _error_of(lines)
    mark = getattr(error, "problem_mark", None)
    return float("inf") if error is None else (mark.line if mark else -1)


def _likeliest(lines: list[str], error: YAMLError, choose: bool) -> Slip:
    """Of the ways to mend an error the one after which most can be read; the first of equals."""
    if not isinstance(error, MarkedYAMLError):
        return Slip(0, " ".join(str(error).split())[:120], "must be YAML")
    slips = [*_slips(error, lines), _unlike_any(error, lines)]
    if not choose or len(slips) == 1:
        return slips[0]
    before = error.problem_mark.line if error.problem_mark else -1
    reaches = [_reach(_with(lines, slip)) if slip.mended is not None else -1 for slip in slips]
    best = max(reaches)
    return slips[reaches.index(best)] if best > before else _left_out(slips[0])


def _left_out(slip: Slip) -> Slip:
    return Slip(slip.line, slip.found, slip.must)


def _with(lines: list[str], slip: Slip) -> list[str]:
    return [*lines[: slip.line], slip.mended or "", *lines[slip.line + 1 :]]


def _leave_out(lines: list[str], number: int, mended: Mended) -> bool:
    """Blank a line and what is indented below it; not a section as a whole.

    :return: whether that may be done
    """
    if not lines[number].startswith(" "):
        return False
    above = _above(lines, number)
    if above is not None and _opens(lines[above]):  # it may be empty now, which is no news
        mended.lines.add(above + 1)
    depth = _indentation(lines[number])
    lines[number] = ""
    for below in range(number + 1, len(lines)):
        if lines[below].strip() and _indentation(lines[below]) <= depth:
            break
        lines[below] = ""
    return True


def _entry(lines: list[str], number: int) -> str:
    """The name of the entry that a line is of: what stands two blanks in, at it or above it."""
    for line in reversed(lines[: number + 1]):
        name = re.match(r" {1,3}['\"]?([^\s:'\"]+)", line)
        if name or re.match(r"\w", line):
            return name[1] if name else ""
    return ""


# ------------------------------------------------------------------------------- tabs


def _without_tabs(lines: list[str], file: str, mended: Mended) -> list[str]:
    """Tabs at the start of lines as blanks; told once, with all of their lines."""
    tabbed = [number for number, line in enumerate(lines) if re.match(r" *\t", line)]
    if not tabbed:
        return lines
    more = ", ".join(str(number + 1) for number in tabbed[1:12]) + (", ..." if len(tabbed) > 12 else "")
    again = f" (again on line{'s' if len(tabbed) > 2 else ''} {more})" if more else ""
    found = f"a tab at the start of a line{again}"
    mended.problems.append(Problem(file, tabbed[0] + 1, "", found, "must be indented with spaces"))
    wide = [line.expandtabs(2) if number in tabbed else line for number, line in enumerate(lines)]
    aligned = list(lines)
    for number in tabbed:
        aligned[number] = " " * _as_above(aligned, number) + lines[number].lstrip()
    return max((wide, aligned), key=_reach)


def _indentation(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _above(lines: list[str], number: int) -> int | None:
    """The number of the line above that says something."""
    for above in range(number - 1, -1, -1):
        if lines[above].strip() and not lines[above].lstrip().startswith("#"):
            return above
    return None


def _as_above(lines: list[str], number: int) -> int:
    """How far a line would be indented in step with the one above it."""
    above = _above(lines, number)
    if above is None:
        return 0
    return _indentation(lines[above]) + (2 if _opens(lines[above]) else 0)


def _opens(line: str) -> bool:
    """Whether what a line holds stands below it."""
    return line.split(" #", maxsplit=1)[0].rstrip().endswith(":")


# ------------------------------------------------------------------------- other slips


def _slips(error: MarkedYAMLError, lines: list[str]) -> Iterator[Slip]:
    """What the reader's error may mean, with each way to mend it."""
    said = " ".join((error.problem or "").split())
    where = error.problem_mark
    number = min(where.line, len(lines) - 1)
    yield from _quotes(lines, number)
    begun = min(error.context_mark.line, len(lines) - 1) if error.context_mark else number
    if "':'" in said or "mapping values" in said:
        yield from _colons(lines, begun if "expected ':'" in said else number, said)
    elif "cannot start any token" in said:
        line, column = lines[number], where.column
        found = f"'{line[column]}', a character that no value can begin with"
        yield Slip(number, found, "must stand in quotes", line[:column] + line[column + 1 :])
    elif "did not find expected key" in said:
        yield from _out_of_step(lines, number, where.column)
    elif "did not find expected node" in said:
        yield from _left_open(lines, number)
    elif "did not find expected ','" in said:
        yield from _brackets(lines, (begun, error.context_mark.column), (where.line, where.column))


_OPEN_QUOTE = re.compile(r"""(?<=[\s\[{,:])(['"])(?=[^\s,}\]])(?!.*\1)|(?<=: )(['"])(?!.*\2)""")
"""A quote at the head of a value, without another behind it on its line."""


def _quotes(lines: list[str], number: int) -> Iterator[Slip]:
    """A quote that is not closed on its line, at the line or the nearest above it."""
    for at in range(number, -1, -1):
        quote = _OPEN_QUOTE.search(lines[at])
        if quote:
            found = "an opening quote without its closing quote"
            line = lines[at][: quote.start()] + lines[at][quote.end() :]
            yield Slip(at, found, "must have both or none", line)
            return


def _colons(lines: list[str], number: int, said: str) -> Iterator[Slip]:
    """A key without its colon, a colon without its blank, a colon in a value."""
    line, above = lines[number], _above(lines, number)
    if "mapping values" in said and above is not None and ":" not in lines[above]:
        yield from _colons(lines, above, "expected ':'")
    tight = _NO_BLANK.search(line)
    if tight:
        yield Slip(
            number,
            f"no blank after '{tight[0]}'",
            f"must be '{tight[1]}: ...', with a blank after the colon",
            line[: tight.end()] + " " + line[tight.end() :],
            sure=True,
        )
    elif "expected ':'" in said:
        indent, key, rest = re.fullmatch(r"( *)(\S*) *(.*)", line).groups()  # type: ignore[union-attr]
        must = f"must be '{key}: ...'" if rest else f"must be '{key}:', with what it holds below"
        yield Slip(number, "a line without ':'", must, f"{indent}{key}: {rest}".rstrip(), sure=True)
    else:
        head, _, rest = line.partition(": ")
        must = f"must be '{head.strip()}: {{...}}', or have its value in quotes"
        yield Slip(number, "a ':' where none can stand", must, f"{head}: {{{rest}}}")
        quoted = rest.replace('"', "'")
        yield Slip(number, "a ':' where none can stand", must, f'{head}: "{quoted}"')


def _out_of_step(lines: list[str], number: int, column: int) -> Iterator[Slip]:
    """A line that is indented otherwise than its neighbours, or a character too many."""
    line = lines[number]
    if line[:column].strip() or line[column : column + 2] == "- ":
        found = f"'{line[column : column + 1]}' where none can stand"
        yield Slip(number, found, "must be left out", line[:column] + line[column + 1 :].lstrip())
        return
    above = _above(lines, number)
    if above is None:
        return
    for wrong, right in ((number, above), (above, number)):
        depth = _as_above(lines, number) if wrong == number else _indentation(lines[right])
        yield Slip(
            wrong,
            f"{_blanks(_indentation(lines[wrong]))} before {_first_word(lines[wrong])}",
            f"must be indented as far as what stands beside it: {_blanks(depth)}, as line {right + 1}",
            " " * depth + lines[wrong].lstrip(),
            sure=True,
        )


def _blanks(count: int) -> str:
    return "no blank" if count == 0 else "1 blank" if count == 1 else f"{count} blanks"


def _first_word(line: str) -> str:
    return f"'{line.split(maxsplit=1)[0]}'"


def _left_open(lines: list[str], number: int) -> Iterator[Slip]:
    """A bracket at the end of a line, with something below that cannot stand in it."""
    for line in dict.fromkeys((_above(lines, number), number)):
        text = lines[line].rstrip() if line is not None else ""
        if line is not None and text.endswith(tuple(_CLOSING)):
            found = f"'{text[-1]}' without its '{_CLOSING[text[-1]]}'"
            yield Slip(line, found, "must be left out, or closed", text[:-1])


def _brackets(lines: list[str], opened: tuple[int, int], stopped: tuple[int, int]) -> Iterator[Slip]:
    """A bracket that is not closed or one too many, or no comma between entries.

    :param opened: line and column of the bracket
    :param stopped: where the reader found that it does not go on
    """
    begun, (number, column) = opened[0], stopped
    opening = lines[begun][opened[1] : opened[1] + 1]
    closing = _CLOSING.get(opening, "}")
    first = lines[begun].split(" #")[0].rstrip()
    if number > begun and not first.endswith((",", opening)):
        must = f"must be closed with '{closing}'"
        yield Slip(begun, f"'{opening}' without its '{closing}'", must, first + closing, sure=True)
    if number >= len(lines):
        return
    line = lines[number]
    before, at, after = line[:column], line[column : column + 1], line[column + 1 :]
    due = f"no ',' or '{closing}' where one is due"
    if at in ("}", "]"):
        must = f"must have a '{closing}' for each '{opening}'"
        yield Slip(number, due, must, before + closing + at + after)
        yield Slip(number, f"'{at}' where none can stand", "must be left out", before + after)
    elif ";" in before:
        yield Slip(number, "';' between entries", "must be a comma", line.replace(";", ","), sure=True)
    else:
        start = len(before) - len(re.split(r"[^\w.+/-]", before)[-1])
        must = f"must have a comma before '{line[start:].split(':')[0].strip()}'"
        yield Slip(number, due, must, f"{line[:start].rstrip()}, {line[start:]}")


_IN_WORDS = (
    (r"did not find expected (.*[,\]}'].*)", r"no \1 where one is due"),
    (r"did not find expected (key|node content|'-' indicator)", "something out of place"),
    (r"block sequence entries are not allowed in this context", "a '-' where no list can begin"),
    (r"(?:found )(.*)", r"\1"),
)
"""What the YAML reader says of any other slip, to stand after 'found'."""


def _unlike_any(error: MarkedYAMLError, lines: list[str]) -> Slip:
    """A slip of no known kind: the line is told, and left out."""
    said = " ".join((error.problem or "").split())
    found = "something that is not YAML"
    for pattern, words in _IN_WORDS:
        match: re.Match[str] | None = re.fullmatch(pattern, said)
        if match:
            found = match.expand(words)
            break
    mark: Any = error.problem_mark or error.context_mark
    number = min(mark.line, len(lines) - 1) if mark else 0
    return Slip(number, found, "must be 'key: value' in each line, or a list of '- value'")
