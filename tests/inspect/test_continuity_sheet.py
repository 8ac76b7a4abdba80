"""The continuity sheet: few enough, and enough. Checked with networkx on the drawing, not with our own nets."""

import itertools
import math

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from circuitcheck.harness.load import load_harness, parse_harness
from circuitcheck.inspect.continuity.buzz import continuity_sheet, read_file
from circuitcheck.inspect.continuity.checks import sheet_lines
from circuitcheck.inspect.continuity.ohms import Predictor
from circuitcheck.inspect.continuity.wiring import Element, as_drawn
from circuitcheck.shipped import harness_files

NAMES = sorted(harness_files())

HEAD = """harness: Drawn at random
volts: 12
supply: {battery: G1, resting: 12.6 V, running: 14.2 V}
parts:
  G1: {kind: battery}
  E0: {kind: ground}
"""
WIRE = "  {}: {{from: {}, to: {}, size: 1 mm2, length: 0.5 m}}\n"


@st.composite
def looms(draw):
    """A loom of three in-line plugs, splices and wires between them; text of its description."""
    cavities = [draw(st.integers(1, 4)) for _ in range(3)]
    splices = draw(st.integers(0, 2))
    parts = [f"  X{n + 1}: {{kind: plug, cavities: {size}}}\n" for n, size in enumerate(cavities)]
    parts += [f"  X{n + 11}: {{kind: splice, wires: 4}}\n" for n in range(splices)]
    ends = [
        f"X{n + 1}.{k + 1}{half}"
        for n, size in enumerate(cavities)
        for k in range(size)
        for half in "ab"
    ]
    ends += [f"X{n + 11}.{k + 1}" for n in range(splices) for k in range(4)]
    pairs = draw(
        st.lists(st.tuples(st.sampled_from(ends), st.sampled_from(ends)), min_size=4, max_size=12)
    )
    wires = [("W0", "G1.-", "E0.31"), ("W1", "G1.+", "X1.1a")]
    wires += [(f"W{n + 2}", one, two) for n, (one, two) in enumerate(pairs) if one != two]
    parts = [
        one for one in parts if any(one.split(":")[0].strip() + "." in w[1] + " " + w[2] for w in wires)
    ]
    return HEAD + "".join(parts) + "wires:\n" + "".join(WIRE.format(*one) for one in wires), wires


def parsed(text):
    """The harness, or None where the rules of a description refuse the drawing (no way to the battery)."""
    try:
        return parse_harness(text, name="random")
    except ValueError:
        return None


def joined(harness, wires):
    """What hangs together: wires, and the terminals of each splice."""
    graph = nx.MultiGraph()
    graph.add_nodes_from(harness.terminals())
    for name, part in harness.parts.items():
        if part.kind_name == "splice":
            nx.add_path(graph, [f"{name}.{pin}" for pin in part.pins()])
    graph.add_edges_from((one, two, {"key": key}) for key, one, two in wires)
    return graph


def reads(graph, row):
    """OL, or that it conducts, with everything on a side clipped together."""
    reach = set().union(*(nx.node_connected_component(graph, end) for end in row["from"]))
    return "0.3 ohm" if reach & set(row["to"]) else "OL"


def sheet_text(rows, graph):
    lines = [f"{' + '.join(row['from'])},{' + '.join(row['to'])},{reads(graph, row)}" for row in rows]
    return "from,to,reading\n" + "\n".join(lines) + "\n"


@settings(max_examples=40, deadline=None)
@given(looms())
def test_a_loom_wired_as_drawn_always_passes(drawn):
    text, wires = drawn
    harness = parsed(text)
    if harness is None:
        return
    sheet = continuity_sheet(harness)
    result = read_file(harness, "sheet.csv", sheet_text(sheet.rows(), joined(harness, wires)))
    assert result.off == []
    assert result.status == ("sound so far" if sheet.not_provable else "sound")


@settings(max_examples=40, deadline=None)
@given(looms())
def test_a_missing_wire_shows_in_some_check_unless_the_sheet_says_it_cannot(drawn):
    text, wires = drawn
    harness = parsed(text)
    if harness is None:
        return
    sheet = continuity_sheet(harness)
    whole = joined(harness, wires)
    ends = [end for end in whole if harness.parts[end.split(".")[0]].kind_name != "splice"]
    rows = sheet.rows()
    for key, _, _ in wires:
        without = joined(harness, [one for one in wires if one[0] != key])
        parts_ends = any(
            nx.has_path(whole, a, b) != nx.has_path(without, a, b)
            for a, b in itertools.combinations(ends, 2)
        )
        shows = any(reads(whole, row) != reads(without, row) for row in rows)
        assert shows == parts_ends == (key not in sheet.not_provable), key


@settings(max_examples=30, deadline=None)
@given(looms(), st.data())
def test_an_extra_joint_between_any_two_nets_shows(drawn, data):
    text, wires = drawn
    harness = parsed(text)
    if harness is None:
        return
    graph = joined(harness, wires)
    ends = [end for _, one, two in wires for end in (one, two)]
    one, two = data.draw(st.sampled_from(ends)), data.draw(st.sampled_from(ends))
    if nx.has_path(graph, one, two):
        return
    rows = continuity_sheet(harness).rows()
    if not all(
        any(nx.has_path(graph, end, e) for row in rows for e in row["from"] + row["to"])
        for end in (one, two)
    ):
        return  # hidden in splices, where no probe gets
    spoilt = joined(harness, [*wires, ("joint", one, two)])
    assert any(reads(graph, row) != reads(spoilt, row) for row in rows)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("fitted", [False, True])
