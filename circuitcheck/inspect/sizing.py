"""Wire and fuse for a current: the thinnest standard wire that bears it, its fuse and the drop."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from circuitcheck.expect.cautions import CONTINUOUS_SHARE, STANDARD_FUSES
from circuitcheck.inspect.tables import capacity, gauges, on_logs, resistances
from circuitcheck.physics.copper import at_temperature


@dataclass(frozen=True, slots=True)
class Need:
    """What a wire is wanted for.

    :param amps: for good [A]
    :param metres: of wire that the current passes, there and back if both are this wire [m]
    :param drop: volts that may be lost in it [V]; None for no matter
    :param ambient: air around it [degC]
    :param wire_celsius: what its insulation stands for good [degC]
    :param bundle: equally loaded wires side by side, this one among them
    """

    amps: float
    metres: float
    drop: float | None
    ambient: float
    wire_celsius: float
    bundle: float


@dataclass(frozen=True, slots=True)
class Size:
    """One standard wire, judged for a need.

    :param name: ``4 mm2`` or ``12 AWG``
    :param carries: for good, where it lies [A]
    :param drop: lost in it at the current, as warm as that makes it [V]
    :param watts: given off along it [W]
    :param why_not: what speaks against it; empty if nothing does
    """

    name: str
    mm2: float
    carries: float
    drop: float
    watts: float
    why_not: str


@dataclass(frozen=True, slots=True)
class Choice:
    """The answer.

    :param fuse: [A]; None where no blade fuse is large enough
    :param metric: every metric size from the one below the choice to the one above
    :param gauge: the thinnest American gauge that will do
    """

    need: Need
    fuse: float | None
    metric: tuple[Size, ...]
    gauge: Size | None

    @property
    def chosen(self) -> Size | None:
        """The thinnest metric size that will do."""
        return next((one for one in self.metric if not one.why_not), None)

    def to_dict(self) -> dict[str, Any]:
        """The fields as a plain dict."""
        chosen = self.chosen
        return {
            "need": asdict(self.need),
            "fuse_a": self.fuse,
            "metric": _rounded(chosen) if chosen else None,
            "awg": _rounded(self.gauge) if self.gauge else None,
            "sizes": [_rounded(one) for one in self.metric],
        }


def _rounded(size: Size) -> dict[str, Any]:
    return {
        key: float(f"{one:.4g}") if isinstance(one, float) else one for key, one in asdict(size).items()
    }


def choose(need: Need) -> Choice:
    """The thinnest wire and its fuse.

    The fuse carries the current for good at its usual share; the wire carries the fuse's rating for
    good, so that it outlasts the fuse, and loses no more volts than allowed.

    :raises ValueError: if the air is as hot as the insulation stands
    """
    if need.wire_celsius <= need.ambient:
        raise ValueError(
            f"found air of {need.ambient:g} degC; must be below the {need.wire_celsius:g} "
            "degC that the insulation stands"
        )
    fuse = next((one for one in STANDARD_FUSES if one >= need.amps / CONTINUOUS_SHARE), None)
    metric = [judge(f"{mm2:g} mm2", mm2, need, fuse) for mm2, _ in resistances()]
    american = [judge(f"{name} AWG", mm2, need, fuse) for name, mm2 in gauges() if sold(name)]
    best = next((place for place, one in enumerate(metric) if not one.why_not), len(metric) - 1)
    around = tuple(metric[max(best - 2, 0) : best + 2])
    return Choice(need, fuse, around, next((one for one in american if not one.why_not), None))


def sold(gauge: str) -> bool:
    """Whether a gauge is usual: the even ones, and 1/0 to 4/0; common practice, no source."""
    return "/" in gauge or int(gauge) % 2 == 0


def judge(name: str, mm2: float, need: Need, fuse: float | None) -> Size:
    """One size for a need and its fuse."""
    carries = capacity(mm2, ambient=need.ambient, wire_celsius=need.wire_celsius, bundle=need.bundle)
    # A wire that carries its full capacity is as hot as it may be; its rise goes with I**2.
    rise = (need.wire_celsius - need.ambient) * min((need.amps / carries) ** 2, 1.0)
    cold = on_logs(resistances(), mm2) * need.metres
    ohm = at_temperature(cold, need.ambient + rise)
    drop = ohm * need.amps
    against = need.amps if fuse is None else float(fuse)
    wanted = "of" if fuse is None else "its fuse"
    why = "" if carries >= against else f"carries {carries:.3g} A, {wanted} {against:g} A"
    if not why and need.drop is not None and drop > need.drop:
        why = f"loses {drop:.2g} V"
    return Size(name, mm2, carries, drop, drop * need.amps, why)
