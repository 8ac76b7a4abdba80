"""Seeded miswirings in every shipped harness: found and named, or not, and how quickly.

    python tests/benchmarks/buzz.py [HARNESS ...] [--json] [--each N] [--seed S] [--one-by-one]

The readings do not come from the tool: the circuit's branches are rewired here, parts drawn within
their spread, and a resistor network solved with scipy, meter leads and meter error on top. A set of
mistakes is drawn so that each of them shows in some check between two ends, given the others.

An extra joint counts by the two nets it joins, and joints that share a net as one lump of nets, since
no ohmmeter can tell which of three touch. Every other mistake counts by its name.

Figures, each a share of the looms drawn: ``shown`` the true set is among those shown; ``first`` it is
the one named first; ``alike`` what is named first is electrically the same at every pair of ends.
``alone`` that nothing else is shown beside what no check can tell from it.
``sheet`` is after the sheet alone, ``asked`` after the further checks that the tool asks for.
"""

import argparse
import itertools
import json
import math
import random
import re
import sys
import time

import networkx as nx
import numpy as np
import scipy.linalg

from circuitcheck.circuit.build import build_circuit
from circuitcheck.circuit.circuit import conducts
from circuitcheck.harness.load import load_harness
from circuitcheck.harness.model import Setup
from circuitcheck.inspect.continuity.buzz import JOIN, continuity_sheet, read_file
from circuitcheck.parts.fault import CHASSIS
from circuitcheck.physics.branch import Conductor
from circuitcheck.physics.diode import Junction
from circuitcheck.physics.meter import ACCURACY
from circuitcheck.shipped import harness_files

ROUNDS = 12
VISIBLE_OHM = 1.0  # twice the largest error of the meter (0.25 ohm and three half digits), and some


class Bench:
    """A harness taken apart at its plugs, as resistances; built from its circuit, not from the tool."""

    def __init__(self, harness):
        self.harness = harness
        plugged = [name for name, part in harness.parts.items() if part.plugged]
        circuit = build_circuit(harness, Setup(battery="disconnected", unplug=plugged))
        states = circuit.initial_states()
        self.resistors = {}
        for key, one in circuit.branches.items():
            if CHASSIS in (one.tail, one.head) or isinstance(one, Junction) or not conducts(one, states):
                continue
            if isinstance(one, Conductor):
                self.resistors[key] = (one.tail, one.head, one.ohm, one.spread)
            else:
                _, slope = one.current_and_slope(np.array(one.values), np.array(0.0))
                self.resistors[key] = (one.tail, one.head, 1 / float(slope), 0.06)
        self.points = set(harness.terminals())
        self.ends = sorted(
            {end for row in continuity_sheet(harness).rows() for end in row["from"] + row["to"]}
        )

    def graph(self, resistors):
        graph = nx.MultiGraph()
        graph.add_nodes_from(self.ends)
        graph.add_edges_from((tail, head, {"ohm": ohm}) for tail, head, ohm, _ in resistors.values())
        return graph


def inverse_of(graph, nodes):
    """Inverse conductance matrix of a cluster, its first node as reference."""
    place = {node: number for number, node in enumerate(nodes)}
    matrix = np.zeros((len(nodes), len(nodes)))
    for tail, head, one in graph.subgraph(nodes).edges(data=True):
        if tail == head:
            continue
        i, j = place[tail], place[head]
        matrix[i, i] += 1 / one["ohm"]
        matrix[j, j] += 1 / one["ohm"]
        matrix[i, j] -= 1 / one["ohm"]
        matrix[j, i] -= 1 / one["ohm"]
    whole = np.zeros_like(matrix)
    whole[1:, 1:] = scipy.linalg.inv(matrix[1:, 1:]) if len(nodes) > 1 else 0
    return place, whole


def all_pairs(bench, resistors):
    """Ohms between every two ends that hang together, without any error."""
    graph = bench.graph(resistors)
    found = {}
    for cluster in nx.connected_components(graph):
        ends = sorted(end for end in cluster if end in bench.ends)
        if len(ends) > 1:
            place, inv = inverse_of(graph, sorted(cluster))
            for one, two in itertools.combinations(ends, 2):
                i, j = place[one], place[two]
                found[one, two] = inv[i, i] + inv[j, j] - 2 * inv[i, j]
    return found


