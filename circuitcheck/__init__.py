"""circuitcheck: knows a fan circuit, says what each test should read, locates the fault.

>>> import circuitcheck
>>> loom = circuitcheck.load("first-fan")  # doctest: +SKIP
"""

from circuitcheck.errors import (
    CircuitcheckError,
    DescriptionError,
    Problem,
    ReadingsError,
    RefusedTest,
    UnknownName,
)  # fmt: skip
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
