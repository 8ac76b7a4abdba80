"""The derivation: the rest of the circuit as seen from the branch in question, then that branch.

Whatever is asked, the way is the same: all but the branch in question becomes one emf behind one
resistance (Thevenin), by series and parallel steps where they lead there and by node equations
where they do not; then the branch is put back.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from circuitcheck.learn.algebra import sympy
from circuitcheck.learn.elements import Element
from circuitcheck.learn.reduction import (
    Leaf,
    Mesh,
    Parallel,
    Series,
    Tree,
    is_series_parallel,
    leaves,
    reduce,
)
from circuitcheck.learn.worksheet import Worksheet

SAME_CURRENT = "the same current passes all of them, so their resistances add"
SAME_VOLTS = "the same volts stand across all of them, so their conductances add"
MILLMAN = (
    "branches with a source in them, side by side, act as one source: each emf counts by the "
    "conductance it stands behind (Millman's theorem)"
)
NODES = (
    "no two branches are in series or in parallel any more: what flows into each node must "
    "flow out again (Kirchhoff's current law)"
)


@dataclass
class Derivation:
    """A worksheet with what has been found of each part of the network.

    :param target: the branch in question
    :param rest: all else, as one tree from the target's tail to its head; None if nothing
    :param emf: formula of the rest's emf from the target's tail to its head
    :param ohm: formula of the rest's resistance
    :param amps: symbol of the current of each element, tail to head
    """

    sheet: Worksheet
    target: Element
    rest: Tree | None
    emf: Any = 0
    ohm: Any = 0
    equivalents: dict[Tree, tuple[Any, Any]] = field(default_factory=dict)
    amps: dict[str, Any] = field(default_factory=dict)
    loaded: dict[Tree, dict[str, tuple[Any, Any]]] = field(default_factory=dict)

    @property
    def series_parallel(self) -> bool:
        """Whether series and parallel steps were enough."""
        return self.rest is None or is_series_parallel(self.rest)

    @property
    def own_ohm(self) -> Any:
        """Symbol of the target's own resistance."""
        return self.symbols(self.target)[0]

    @property
    def own_emf(self) -> Any:
        """Symbol of the target's own emf, tail to head; 0 without one."""
        return self.symbols(self.target)[1]

    def symbols(self, one: Element) -> tuple[Any, Any]:
        """The resistance and the emf of an element as symbols."""
        ohm = self.sheet.give(one.ohm_name, one.ohm, "ohm", one.words)
        if not one.emf_name:
            return ohm, sympy().Integer(0)
        # A back EMF is given as a positive number; which way it points is in the formula's sign.
        sign = 1 if one.emf > 0 else -1
        emf = self.sheet.give(one.emf_name, abs(one.emf), "V", _emf_words(one))
        return ohm, sign * emf


def _emf_words(one: Element) -> str:
    if one.emf_name.startswith("V"):
        return f"emf of {one.words}"
    return f"back EMF of {one.words}" if "motor" in one.words else f"drop of {one.words}"


def derive(elements: list[Element], target_key: str, *, running: bool = False) -> Derivation:
    """Everything up to the rest's emf and resistance, as seen from the branch in question.

    :param running: the branch is a motor whose back EMF is to be found, not given
    """
    (target,) = (one for one in elements if target_key in one.members)
    rest = [one for one in elements if one is not target]
    if running:
        target = replace(target, emf_name="")
    found = Derivation(Worksheet(), target, reduce(rest, (target.tail, target.head)))
    for one in sorted([*rest, target], key=lambda one: one.ohm_name):
        found.symbols(one)
    if found.rest is not None:
        found.ohm, found.emf = _outermost(found, found.rest)
    return found


def _outermost(found: Derivation, tree: Tree) -> tuple[Any, Any]:
    """The last series stays written out, so that the answer reads (V - E) / (Ri + Rs + Rm)."""
    if not isinstance(tree, Series):
        return equivalent(found, tree)
    parts = [(equivalent(found, one), sign) for one, sign in tree.parts]
    return sum(ohm for (ohm, _), _ in parts), sum(sign * emf for (_, emf), sign in parts)


