"""A diode fitted in the loom: isolation, or suppression outside a relay."""

from typing import ClassVar

from circuitcheck.parts.fault import Branches, Change, Failing, FaultMode, Value, altered, bridge, scale
from circuitcheck.parts.part import Part, Situation
from circuitcheck.parts.quantity import Ohm, Volt
from circuitcheck.physics.branch import Branch
from circuitcheck.physics.diode import Junction


class Diode(Part):
    """Terminals ``a`` (anode) and ``k`` (cathode)."""

    kind_name: ClassVar[str] = "diode"
    letters: ClassVar[str] = "RV"
    summary: ClassVar[str] = "diode; 'a' anode, 'k' cathode"

    drop: Volt = 0.7
    ohms: Ohm = 0.05

    def pins(self) -> tuple[str, ...]:
        """Anode first."""
        return ("a", "k")

    def inside(self, name: str, situation: Situation) -> dict[str, Branch]:
        """One curve."""
        anode, cathode = self.own(name, "a"), self.own(name, "k")
        return {
            f"{name}:diode": Junction(anode, cathode, self.drop, self.ohms, spreads=(0.05, 0.1, 0.0))
        }

    def faults(self, name: str) -> list[FaultMode]:
        """Open or shorted."""
        key, diode = f"{name}:diode", Failing(name, "diode", f"renew diode {name}")
        across = bridge(key, self.own(name, "a"), self.own(name, "k"))
        return [
            diode.mode("open", f"diode {name} is open", scale(key, strength=0.0)),
            diode.mode("shorted", f"diode {name} is shorted", across, overloads=True),
        ]

    def misfits(self, name: str) -> list[FaultMode]:
        """The wrong way round."""
        key = f"{name}:diode"

        def turn(branches: Branches, _: Value) -> Change:
            one = branches.get(key)
            return {} if one is None else {key: altered(one, tail=one.head, head=one.tail)}

        misfit = Failing(name, "diode", f"turn diode {name}: the ring marks the cathode, k")
        return [misfit.mode("reversed", f"diode {name} is the wrong way round", turn)]
