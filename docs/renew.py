"""Renew every page that shows output of the tool: ``python docs/renew.py``."""

from __future__ import annotations

import runpy
from pathlib import Path

MAKERS = ("make_parts.py", "make_inspect.py", "make_readme.py", "make_cases.py")

if __name__ == "__main__":
    for name in MAKERS:
        runpy.run_path(str(Path(__file__).parent / name), run_name="__main__")
