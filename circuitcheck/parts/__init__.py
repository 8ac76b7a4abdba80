"""One file a kind of part: its terminals, branches, fault modes, and words for them.

``KINDS`` finds the files by itself: a new kind is one new file with one subclass of ``Part``.
"""

from __future__ import annotations

import importlib
import pkgutil

from circuitcheck.parts.part import Part


def _kinds() -> dict[str, type[Part]]:
    for module in pkgutil.iter_modules(__path__):
        importlib.import_module(f"{__name__}.{module.name}")
    found = {kind.kind_name: kind for kind in Part.__subclasses__()}
    return dict(sorted(found.items()))


KINDS: dict[str, type[Part]] = _kinds()
"""Every kind of part by the name it has in a harness file."""