def differ(one, two, step=VISIBLE_OHM):
    """Whether some pair of ends reads otherwise."""
    return one.keys() != two.keys() or any(abs(ohm - two[pair]) > step for pair, ohm in one.items())


class Meter:
    """One set of parts and one meter; every reading is what such a meter writes down."""

    def __init__(self, bench, resistors, draw):
        spread = {
            key: (t, h, ohm * max(0.3, 1 + draw.gauss(0, s)), s)
            for key, (t, h, ohm, s) in resistors.items()
        }
        self.bench, self.draw = bench, draw
        self.graph = bench.graph(spread)
        self.leads = draw.uniform(0.05, 0.5)

    def reads(self, red, black):
        graph = self.graph
        if len(red) + len(black) > 2:
            graph = graph.copy()
            for name, side in (("red clip", red), ("black clip", black)):
                graph.add_edges_from((name, end, {"ohm": 0.05}) for end in side)
            red, black = ["red clip"], ["black clip"]
        cluster = nx.node_connected_component(graph, red[0])
        if black[0] not in cluster:
            return "OL"
        place, inv = inverse_of(graph, sorted(cluster))
        i, j = place[red[0]], place[black[0]]
        ohm = inv[i, i] + inv[j, j] - 2 * inv[i, j] + self.leads
        return f"{ACCURACY['ohms'].shown(ohm, self.draw.uniform(-1, 1)):.1f} ohm"

    def leads_read(self):
        return f"{round(self.leads, 1):.1f} ohm"


# -- mistakes, made on the resistors themselves -------------------------------------------------


def moved(resistors, wires, nodes):
    """The ends of some wires renamed."""
    return {
        key: (nodes.get(t, t), nodes.get(h, h), ohm, s) if key in wires else (t, h, ohm, s)
        for key, (t, h, ohm, s) in resistors.items()
    }


def wires_at(bench, resistors, node):
    return [key for key in bench.harness.wires if key in resistors and node in resistors[key][:2]]


def swap(bench, one, two):
    def make(resistors):
        mine = set(wires_at(bench, resistors, one)) | set(wires_at(bench, resistors, two))
        return moved(resistors, mine, {one: two, two: one})

    return f"{one} and {two} swapped", make


def missing(bench, wire):
    return f"{wire} open", lambda resistors: {key: one for key, one in resistors.items() if key != wire}


def bad_joint(bench, wire, ohm):
    def make(resistors):
        if wire not in resistors:
            return resistors
        t, h, r, s = resistors[wire]
        return {**resistors, wire: (t, h, r + ohm, s)}

    return f"{wire} high resistance", make


def misplaced(bench, wire, right, wrong, node):
    joins = bench.harness.parts[right.partition(".")[0]].kind_name
    spec = f"{wire} in {wrong.partition('.')[0]} for {right.partition('.')[0]}"
    if joins == "ground":
        spec = f"{wire} on {wrong} for {right}"
    return spec, lambda resistors: moved(resistors, {wire}, {right: node})


def joined(bench, one, two):
    return f"{one} joined to {two}", lambda resistors: {
        **resistors,
        f"{one}!{two}": (one, two, 0.02, 0.0),
    }


def pushed_out(bench, node):
    return (
        f"{node} pushed out",
        lambda resistors: moved(resistors, set(wires_at(bench, resistors, node)), {node: node + "?"}),
    )


def wrong_relay(bench, name, which):
    part = bench.harness.parts[name]
    pin = {p: f"{name}.{p}/part" for p in ("85", "86", "30", "87", "87a")}

    def make(resistors):
        found = {key: one for key, one in resistors.items() if not key.startswith(f"{name}:30-")}
        if which == "with a break contact":
            return {**found, f"{name}!": (pin["30"], pin["87"], 0.005, 0.0)}
        if which == "with a make contact":
            return found
        return moved(
            resistors,
            {key for key in resistors if key.startswith(f"{name}:")},
            {pin["30"]: pin["86"], pin["86"]: pin["30"]},
        )

    assert part.kind_name == "relay"
    return f"{name} {which}", make


