"""docs/physics.md says what the code does."""

import re
from importlib import import_module
from pathlib import Path

import pytest

from circuitcheck.locate.suspects import FUSE_LIMITS
from circuitcheck.parts import KINDS
from circuitcheck.parts.fuse import OPENS_AT, cold_resistance
from circuitcheck.parts.motor import SPREADS
from circuitcheck.physics.lamp import EXPONENT, HOT_OVER_COLD
from circuitcheck.physics.meter import ACCURACY

PAGE = (Path(__file__).parents[2] / "docs" / "physics.md").read_text(encoding="utf-8")
WORDS = " ".join(PAGE.split())
LISTED = re.findall(r"^\| `([\w.]+)` \| ([\d.e-]+) \|$", PAGE, re.M)
DEFAULTS = {
    "joint of a splice": ("splice", "joint", 0.5),
    "ground point": ("ground", "joint", 3),
    "battery clamp": ("battery", "clamp", 0.5),
    "relay contact": ("relay", "contact", 5),
    "contact of a hand switch, module": ("switch", "contact", 4),
    "contact of a temperature switch, ignition switch": ("thermoswitch", "contact", 6),
}


def value_of(path):
    room, module, *names = path.split(".")
    found = import_module(f"circuitcheck.{room}.{module}")
    for name in names:
        found = getattr(found, name)
    return found


def test_there_are_constants():
    assert len(LISTED) > 12


@pytest.mark.parametrize(("path", "printed"), LISTED)
def test_constants(path, printed):
    assert value_of(path) == float(printed)


@pytest.mark.parametrize("words", DEFAULTS)
def test_resistances(words):
    kind, field, mohm = DEFAULTS[words]
    assert f"| {words} | {mohm} mΩ" in PAGE
    assert KINDS[kind].model_fields[field].default == pytest.approx(mohm / 1000)


def test_the_motor_spreads():
    text = "resistance {:.0%}, Ke {:.1%}, fan {:.0%}, friction {:.0%}".format(*SPREADS[:4])
    assert text.replace("%", " %") in WORDS


def test_the_meter_table():
    rows = re.findall(r"^\| ([^|]+) \| ([\d.]+) % \| ([\d.]+) \S+ \| ([\d.]+) \S+ \|$", PAGE, re.M)
    names = {
        "volts": "volts",
        "drop (mV range)": "drop",
        "amps by clamp": "amps",
        "amps in the lead": "inline",
        "ohms, with the leads' own": "ohms",
        "speed": "speed",
    }
    assert [row[0] for row in rows] == list(names)
    for words, share, offset, digit in rows:
        meter = ACCURACY[names[words]]
        printed = (float(share) / 100, float(offset), float(digit))
        assert (meter.share, meter.offset, meter.digit) == pytest.approx(printed)


def test_the_fuse():
    assert cold_resistance(1.0) == 0.103
    limits = [round(OPENS_AT * one, 1) for one in FUSE_LIMITS]
    assert limits == [1.3, 1.6, 2.1]
    assert "1.3, 1.6 and 2.1 times" in WORDS


def test_where_the_lamp_turns_cold():
    meet = HOT_OVER_COLD ** (-1 / (1 - EXPONENT))
    assert meet == pytest.approx(0.003, abs=0.0005)
    assert round(HOT_OVER_COLD, 1) == 13.7
