"""Invented vehicles of any size: fans, pumps, lamps and heaters on shared feeds, splices and grounds.

    python tests/benchmarks/big_loom.py --circuits 30 --seed 1 > loom.yaml

The same circuits and seed give the same loom. A main fuse at the battery feeds a box for every eight
circuits; each box has its fuse, a relay that the ignition switch closes, two ground points, and in-line
plugs that the wires to its loads go through, the more of them the larger the vehicle. 7 circuits make
some 100 wires, 80 a thousand, 960 twenty thousand. Each loom has twenty tests (``loom_tests.py``).
"""

from __future__ import annotations

import argparse
import itertools
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from loom_tests import Load, tests_of

from circuitcheck.circuit.build import lasting_faults
from circuitcheck.harness.load import harness_from
from circuitcheck.harness.model import Harness
from circuitcheck.harness.write import to_yaml
from circuitcheck.parts.fault import FaultMode

MAIN, BOX = 200, 80
"""Fuse at the battery, and of each box [A]."""
IN_A_BOX = 8
"""Circuits on one fuse box."""
MOST_IN_A_SPLICE = 20
SECTION = {5: "0.75", 10: "1", 15: "1.5", 20: "2.5", 30: "4", BOX: "25", MAIN: "120"}
"""Wire [mm2] behind a fuse of so many amperes."""
COLOURS = ("RD", "BK", "BN", "YE", "GN", "BU", "VT", "GY", "WH", "OG")


def make(circuits: int, seed: int) -> Harness:
    """A checked loom of so many circuits."""
    return harness_from(describe(circuits, seed), f"loom-{circuits}-{seed}")


def some_faults(harness: Harness, count: int, seed: int) -> list[FaultMode]:
    """A seeded choice of fault modes, each at a place of its own."""
    draw = random.Random(f"faults {harness.name} {seed}")
    by_place: dict[str, list[FaultMode]] = {}
    for mode in lasting_faults(harness):
        by_place.setdefault(mode.where, []).append(mode)
    return [draw.choice(by_place[place]) for place in draw.sample(sorted(by_place), count)]


def describe(circuits: int, seed: int) -> dict[str, Any]:
    """The description as it would stand in a file, every value as text.

    :raises ValueError: for less than one circuit
    """
    if circuits < 1:
        raise ValueError(f"found {circuits} circuits; must be at least 1")
    vehicle = _Vehicle(circuits, seed)
    return {
        "harness": f"Invented vehicle, {circuits} circuits",
        "about": f"Invented parts and values, drawn with seed {seed}.",
        "volts": "12",
        "supply": {"battery": "G1", "resting": "12.6 V", "running": "14.2 V"},
        "parts": vehicle.parts,
        "wires": vehicle.wires,
        "tests": tests_of(vehicle.loads, vehicle.draw),
    }


@dataclass
class _Box:
    """A fuse box with the corner of the vehicle that it feeds."""

    plugs: list[str]
    grounds: Iterator[str]