def housings(bench):
    """Ends side by side in one plug, with a wire in each."""
    found = {}
    used = {end for wire in bench.harness.wires.values() for end in (wire.start, wire.end)}
    for name, part in bench.harness.parts.items():
        if part.kind_name in ("splice", "ground", "battery") or not part.plugged:
            continue
        for pin in part.pins():
            if f"{name}.{pin}" in used:
                half = pin[-1] if part.kind_name == "plug" else ""
                found.setdefault((name, half), []).append(f"{name}.{pin}")
    return [ends for ends in found.values() if len(ends) > 1]


def one_mistake(bench, draw):
    """A mistake of a kind drawn first, then a place for it."""
    harness, wires = bench.harness, bench.harness.wires
    kind = draw.choice(
        [
            "missing",
            "missing",
            "bad joint",
            "swap",
            "swap",
            "box",
            "splice",
            "eyelet",
            "strand",
            "strand",
            "ground",
            "supply",
            "joint",
            "relay",
            "push",
        ]
    )
    plugs = housings(bench)
    loom = [
        e
        for e in bench.ends
        if not e.endswith("/part")
        and all(wires[w].belongs_to is None for w in wires_at(bench, bench.resistors, e))
    ]
    if kind == "missing":
        return missing(bench, draw.choice(list(wires)))
    if kind == "bad joint":
        return bad_joint(
            bench, draw.choice(list(wires)), math.exp(draw.uniform(math.log(1.5), math.log(60)))
        )
    if kind in ("swap", "strand"):
        return (swap if kind == "swap" else joined)(bench, *draw.sample(draw.choice(plugs), 2))
    if kind == "box":
        boxes = {}
        for ends in loom:
            where = harness.parts[ends.partition(".")[0]].where
            if where:
                boxes.setdefault(where, []).append(ends)
        pairs = [
            (a, b)
            for ends in boxes.values()
            for a, b in itertools.combinations(ends, 2)
            if a.partition(".")[0] != b.partition(".")[0]
            and "31" not in (a[-2:], b[-2:])
            and harness.parts[a.partition(".")[0]].kind_name != "ground"
            and harness.parts[b.partition(".")[0]].kind_name != "ground"
        ]
        return swap(bench, *draw.choice(pairs)) if pairs else None
    if kind in ("splice", "eyelet"):
        of = "splice" if kind == "splice" else "ground"
        names = [
            name for name, part in harness.parts.items() if part.kind_name == of and not part.belongs_to
        ]
        ends = [
            (w, node)
            for w, wire in wires.items()
            for node in (wire.start, wire.end)
            if node.partition(".")[0] in names
        ]
        if len(names) < 2:
            return None
        wire, right = draw.choice(ends)
        other = draw.choice([name for name in names if name != right.partition(".")[0]])
        wrong = f"{other}.{harness.parts[other].pins()[0]}"
        return misplaced(bench, wire, right, wrong, wrong)
    if kind in ("ground", "supply", "joint"):
        grounds = [e for e in loom if harness.parts[e.partition(".")[0]].kind_name == "ground"]
        other = {"ground": grounds, "supply": [f"{harness.supply.battery}.+"], "joint": loom}[kind]
        return joined(bench, draw.choice(loom), draw.choice(other))
    if kind == "relay":
        relays = [name for name, part in harness.parts.items() if part.kind_name == "relay"]
        if not relays:
            return None
        name = draw.choice(relays)
        kinds = ["with a break contact", "with 30 and 86 exchanged"]
        if harness.parts[name].contacts_are == "change-over":
            kinds.append("with a make contact")
        return wrong_relay(bench, name, draw.choice(kinds))
    doubles = [end for end in loom if len(wires_at(bench, bench.resistors, end)) > 1]
    return pushed_out(bench, draw.choice(doubles)) if doubles else None


