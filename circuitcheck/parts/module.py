"""A control module, seen from its plug: inputs with thresholds, contacts on conditions.

What a module does is written down and not programmed: each contact lists the conditions in which
it is closed, in terms of inputs that are on or off. A fail-safe is the condition ``not control``.
"""

import re
from dataclasses import replace
from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from circuitcheck.parts.contact import contact_faults
from circuitcheck.parts.fault import Failing, FaultMode, take_out
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Amp, Ohms, Volt
from circuitcheck.physics.branch import Branch, Condition, Conductor, Threshold

_TERM = re.compile(r"(not\s+)?([A-Za-z0-9_-]+)")


class Input(BaseModel):
    """A resistance between two pins of the module; it is on from ``on_at``, off below ``off_at``."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)

    between: tuple[str, str]
    ohms: Ohms
    on_at: Volt
    off_at: Volt


class Output(BaseModel):
    """A contact between two pins, closed while any line of ``closed_when`` holds."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)

    between: tuple[str, str]
    closed_when: list[str] = Field(description="lines such as 'not control' or 'low and not high'")
    ohms: Ohms = 0.004
    rating: Amp | None = None


class Module(Part):
    """Pins are those that its inputs and outputs name."""

    kind_name: ClassVar[str] = "module"
    letters: ClassVar[str] = "AK"
    summary: ClassVar[str] = "control module: inputs, and contacts closed on conditions of them"

    inputs: dict[str, Input]
    outputs: dict[str, Output]

    def pins(self) -> tuple[str, ...]:
        """In the order in which they are named."""
        pairs = [one.between for one in self.inputs.values()]
        pairs += [one.between for one in self.outputs.values()]
        return tuple(dict.fromkeys(pin for pair in pairs for pin in pair))

    def _condition(self, name: str, output: Output) -> Condition:
        return tuple(
            tuple((f"{name} {term} on", not negated) for negated, term in _terms(line))
            for line in output.closed_when
        )

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """Input resistances and output contacts."""
        found: dict[str, Branch] = {}
        for label, one in self.inputs.items():
            start, end = (self.own(name, pin) for pin in one.between)
            found[f"{name}:{label}"] = Conductor(start, end, one.ohms, 0.1)
        for label, output in self.outputs.items():
            closed_when = self._condition(name, output)
            found[f"{name}:{label}"] = replace(self._contact(name, output), closed_when=closed_when)
        return found

    def _contact(self, name: str, output: Output) -> Conductor:
        start, end = (self.own(name, pin) for pin in output.between)
        return Conductor(start, end, output.ohms, 0.4)

    def thresholds(self, name: str) -> dict[str, Threshold]:
        """One a input, watched through the current of its resistance."""
        return {
            f"{name} {label} on": Threshold(
                f"{name}:{label}", one.on_at / one.ohms, one.off_at / one.ohms
            )
            for label, one in self.inputs.items()
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Inputs gone deaf; contacts stuck open, welded or burnt."""
        module = Failing(name, "module", f"renew module {name}")
        found = [
            module.mode(
                f"{label} input dead",
                f"{name} no longer sees its {label} input",
                take_out(f"{name}:{label}"),
                often="input dead",
            )
            for label in self.inputs
        ]
        for label, output in self.outputs.items():
            contact, words = self._contact(name, output), f"contact '{label}' of {name}"
            found += contact_faults(
                module, f"{name}:{label}", contact, label=label, words=words, now_and_then=False
            )
        return found

    def check(self) -> list[tuple[str, str, str]]:
        """Hysteresis the right way round, and conditions that name inputs."""
        wrong = [
            (
                f"inputs.{label}.off_at",
                f"{one.off_at:g} V",
                f"must be at most the {one.on_at:g} V of on_at",
            )
            for label, one in self.inputs.items()
            if one.off_at > one.on_at
        ]
        for label, output in self.outputs.items():
            for line in output.closed_when:
                names = [term for _, term in _terms(line)]
                if not names or any(term not in self.inputs for term in names):
                    wrong.append(
                        (
                            f"outputs.{label}.closed_when",
                            f"'{line}'",
                            "must be input names joined by 'and', each perhaps after 'not'; "
                            f"inputs: {', '.join(self.inputs)}",
                        )
                    )
        both = set(self.inputs) & set(self.outputs)
        wrong += [
            ("outputs", f"'{label}' as input and output", "must have names of their own")
            for label in sorted(both)
        ]
        return wrong


def _terms(line: str) -> list[tuple[bool, str]]:
    """``low and not high`` as (negated, name) pairs; empty if it is not of that form.

    >>> _terms("low and not high")
    [(False, 'low'), (True, 'high')]
    """
    matches = [_TERM.fullmatch(part.strip()) for part in re.split(r"\band\b", line)]
    if any(match is None for match in matches):
        return []
    return [(bool(match[1]), match[2]) for match in matches if match]