class _Vehicle:
    """Parts and wires as they are drawn."""

    def __init__(self, circuits: int, seed: int) -> None:
        self.draw = random.Random(f"loom {circuits} {seed}")
        self.parts: dict[str, dict[str, Any]] = {}
        self.wires: dict[str, dict[str, str]] = {}
        self.count: dict[str, int] = {}
        self.loads: list[Load] = []
        self.depth = 1 + circuits // 160
        """In-line plugs between a fuse box and its loads."""
        boxes = -(-circuits // IN_A_BOX)
        self.part("G", "battery", internal="8 mohm")
        self.wire("G1.-", self.part("E", "ground", joint="1 mohm") + ".31", MAIN)
        feeds = self.spread(self.fused("G1.+", MAIN), boxes + 1, MAIN)
        key = self.part("S", "ignition")
        self.wire(self.fused(feeds[0], 20), f"{key}.30", 20)
        live = self.spread(f"{key}.15", boxes, 20)
        for number in range(boxes):
            here = min(IN_A_BOX, circuits - number * IN_A_BOX)
            self.box(feeds[number + 1], live[number], here)

    # -- the pieces of every circuit ------------------------------------------------------

    def part(self, letter: str, kind: str, **fields: Any) -> str:
        self.count[letter] = self.count.get(letter, 0) + 1
        name = f"{letter}{self.count[letter]}"
        self.parts[name] = {"kind": kind, **fields}
        return name

    def wire(self, start: str, end: str, amps: int, most: float = 2.0) -> str:
        """A wire behind a fuse of so many amperes, at most so many metres long."""
        name = f"W{len(self.wires) + 1}"
        length = self.draw.uniform(0.1, most)
        self.wires[name] = {
            "from": start,
            "to": end,
            "size": f"{SECTION[amps]} mm2",
            "length": f"{length:.2f} m",
            "colour": self.draw.choice(COLOURS),
        }
        return name

    def spread(self, source: str, count: int, amps: int) -> list[str]:
        """Terminals that are joined to one, through as many splices as it takes."""
        if count == 1:
            return [source]
        groups = min(count, MOST_IN_A_SPLICE)
        splice = self.part("X", "splice", wires=str(groups + 1))
        self.wire(source, f"{splice}.1", amps)
        sizes = [count // groups + (number < count % groups) for number in range(groups)]
        return [
            one
            for number, size in enumerate(sizes)
            for one in self.spread(f"{splice}.{number + 2}", size, amps)
        ]

    def fused(self, source: str, amps: int, before: int = MAIN) -> str:
        """The far side of a fuse; ``before`` is the fuse that the short wire to it stands behind."""
        fuse = self.part("F", "fuse", rating=f"{amps} A")
        self.wire(source, f"{fuse}.in", before, most=0.3)
        return f"{fuse}.out"

    def run(self, box: _Box, start: str, end: str, amps: int) -> str:
        """A line from a box to a load, through a cavity of each plug on its way; its last wire."""
        for plug in box.plugs:
            cavity = int(self.parts[plug]["cavities"]) + 1
            self.parts[plug]["cavities"] = str(cavity)
            self.wire(start, f"{plug}.{cavity}a", amps)
            start = f"{plug}.{cavity}b"
        return self.wire(start, end, amps)

    def ground(self, box: _Box, terminal: str, amps: int) -> None:
        self.wire(terminal, next(box.grounds) + ".31", amps)

    def relay(self, box: _Box, source: str, switched: str, **fields: Any) -> str:
        """A relay with its contact fed from one terminal and its coil from another."""
        coil = f"{self.draw.randint(70, 110)} ohm"
        name = self.part(
            "K", "relay", **{"coil": coil, "across_coil": "diode", "rating": "40 A", **fields}
        )
        self.wire(source, f"{name}.30", 30)
        self.wire(switched, f"{name}.86", 5)
        self.ground(box, f"{name}.85", 5)
        return name

    def switch(self, source: str, amps: int, **positions: list[list[str]]) -> str:
        """A hand switch, off at rest, that is fed at its terminal 1."""
        name = self.part("S", "switch", positions={"off": [], **positions}, at_rest="off")
        self.wire(source, f"{name}.1", amps)
        return name

    def box(self, feed: str, ignition: str, circuits: int) -> None:
        """A fuse box and its circuits, of each kind about as many."""
        grounds = [self.part("E", "ground", joint="3 mohm") for _ in range(2)]
        plugs = [self.part("X", "plug", cavities="0") for _ in range(self.depth)]
        box = _Box(plugs, itertools.cycle(grounds))
        bar = self.spread(self.fused(feed, BOX), circuits + 1, BOX)
        relay = self.relay(box, self.fused(bar[0], 15, BOX), ignition)
        live = self.spread(f"{relay}.87", circuits, 15)
        kinds = [self.fan, self.lamps, self.pump, self.heater]
        self.draw.shuffle(kinds)
        for number in range(circuits):
            kinds[number % len(kinds)](box, bar[number + 1], live[number])

    # -- the circuits ---------------------------------------------------------------------

    def motor(self, rpm: int, low: float, high: float) -> str:
        amps = self.draw.uniform(low, high)
        return self.part(
            "M",
            "motor",
            rated={"volts": "13", "amps": f"{amps:.1f}", "rpm": f"{rpm}"},
            winding=f"{2.6 / amps:.3f} ohm",
        )

    def fan(self, box: _Box, feed: str, live: str) -> None:
        """Two speeds by two relays, the low one through a resistor; the first by coolant."""
        source = self.spread(self.fused(feed, 30, BOX), 2, 30)
        if not any("engine" in one.on for one in self.loads):
            stages = {
                "low": {"closes": "92 degC", "opens": "87 degC"},
                "high": {"closes": "99 degC", "opens": "94 degC"},
            }
            switch, pins, on = (
                self.part("S", "thermoswitch", **stages),
                "13",
                {"engine": "101 degC warming"},
            )
            self.wire(live, f"{switch}.2", 15)
        else:
            switch, pins = self.switch(live, 5, low=[["1", "2"]], high=[["1", "3"]]), "23"
            on = {"switches": {switch: "high"}}
        low, high = (
            self.relay(box, source[n], f"{switch}.{pins[n]}", across_coil="resistor") for n in (0, 1)
        )
        resistor = self.part("R", "resistor", ohms=f"{self.draw.uniform(0.3, 0.6):.2f}", watts="300")
        motor = self.motor(2600, 9.0, 16.0)
        join = self.part("X", "splice", wires="3")
        self.run(box, f"{low}.87", f"{resistor}.1", 30)
        self.wire(f"{resistor}.2", f"{join}.1", 30)
        self.run(box, f"{high}.87", f"{join}.2", 30)
        wire = self.wire(f"{join}.3", f"{motor}.+", 30)
        self.ground(box, f"{motor}.-", 30)
        self.loads.append(
            Load(motor, {"speed": motor}, on, source[1], (f"{high}.30", f"{high}.87"), wire)
        )

    def pump(self, box: _Box, feed: str, live: str) -> None:
        """A motor on a relay that a hand switch closes."""
        source = self.fused(feed, 15, BOX)
        switch = self.switch(live, 5, on=[["1", "2"]])
        relay = self.relay(box, source, f"{switch}.2")
        motor = self.motor(4000, 5.0, 9.0)
        wire = self.run(box, f"{relay}.87", f"{motor}.+", 15)
        self.ground(box, f"{motor}.-", 15)
        self.loads.append(
            Load(
                motor,
                {"speed": motor},
                {"switches": {switch: "on"}},
                source,
                (f"{relay}.30", f"{relay}.87"),
                wire,
            )
        )

    def lamps(self, box: _Box, feed: str, live: str) -> None:
        """One to three lamps on a hand switch, also with the ignition off."""
        source = self.fused(feed, 10, BOX)
        switch = self.switch(source, 10, on=[["1", "2"]])
        join = self.part("X", "splice", wires="2")
        self.run(box, f"{switch}.2", f"{join}.1", 10)
        watts = self.draw.choice((5, 10, 21))
        lamps = [self.part("H", "lamp", watts=str(watts)) for _ in range(self.draw.randint(1, 3))]
        self.parts[join]["wires"] = str(1 + len(lamps))
        wires = [self.wire(f"{join}.{n}", f"{lamp}.1", 10) for n, lamp in enumerate(lamps, 2)]
        for lamp in lamps:
            self.ground(box, f"{lamp}.2", 10)
        self.loads.append(
            Load(
                lamps[0],
                {"lamp": lamps[0]},
                {"switches": {switch: "on"}},
                source,
                (f"{switch}.1", f"{switch}.2"),
                wires[0],
            )
        )

    def heater(self, box: _Box, feed: str, live: str) -> None:
        """A heater on a relay; a second relay lights a lamp while the heater is off."""
        ignited = self.spread(live, 2, 5)
        source = self.fused(feed, 15, BOX)
        switch = self.switch(ignited[0], 5, on=[["1", "2"]])
        relay = self.relay(box, source, f"{switch}.2")
        standby = self.part("K", "relay", contacts="break", coil="120 ohm", across_coil="diode")
        heater = self.part("R", "resistor", ohms=f"{self.draw.uniform(1.4, 2.4):.2f}", watts="150")
        lamp = self.part("H", "lamp", watts="2")
        line = self.part("X", "splice", wires="3")
        self.run(box, f"{relay}.87", f"{line}.1", 15)
        wire = self.wire(f"{line}.2", f"{heater}.1", 15)
        self.wire(f"{line}.3", f"{standby}.86", 5)
        self.ground(box, f"{standby}.85", 5)
        self.wire(ignited[1], f"{standby}.30", 5)
        self.run(box, f"{standby}.87a", f"{lamp}.1", 5)
        self.ground(box, f"{lamp}.2", 5)
        self.ground(box, f"{heater}.2", 15)
        self.loads.append(
            Load(
                heater,
                {"lamp": lamp},
                {"switches": {switch: "on"}},
                source,
                (f"{relay}.30", f"{relay}.87"),
                wire,
            )
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--circuits", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    sys.stdout.write(to_yaml(make(given.circuits, given.seed)))