def equivalent(found: Derivation, tree: Tree) -> tuple[Any, Any]:
    """A part of the network as (resistance, emf), with the steps that lead there."""
    if tree not in found.equivalents:
        if isinstance(tree, Leaf):
            found.equivalents[tree] = found.symbols(tree.element)
        elif isinstance(tree, Series):
            found.equivalents[tree] = _series(found, tree)
        elif isinstance(tree, Mesh):
            found.equivalents[tree] = _node_equations(found, tree)
        else:
            found.equivalents[tree] = _parallel(found, tree)
    return found.equivalents[tree]


def _series(found: Derivation, tree: Series) -> tuple[Any, Any]:
    ohm, emf = _outermost(found, tree)
    if len(tree.parts) == 1:
        return ohm, emf
    number = _next(found, "R_s")
    return found.sheet.step(f"R_s{number}", ohm, "ohm", "series", SAME_CURRENT), emf


def _parallel(found: Derivation, tree: Parallel) -> tuple[Any, Any]:
    parts = [(equivalent(found, one), sign) for one, sign in tree.parts]
    ohms = [ohm for (ohm, _), _ in parts]
    if len(ohms) == 2:
        formula = ohms[0] * ohms[1] / (ohms[0] + ohms[1])
    else:
        formula = 1 / sum(1 / one for one in ohms)
    number = _next(found, "R_p")
    ohm = found.sheet.step(f"R_p{number}", formula, "ohm", "parallel", SAME_VOLTS)
    push = sum(sign * emf / own for (own, emf), sign in parts)
    if push == 0:
        return ohm, sympy().Integer(0)
    # A name for a positive number; which way it points is in the formulas' signs.
    turn = -1 if found.sheet.value(push) < 0 else 1
    push = sum(turn * sign * emf / own for (own, emf), sign in parts)
    emf = found.sheet.step(f"E_p{number}", ohm * push, "V", "parallel sources", MILLMAN)
    return ohm, turn * emf


def _next(found: Derivation, stem: str) -> int:
    return 1 + sum(str(one.symbol).startswith(stem) for one in found.sheet.steps)


# -- what is not series-parallel ----------------------------------------------------------------------


def _node_equations(found: Derivation, mesh: Mesh) -> tuple[Any, Any]:
    """Resistance and open-circuit volts between the ends of a mesh, from node equations."""
    algebra, sheet = sympy(), found.sheet
    tail, head = mesh.ends
    met = dict.fromkeys(end for one in mesh.trees for end in one.ends)
    nodes = sorted((node for node in met if node != head), key=lambda node: node != tail)
    for one in mesh.trees:
        equivalent(found, one)
    names = {node: str(place) for place, node in enumerate(nodes, 1)}
    counted = f"volts counted from {head}: " + ", ".join(f"U_{names[n]} at {n}" for n in nodes)
    volts = {node: algebra.Integer(0) for node in nodes}
    if any(found.equivalents[one][1] != 0 for one in mesh.trees):
        volts = {node: algebra.Symbol(f"U_{names[node]}", real=True) for node in nodes}
        sheet.solve_nodes(
            list(volts.values()),
            _balance(found, mesh, {**volts, head: 0}),
            "V",
            "node equations",
            f"{NODES}; nothing yet connected from {tail} to {head}; {counted}",
        )
    shares = {node: algebra.Symbol(f"Z_{names[node]}", real=True) for node in nodes}
    equations = _balance(found, mesh, {**shares, head: 0}, sources=False)
    equations[0] = equations[0] - 1
    sheet.solve_nodes(
        list(shares.values()),
        equations,
        "ohm",
        "node equations",
        f"the same with every emf off and 1 A sent in at {tail}: the volts there are the "
        "resistance in ohm",
    )
    found.loaded[mesh] = {node: (volts[node], shares[node]) for node in nodes}
    return shares[tail], volts[tail]