def draw_set(bench, names, size, draw, tally):
    """A set of mistakes of which each one shows, given the others."""
    while True:
        drawn = [one for one in (one_mistake(bench, draw) for _ in range(size)) if one]
        if len(drawn) < size or len({names.of(spec) for spec, _ in drawn}) < size:
            continue
        if any(re.match(r"(\S+) joined to \1$", spec) for spec, _ in drawn):
            continue
        tally["drawn"] += 1

        def built(some):
            resistors = bench.resistors
            for _, make in some:
                resistors = make(resistors)
            return resistors

        whole = all_pairs(bench, built(drawn))
        if all(differ(whole, all_pairs(bench, built(drawn[:n] + drawn[n + 1 :]))) for n in range(size)):
            return [spec for spec, _ in drawn], built(drawn), whole
        tally["hidden"] += 1


# -- what the tool says, against the truth ------------------------------------------------------


class Names:
    """Names of mistakes made comparable: an extra joint counts by the two nets it joins."""

    def __init__(self, bench):
        clusters = nx.connected_components(bench.graph(bench.resistors))
        self.net = {node: number for number, nodes in enumerate(clusters) for node in nodes}

    def of(self, spec):
        pair = re.fullmatch(r"(\S+) (joined to|and) (\S+?)( swapped.*)?", spec)
        if pair is None:
            return ("as told", spec)
        one, two = pair[1], pair[3]
        if pair[2] == "joined to":
            nets = frozenset((self.net[one], self.net[two]))
            return ("joined", nets if len(nets) == 2 else frozenset((one, two)))
        return ("swapped", frozenset((one, two)), (pair[4] or "").partition(" between")[0])

    def set_of(self, specs):
        """Joints that share a net come to one lump of nets, whichever of them touch each other."""
        found, lumps = set(), []
        for one in map(self.of, specs):
            if one[0] != "joined":
                found.add(one)
                continue
            lump = one[1].union(*(other for other in lumps if other & one[1]))
            lumps = [other for other in lumps if not other & one[1]] + [lump]
        count = sum(one[0] == "joined" for one in map(self.of, specs))
        return frozenset(found | {("joined", lump) for lump in lumps} | {("joints", count)})


def judged(bench, names, specs, whole, result):
    """Whether the truth is shown, first, or electrically what is named first."""
    truth = names.set_of(specs)
    shown = [found for group in result.groups for found in group.members]
    first = shown[0] if shown else None
    sets = [names.set_of([one.spec for one in found.mistakes]) for found in shown]
    first_group = result.groups[0].members if result.groups else ()
    alike = any(found for found in first_group) and not differ(
        whole, all_pairs(bench, network_of(bench, first))
    )
    return {
        "shown": truth in sets,
        "first": bool(sets) and sets[0] == truth,
        "shown alone": truth in sets and len(result.groups) == 1,
        "alike": alike,
    }


def network_of(bench, found):
    """The tool's explanation as resistors, so that it is judged by the network solved here."""
    resistors = dict(bench.resistors)
    for key, one in found.overlay.items():
        resistors.pop(key, None)
        if one is not None and not one.diode:
            resistors[key] = (one.tail, one.head, max(one.ohm, 1e-5), 0.0)
    return resistors


def asked(harness, rows):
    """The tool's answer to rows of a sheet, as a file would hold them, and its seconds."""
    text = "check,meter,from,to,reading\n" + "".join(f"{','.join(row)}\n" for row in rows)
    started = time.perf_counter()
    result = read_file(harness, "<sheet>", text)
    return result, time.perf_counter() - started


def one_loom(bench, names, lines, specs, resistors, whole, draw):
    """One loom, its sheet, and the further checks until the tool asks for no more."""
    meter = Meter(bench, resistors, draw)
    rows = [["leads", "", "", "", meter.leads_read()]]

    def measure(red, black):
        rows.append([str(len(rows)), "ohms", JOIN.join(red), JOIN.join(black), meter.reads(red, black)])

    for row in lines:
        measure(row["from"], row["to"])
    result, seconds = asked(bench.harness, rows)
    first = judged(bench, names, specs, whole, result)
    before, rounds, slowest = len(rows), 0, seconds
    sound_first = result.status
    while result.next_checks and rounds < ROUNDS and result.status != "not explained":
        for check in result.next_checks:
            measure(list(check.red), list(check.black))
        result, again = asked(bench.harness, rows)
        slowest = max(slowest, again)
        rounds += 1
    return {
        "sheet": first,
        "asked": judged(bench, names, specs, whole, result),
        "extra": len(rows) - before,
        "rounds": rounds,
        "seconds": seconds,
        "slowest": slowest,
        "status": sound_first,
        "end": result.status,
        "specs": specs,
        "said": [one.spec for one in result.best.mistakes],
    }