def test_shipped_looms_take_no_check_more_than_the_least(name, fitted):
    sheet = continuity_sheet(load_harness(name), fitted=fitted)
    assert len(sheet.lines) == sum(sheet.least)
    assert sheet.not_provable == ()


def parting(nets, checks):
    """Whether so many ways of clipping nets to two probes can put every pair on opposite ones (brute force)."""
    sides = list(itertools.product((0, 1), repeat=nets))
    return any(
        all(any(side[a] != side[b] for side in some) for a, b in itertools.combinations(range(nets), 2))
        for some in itertools.combinations_with_replacement(sides, checks)
    )


@pytest.mark.parametrize("nets", [2, 3, 4, 5])
def test_no_fewer_separation_checks_would_do(nets):
    # Wires of one loom side by side, each a net of its own; the battery strap makes one more.
    wires = [("W0", "G1.-", "E0.31"), ("W1", "G1.+", "X1.1a")]
    wires += [(f"W{n}", f"X1.{n}a", f"X2.{n}b") for n in range(2, nets)]
    text = HEAD + f"  X1: {{kind: plug, cavities: {max(nets, 2)}}}\n"
    text += f"  X2: {{kind: plug, cavities: {nets}}}\n" if nets > 2 else ""
    text = text.replace("cavities: 1}", "cavities: 2}") + "wires:\n"
    drawn = as_drawn(parse_harness(text + "".join(WIRE.format(*one) for one in wires)))
    apart = [line for line in sheet_lines(drawn) if line.purpose == "apart"]
    assert parting(nets, len(apart))
    assert not parting(nets, len(apart) - 1)


def test_one_by_one_sets_each_net_against_all_the_others():
    sheet = continuity_sheet(load_harness("first-fan"), one_by_one=True)
    loom = [line.check for line in sheet.lines if line.purpose == "apart" and line.piece == "loom"]
    assert all(len(check.red) == 1 and len(check.black) == len(loom) - 1 for check in loom)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 6), st.floats(0.01, 500)), min_size=1, max_size=12
    )
)
def test_ohms_are_those_of_networkx(pairs):
    # networkx has its own effective resistance (resistance_distance), from the Laplacian's pseudoinverse.
    harness = load_harness("first-fan")
    drawn = as_drawn(harness)
    nodes = list(drawn.pieces)[:7]
    change = dict.fromkeys(drawn.elements)
    change |= {
        f"r{n}": Element(nodes[a], nodes[b], ohm) for n, (a, b, ohm) in enumerate(pairs) if a != b
    }
    patch = Predictor(drawn, ()).patch(change)
    graph = nx.MultiGraph()
    graph.add_nodes_from(nodes)
    graph.add_edges_from((nodes[a], nodes[b], {"ohm": ohm}) for a, b, ohm in pairs if a != b)
    for cluster in nx.connected_components(graph):
        start = min(cluster)
        ours = patch.ohms_from(start)
        assert set(ours) == cluster
        for end in cluster - {start}:
            theirs = nx.resistance_distance(
                graph.subgraph(cluster), start, end, "ohm", invert_weight=True
            )
            assert math.isclose(ours[end][0], theirs, rel_tol=1e-6, abs_tol=1e-6)


def test_expected_ohms_are_those_of_the_description():
    # Values stand in the description: coil 80 ohm, filament 2 W at 12 V: hot 72 ohm, cold 4.8/0.35 times
    # less (OpenStax University Physics 2, 9.3, second example); a fuse and a wire are next to nothing.
    rows = {
        tuple(row["from"] + row["to"]): row for row in continuity_sheet(load_harness("first-fan")).rows()
    }
    coil = rows["K1.85/part", "K1.86/part"]
    assert coil["low"] < 80 < coil["high"]
    assert coil["value"] == pytest.approx(80, abs=0.5)
    assert rows["H1.1/part", "H1.2/part"]["value"] == pytest.approx(72 * 0.35 / 4.8, abs=0.1)
    assert rows["F1.in/part", "F1.out/part"]["high"] < 0.5
    assert rows["S2.15/part", "S2.30/part"]["expected"] == "OL"
    assert rows["G1.+", "F1.in"]["wires"] == "W1 RD"


def test_small_resistors_are_read_over_the_longest_way():
    # 0.35 + 0.50 + 0.90 ohm from pin 1 to pin 4 of the pack: bridged from 1 to 4, the meter shows it.
    rows = {
        frozenset(row["from"] + row["to"]): row
        for row in continuity_sheet(load_harness("cabin-blower")).rows()
    }
    whole = rows[frozenset(("X3.1b", "X3.4b"))]
    assert whole["value"] == pytest.approx(1.75, abs=0.03)
    assert whole["low"] > 1.0


def test_a_double_wire_is_said_not_to_be_provable():
    text = HEAD + "  X1: {kind: plug, cavities: 1}\nwires:\n"
    wires = [("W0", "G1.-", "E0.31"), ("W1", "G1.+", "X1.1a"), ("W2", "G1.+", "X1.1a")]
    sheet = continuity_sheet(parse_harness(text + "".join(WIRE.format(*one) for one in wires)))
    assert sheet.not_provable == ("W1", "W2")