def _balance(found: Derivation, mesh: Mesh, volts: dict[str, Any], *, sources: bool = True) -> list[Any]:
    """For each node the sum of the currents that leave it, in the order of ``volts``."""
    algebra = sympy()
    total = {node: algebra.Integer(0) for node in volts if node != mesh.ends[1]}
    for one in mesh.trees:
        ohm, emf = found.equivalents[one]
        start, end = one.ends
        amps = (volts[start] - volts[end] - (emf if sources else 0)) / ohm
        if start in total:
            total[start] += amps
        if end in total:
            total[end] -= amps
    return list(total.values())


# -- the currents of all parts ------------------------------------------------------------------------


def divide(found: Derivation, current: Any, *, shown: bool) -> None:
    """From the current of the target back to the current of every element.

    :param current: symbol of the target's current, tail to head
    :param shown: whether a reader is to see where it divides
    """
    found.amps[found.target.ohm_name] = current
    if found.rest is not None:
        _divide(found, found.rest, -current, shown=shown)


def _divide_mesh(found: Derivation, mesh: Mesh, current: Any, *, shown: bool) -> None:
    """Each branch from the volts of its ends: those with nothing drawn, less what is drawn."""
    loaded = {node: volts + current * share for node, (volts, share) in found.loaded[mesh].items()}
    loaded[mesh.ends[1]] = sympy().Integer(0)
    for one in mesh.trees:
        ohm, emf = found.equivalents[one]
        start, end = one.ends
        formula = (loaded[start] - loaded[end] - emf) / ohm
        turn = 1 if found.sheet.value(formula) >= 0 else -1
        amps = found.sheet.step(
            found.sheet.free_name(f"I_{_label(one, ohm)}"),
            turn * formula,
            "A",
            "Ohm's law",
            "the volts across it (those with nothing drawn, and what the current drawn adds or takes), "
            "less its own emf, through its resistance",
            shown=shown,
        )
        _divide(found, one, turn * amps, shown=shown)


def _divide(found: Derivation, tree: Tree, current: Any, *, shown: bool) -> None:
    if isinstance(tree, Leaf):
        found.amps[tree.element.ohm_name] = current
    elif isinstance(tree, Series):
        for one, sign in tree.parts:
            _divide(found, one, sign * current, shown=shown)
    elif isinstance(tree, Mesh):
        _divide_mesh(found, tree, current, shown=shown)
    else:
        _divide_parallel(found, tree, current, shown=shown)


def _divide_parallel(found: Derivation, tree: Parallel, current: Any, *, shown: bool) -> None:
    ohm, emf = equivalent(found, tree)
    number = str(ohm).removeprefix("R_p")
    flowing = float(found.sheet.value(current)) >= 0
    turn = 1 if flowing else -1
    across = found.sheet.step(
        f"U_p{number}",
        turn * (emf + current * ohm),
        "V",
        "Ohm's law",
        f"the volts across {ohm}",
        shown=shown,
    )
    for one, sign in tree.parts:
        own, own_emf = found.equivalents[one]
        label = _label(one, own)
        toward = sign * turn
        amps = found.sheet.step(
            found.sheet.free_name(f"I_{label}"),
            (across - toward * own_emf) / own,
            "A",
            "the current divides",
            "the volts across the branch, less its back EMF, through its own resistance"
            if own_emf != 0
            else "the volts across the branch, through its own resistance",
            shown=shown,
        )
        _divide(found, one, toward * amps, shown=shown)


def _label(tree: Tree, own: Any) -> str:
    """What a branch is called after: the load in it, if it has one."""
    named = [one for one in leaves(tree) if not one.lump]
    if isinstance(tree, Leaf | Series) and len(named) >= 1:
        strongest = max(named, key=lambda one: one.ohm)
        motors = [one for one in named if one.emf_name]
        return (motors or [strongest])[0].ohm_name.removeprefix("R_")
    return str(own).removeprefix("R_")