def share(rows, when, key):
    return sum(row[when][key] for row in rows) / len(rows) if rows else None


def main() -> int:
    """Draw, measure, ask, and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("harnesses", nargs="*", default=list(harness_files()))
    parser.add_argument("--each", type=int, default=20, help="looms a harness and number of mistakes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--one-by-one", action="store_true")
    parser.add_argument("--sizes", type=int, nargs="*", default=[1, 2, 3])
    parser.add_argument("--misses", action="store_true", help="print what was not named right")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    report, everything = {"harnesses": {}}, {size: [] for size in given.sizes}
    sound_passed = sound_drawn = 0
    for name in given.harnesses:
        harness = load_harness(name)
        bench = Bench(harness)
        names = Names(bench)
        sheet = continuity_sheet(harness, one_by_one=given.one_by_one)
        lines = sheet.rows()
        draw = random.Random(f"{name} {given.seed}")
        passed = 0
        for _ in range(given.each):
            found = one_loom(
                bench, names, lines, [], bench.resistors, all_pairs(bench, bench.resistors), draw
            )
            passed += found["status"] == "sound"
        sound_passed, sound_drawn = sound_passed + passed, sound_drawn + given.each
        entry = {
            "checks": len(lines),
            "least": sum(sheet.least),
            "sound passed": f"{passed} of {given.each}",
        }
        for size in given.sizes:
            tally = {"drawn": 0, "hidden": 0}
            rows = []
            for _ in range(given.each):
                specs, resistors, whole = draw_set(bench, names, size, draw, tally)
                rows.append(one_loom(bench, names, lines, specs, resistors, whole, draw))
                if given.misses and not rows[-1]["asked"]["shown"]:
                    print(
                        name,
                        rows[-1]["specs"],
                        "->",
                        rows[-1]["end"],
                        rows[-1]["said"],
                        "alike" if rows[-1]["asked"]["alike"] else "",
                        file=sys.stderr,
                    )
            everything[size] += rows
            entry[f"{size}"] = summed(rows) | {"hidden sets left out": tally["hidden"]}
        report["harnesses"][name] = entry
        if not given.json:
            print(
                f"{name}: {entry['checks']} checks, least {entry['least']}; sound passed {entry['sound passed']}"
            )
    report["all"] = {f"{size}": summed(rows) for size, rows in everything.items()}
    report["sound passed"] = sound_passed / sound_drawn
    if given.json:
        print(json.dumps(report, indent=2))
        return 0
    for size, one in report["all"].items():
        print(
            f"{size} at once: "
            + ", ".join(
                f"{key} {value:.3f}" if isinstance(value, float) else f"{key} {value}"
                for key, value in one.items()
            )
        )
    print(f"sound looms passed: {sound_passed} of {sound_drawn}")
    return 0


def summed(rows):
    """The figures over some looms."""
    return {
        "looms": len(rows),
        "sheet shown": share(rows, "sheet", "shown"),
        "sheet alike": share(rows, "sheet", "alike"),
        "asked shown": share(rows, "asked", "shown"),
        "asked alone": share(rows, "asked", "shown alone"),
        "asked first": share(rows, "asked", "first"),
        "asked alike": share(rows, "asked", "alike"),
        "passed though wrong": sum(row["status"] == "sound" for row in rows),
        "not explained": sum(row["end"] == "not explained" for row in rows),
        "extra checks": sum(row["extra"] for row in rows) / max(len(rows), 1),
        "seconds": sum(row["seconds"] for row in rows) / max(len(rows), 1),
        "slowest": max((row["slowest"] for row in rows), default=0.0),
    }


if __name__ == "__main__":
    sys.exit(main())
