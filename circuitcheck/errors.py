"""What can be wrong with what we were given. Never what is wrong with the vehicle: that is a result.

CircuitcheckError
+-- DescriptionError    a harness file
+-- ReadingsError       a sheet of readings
+-- UnknownName         a harness, test, part or fault that is not there
+-- RefusedTest         a set-up or observation that cannot be done, or must not be
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, and what would have been right.

    :param file: as the user named it
    :param line: from 1; 0 where there is none
    :param name: the thing in the file, as ``parts.R1.ohms``
    :param found: what stands there
    :param must: what it must be
    :param nearest: the nearest right spelling, or empty
    """

    file: str
    line: int
    name: str
    found: str
    must: str
    nearest: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        about = f"{self.name}: " if self.name else ""
        hint = f" (nearest: {self.nearest})" if self.nearest else ""
        return f"{place}: {about}found {self.found}; {self.must}{hint}"

    def to_dict(self) -> dict[str, str | int]:
        """The fields as a plain dict."""
        return {
            "file": self.file,
            "line": self.line,
            "name": self.name,
            "found": self.found,
            "must": self.must,
            "nearest": self.nearest,
        }


class CircuitcheckError(Exception):
    """The root of all errors of this package."""


class _FileError(CircuitcheckError):
    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class DescriptionError(_FileError, ValueError):
    """A harness description is wrong; ``problems`` holds every one of them."""


class ReadingsError(_FileError, ValueError):
    """A sheet of readings is wrong; ``problems`` holds every one of them.

    :param unheard: the symptom of the sheet, if it has one; its words are for a later room to understand
    """

    def __init__(self, problems: Sequence[Problem], unheard: object = None) -> None:
        super().__init__(problems)
        self.unheard = unheard


class UnknownName(CircuitcheckError, LookupError):
    """A name that is not there; ``nearest`` is the closest one that is, or empty."""

    def __init__(self, what: str, name: str, known: Iterable[str]) -> None:
        self.what, self.name = what, name
        self.known = tuple(dict.fromkeys(known))
        self.nearest = nearest(name, self.known)
        hint = f"; nearest: {self.nearest}" if self.nearest else ""
        some = ", ".join(self.known[:12]) + (", ..." if len(self.known) > 12 else "")
        super().__init__(f"no {what} '{name}'{hint}" + ("" if hint else f"; there are: {some}"))


class RefusedTest(CircuitcheckError, ValueError):
    """A set-up that contradicts itself or an observation that a meter would refuse."""


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name most like this one, or an empty string.

    Of several that begin with all of its words, or with its one word and a hyphen, the first one.

    >>> nearest("thermoswich", ["thermoswitch", "fuse"])
    'thermoswitch'
    >>> nearest("W1 short", ["W1 short to ground", "W1 short to supply"])
    'W1 short to ground'
    >>> nearest("low", ["warm", "low-at-the-plug"])
    'low-at-the-plug'
    """
    known = list(known)
    folded = {one.casefold(): one for one in known}
    if name.casefold() in folded:
        return folded[name.casefold()]
    begun = [one for one in known if one.casefold().startswith(f"{name.casefold()} ")]
    if begun and " " in name:
        return begun[0]
    hyphened = [one for one in known if one.casefold().startswith(f"{name.casefold()}-")]
    if hyphened:
        return hyphened[0]
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return close[0] if close else ""
