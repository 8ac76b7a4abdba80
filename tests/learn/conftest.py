"""Small looms out of a book's circuit: ideal as far as a description allows."""

import pytest

from circuitcheck.harness.load import parse_harness


def book_loom(parts, wires, volts=24, resting=24.0, observe=None, setup="{}"):
    """A harness whose wires and joints are a thousandth of an ohm or less.

    :param wires: pairs of terminals
    :param observe: {name: flow mapping}
    """
    lines = [
        f"harness: an example from a book\nvolts: {volts}",
        f"supply: {{battery: G1, resting: {resting} V, running: {resting} V}}",
        "parts:",
    ]
    lines += [f"  {name}: {fields}" for name, fields in parts.items()]
    lines += ["wires:"]
    lines += [
        f"  W{n}: {{from: {a}, to: {b}, size: 95 mm2, length: 0.01 m}}"
        for n, (a, b) in enumerate(wires, 1)
    ]
    lines += ["tests:", "  book:", "    title: as in the book", f"    setup: {setup}", "    observe:"]
    lines += [
        f"      {name}: {what}" for name, what in (observe or {"first-wire": "{amps: W1}"}).items()
    ]
    return parse_harness("\n".join(lines) + "\n", name="book")


def battery(internal="0.00001 ohm", resting=None):
    given = "" if resting is None else f", resting: {resting} V"
    return f"{{kind: battery, internal: {internal}, clamp: 0.000001 ohm{given}}}"


def resistor(ohms):
    return f"{{kind: resistor, ohms: {ohms} ohm, plug: no}}"


def splice(wires):
    return f"{{kind: splice, wires: {wires}, joint: 0.000001 ohm}}"


@pytest.fixture(scope="session")
def book():
    """The builder and its parts."""

    class Book:
        loom = staticmethod(book_loom)
        battery = staticmethod(battery)
        resistor = staticmethod(resistor)
        splice = staticmethod(splice)

    return Book
