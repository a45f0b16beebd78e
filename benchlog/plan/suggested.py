"""Limits that suit a battery's kind and size, each with where its figure comes from, and fuses and wires for a load."""

from dataclasses import dataclass

from benchlog.plan.batteries import CHEMISTRY, rest_voltage
from benchlog.plan.wiring import FUSE_FOR_AREA

#: A of blade fuses in the shops (ISO 8820-3, from memory).
BLADE_FUSES_A = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
#: Share of its charge that a parked bike may lose to its drain in a month of 730 h.
_MONTHLY_SHARE, _MONTH_H = 0.10, 730.0
#: mohm x Ah: a battery of this kind and of 1 Ah resists this much when it is due for a look (from memory).
_MOHM_AH = {"flooded": 450.0, "agm": 350.0, "gel": 450.0, "lifepo4": 150.0}
#: mm2 of a wire that is laid on a bike by hand (common practice, no source).
_THINNEST_MM2 = 1.0
_OURS = "benchlog's own rule"
_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One suggested limit.

    Attributes:
        key: in [limits].
        value: as the plan takes it.
        source: where the figure comes from.
    """

    key: str
    value: float | str
    source: str


def suggested_limits(chemistry: str, capacity_ah: float) -> tuple[Suggestion, ...]:
    """Limits for a battery of this kind (a key of ``CHEMISTRY``) and size, Ah; in the order of the plan's keys."""
    kind = CHEMISTRY[chemistry]
    drain_ma = capacity_ah * 1000 * _MONTHLY_SHARE / _MONTH_H
    resting_v = round(rest_voltage(chemistry, 75.0), 1)
    return (
        Suggestion("off_state_drain_ma", _rounded(drain_ma), f"a tenth of the charge in a month ({_OURS})"),
        Suggestion("added_drain_ma", _rounded(max(drain_ma / 5, 0.1)), f"a fifth of that ({_OURS})"),
        Suggestion("settle_max_s", 120, f"control units asleep after two minutes ({_PRACTICE})"),
        Suggestion("feed_off_max_v", 0.5, f"nothing lights or charges on it ({_OURS})"),
        Suggestion("battery_sag_max_v", 0.6, f"a sound battery under accessories ({_PRACTICE})"),
        Suggestion(
            "source_resistance_max_mohm",
            _rounded(_MOHM_AH[chemistry] / capacity_ah),
            f"{_MOHM_AH[chemistry]:g} mΩ shared by its ampere-hours (from memory)",
        ),
        Suggestion("resting_min_v", resting_v, f"three quarters charged: {kind.source}"),
        Suggestion("crank_min_v", 9.6, _PRACTICE),
        Suggestion("feed_in_crank", "any", "not judged"),
        Suggestion("charging_min_v", kind.charge_v[0], f"charging window of {kind.name} ({_PRACTICE})"),
        Suggestion("charging_max_v", kind.charge_v[1], f"charging window of {kind.name} ({_PRACTICE})"),
        Suggestion("charging_balance_min_a", 0.0, f"the battery does not empty while you ride ({_OURS})"),
    )


def fuse_for(load_a: float) -> float:
    """The smallest blade fuse, A, of which a load is at most 80 %."""
    return next((fuse for fuse in BLADE_FUSES_A if load_a <= 0.8 * fuse), BLADE_FUSES_A[-1])


def wire_for(fuse_a: float) -> str:
    """The thinnest wire that a fuse protects, by the careful table, and that bears handling on a bike."""
    sizes = ((area, largest) for area, largest in FUSE_FOR_AREA.items() if area >= _THINNEST_MM2)
    area = next((area for area, largest in sizes if fuse_a <= largest), max(FUSE_FOR_AREA))
    return f"{area:g} mm2"


def _rounded(value: float) -> float:
    return float(f"{value:.2g}")
