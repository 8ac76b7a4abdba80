"""What all tests share. One numpy thread a worker: circuits are small, and threads wait for each other."""

import os
import runpy
from functools import cache, wraps
from pathlib import Path

import pytest

import circuitcheck
from circuitcheck.shipped import harness_files

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@pytest.fixture(scope="session", autouse=True)
def shared_looms():
    """Shipped harnesses are loaded once: a loom never changes, and keeps what it has worked out."""
    afresh, once, shipped = circuitcheck.load, cache(circuitcheck.load), harness_files()

    @wraps(afresh)
    def load(source):
        return (once if source in shipped else afresh)(source)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(circuitcheck, "load", load)
        patch.setattr("circuitcheck.loom.load", load)  # where the command line has it from
        yield


@pytest.fixture(scope="session")
def pages():
    """The script that renews the pages; once, as it keeps what each command printed."""
    return runpy.run_path(str(Path(__file__).parent.parent / "docs" / "make_readme.py"))
