"""12 V batteries by chemistry: rest voltage against charge, charging windows, and how long one lasts on a drain."""

import math
from dataclasses import dataclass
from itertools import pairwise

CELLS_LEAD_ACID = 6
#: V/K of a 12 V lead-acid battery at rest: 0.2 mV per cell (a handbook figure, from memory).
REST_V_PER_K = 0.0002 * CELLS_LEAD_ACID
#: Hours without load or charge before a rest voltage tells the charge: a night, whatever the kind. Makers of motorcycle
#: batteries name 0.5 to 2 after a charge, those of flooded ones 6 to 24 (common practice, no source).
REST_H = 8.0
REST_WORDS = f"overnight ({REST_H:g} hours or more)"
#: V/K by which a lead-acid battery's charging voltage falls as it warms: 3 mV per cell (common practice, no source).
CHARGE_V_PER_K = -0.003 * CELLS_LEAD_ACID


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What is known of one kind of 12 V battery. All voltages at 25 degC.

    Attributes:
        name: as a reader would write it.
        rest: (charge in per cent, rest voltage in V), rising.
        band_v: half-width, V, within which tables for this kind disagree.
        charge_v: (least, most) V that suit it with the engine running.
        lead_acid: six lead-acid cells, so the lead-acid temperature coefficients hold.
        self_discharge_pct: (least, most) per cent of its capacity that it loses a month at 20 degC on its own.
        source: where the rest voltages come from.
    """

    name: str
    rest: tuple[tuple[float, float], ...]
    band_v: float
    charge_v: tuple[float, float]
    lead_acid: bool
    self_discharge_pct: tuple[float, float]
    source: str


_FLOODED_REST = ((0.0, 11.89), (25.0, 12.06), (50.0, 12.24), (75.0, 12.45), (100.0, 12.65))
_PRINTED = "widely printed table; others differ by up to 0.13 V (common practice, no source)"
_AGM_REST = ((0.0, 11.7), (25.0, 12.0), (50.0, 12.3), (75.0, 12.6), (100.0, 12.8))
_BANDS = "a vehicle maker's bands, carried on below a quarter charged (common practice, no source)"
_AS_AGM = "taken as AGM, with a wider band (from memory)"
_LIFEPO4_REST = (
    *((0.0, 10.0), (10.0, 12.0), (20.0, 12.8), (30.0, 13.0), (40.0, 13.2), (70.0, 13.3), (90.0, 13.4)),
    *((99.0, 13.6), (100.0, 13.6)),
)
_FOUR_CELLS = "four cells in series, one table of low authority (common practice, no source)"

# Charging windows: common practice, no source; those of gel and LiFePO4 from memory.
# Self-discharge: common practice, no source (flooded about 5, sealed about 3, AGM 1 to 3 % a month); LiFePO4's from
# memory.
CHEMISTRY: dict[str, Chemistry] = {
    # name, rest voltages, band, charging window, lead acid, self-discharge, source
    "flooded": Chemistry("flooded lead-acid", _FLOODED_REST, 0.13, (13.5, 15.5), True, (4.0, 6.0), _PRINTED),
    "agm": Chemistry("AGM", _AGM_REST, 0.10, (13.5, 14.8), True, (1.0, 3.0), _BANDS),
    "gel": Chemistry("gel", _AGM_REST, 0.15, (13.5, 14.4), True, (2.0, 4.0), _AS_AGM),
    "lifepo4": Chemistry("LiFePO4", _LIFEPO4_REST, 0.05, (13.6, 14.6), False, (1.0, 3.0), _FOUR_CELLS),
}


@dataclass(frozen=True, slots=True)
class StateOfCharge:
    """How full a battery probably is, per cent: the best figure and the band that tables leave open."""

    low_pct: float
    mid_pct: float
    high_pct: float


def state_of_charge(chemistry: str, resting_v: float, temperature_c: float = 25.0) -> StateOfCharge:
    """How full a rested battery is. It says nothing about its health.

    Args:
        chemistry: a key of ``CHEMISTRY``.
        resting_v: V, after at least ``REST_H`` without load or charge.
        temperature_c: of the battery, degC.

    Raises:
        KeyError: not a chemistry.
    """
    kind = CHEMISTRY[chemistry]
    at_25_v = resting_v - (REST_V_PER_K * (temperature_c - 25.0) if kind.lead_acid else 0.0)
    low, mid, high = (_charge_pct(kind.rest, at_25_v + shift) for shift in (-kind.band_v, 0.0, kind.band_v))
    return StateOfCharge(low, mid, high)


def rest_voltage(chemistry: str, charge_pct: float) -> float:
    """The rest voltage, V at 25 degC, of a battery that is this full (0 to 100 per cent)."""
    rest = CHEMISTRY[chemistry].rest
    for (low_pct, low_v), (high_pct, high_v) in pairwise(rest):
        if charge_pct <= high_pct:
            return low_v + (charge_pct - low_pct) / (high_pct - low_pct) * (high_v - low_v)
    return rest[-1][1]


def charging_window(chemistry: str, temperature_c: float = 25.0) -> tuple[float, float]:
    """(least, most) V that suit the battery with the engine running; lead-acid wants less when warm."""
    kind = CHEMISTRY[chemistry]
    shift = CHARGE_V_PER_K * (temperature_c - 25.0) if kind.lead_acid else 0.0
    return kind.charge_v[0] + shift, kind.charge_v[1] + shift


def self_discharge(chemistry: str, temperature_c: float = 20.0) -> tuple[float, float]:
    """(least, most) per cent of its capacity that it loses a month on its own; doubles every 10 K (from memory)."""
    least, most = CHEMISTRY[chemistry].self_discharge_pct
    factor = 2.0 ** ((temperature_c - 20.0) / 10.0)
    return least * factor, most * factor


def days_until(charge_ah: float, drain_ma: float) -> float:
    """Days in which a drain takes this much charge (Ah), self-discharge left out; infinite without a drain."""
    return charge_ah * 1000.0 / drain_ma / 24.0 if drain_ma > 0 else math.inf


def _charge_pct(rest: tuple[tuple[float, float], ...], at_25_v: float) -> float:
    if at_25_v <= rest[0][1]:
        return 0.0
    for (low_pct, low_v), (high_pct, high_v) in pairwise(rest):
        if at_25_v < high_v:
            return low_pct + (at_25_v - low_v) / (high_v - low_v) * (high_pct - low_pct)
    return 100.0
