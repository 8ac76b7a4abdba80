"""One numpy thread a worker: circuits are small, and threads only wait for each other."""

import os
import runpy
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@pytest.fixture(scope="session")
def pages():
    """The script that renews the pages; once, as it keeps what each command printed."""
    return runpy.run_path(str(Path(__file__).parent.parent / "docs" / "make_readme.py"))
