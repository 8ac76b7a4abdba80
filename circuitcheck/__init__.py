"""circuitcheck: knows a fan circuit, says what each test should read, locates the fault.

>>> import circuitcheck
>>> loom = circuitcheck.load("first-fan")  # doctest: +SKIP
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from circuitcheck.errors import (
        CircuitcheckError,
        DescriptionError,
        Problem,
        ReadingsError,
        RefusedTest,
        UnknownName,
    )
    from circuitcheck.expect.expected import Expectation, ExpectedReading, ExpectedTest
    from circuitcheck.harness.readings import Reading, Sheet
    from circuitcheck.locate.verdict import Estimate, ReadingResult, SuspectResult, Verdict
    from circuitcheck.loom import Loom, load
    from circuitcheck.parts.fault import FaultMode

__version__ = "0.1.0"

__all__ = [
    "CircuitcheckError",
    "DescriptionError",
    "Estimate",
    "Expectation",
    "ExpectedReading",
    "ExpectedTest",
    "FaultMode",
    "Loom",
    "Problem",
    "Reading",
    "ReadingResult",
    "ReadingsError",
    "RefusedTest",
    "Sheet",
    "SuspectResult",
    "UnknownName",
    "Verdict",
    "load",
]

_HOMES = {
    "CircuitcheckError": "circuitcheck.errors",
    "DescriptionError": "circuitcheck.errors",
    "Estimate": "circuitcheck.locate.verdict",
    "Expectation": "circuitcheck.expect.expected",
    "ExpectedReading": "circuitcheck.expect.expected",
    "ExpectedTest": "circuitcheck.expect.expected",
    "FaultMode": "circuitcheck.parts.fault",
    "Loom": "circuitcheck.loom",
    "Problem": "circuitcheck.errors",
    "Reading": "circuitcheck.harness.readings",
    "ReadingResult": "circuitcheck.locate.verdict",
    "ReadingsError": "circuitcheck.errors",
    "RefusedTest": "circuitcheck.errors",
    "Sheet": "circuitcheck.harness.readings",
    "SuspectResult": "circuitcheck.locate.verdict",
    "UnknownName": "circuitcheck.errors",
    "Verdict": "circuitcheck.locate.verdict",
    "load": "circuitcheck.loom",
}


def __getattr__(name: str) -> Any:
    """What the package offers, fetched when it is first asked for: numpy takes its time."""
    if name not in _HOMES:
        raise AttributeError(f"module 'circuitcheck' has no attribute '{name}'")
    found = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
