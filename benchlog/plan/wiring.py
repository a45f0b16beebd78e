"""Copper wire, joints, fuses and contacts: what they resist, and the largest fuse a wire bears."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

#: ohm mm2/m, standard annealed copper at 20 degC (IEC 60028: 1/58).
COPPER_RESISTIVITY = 1 / 58
#: 1/K, of copper's resistance, referred to 20 degC (IEC 60028).
COPPER_PER_K = 0.00393
#: A wire in a loom beside a warm engine; the temperature that derived limits allow for.
HOT_C = 60.0
M_PER_FT = 0.3048

#: mm2 -> mohm/m at 20 degC, the most a flexible (class 5) plain copper conductor may have (IEC 60228).
CLASS_5_MOHM_PER_M = {
    **{0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95},
    **{6.0: 3.30, 10.0: 1.91, 16.0: 1.21},
}
#: The same for vehicle cable, used only for the size that IEC 60228 class 5 lacks here (ISO 6722-1, from memory).
VEHICLE_MOHM_PER_M = {0.35: 54.4}

#: mm2 -> A, the largest blade fuse that should protect a short run in a bundle.
#: Common practice, no source: where charts differ (0.75 mm2: 7.5 or 10 A; 2.5 mm2: 20 or 25 A) the smaller fuse.
FUSE_FOR_AREA = {0.35: 3.0, 0.5: 5.0, 0.75: 7.5, 1.0: 10.0, 1.5: 15.0, 2.5: 20.0, 4.0: 30.0, 6.0: 40.0, 10.0: 60.0}
#: AWG -> A, what a wire with insulation for 105 degC bears for long beside two others in 30 degC (ABYC E-11, the
#: figures of 33 CFR 183.425, as cable makers quote them): the most lenient table here. A loom is seldom as cool.
BEARS_BY_GAUGE = {18: 14.0, 16: 17.5, 14: 24.5, 12: 31.5, 10: 42.0, 8: 56.0, 6: 84.0, 4: 112.0}
CAREFUL_SOURCE, LENIENT_SOURCE = "common practice", "ABYC E-11"
LENIENT_TERMS = "for 105 °C insulation, three in a bundle at 30 °C"

# Allowances: common practice, no source (the fuse figure from memory). A figure for parts that are new and clean.
JOINT_MOHM = 0.5  # one crimp with its screw or blade
CONTACT_MOHM = 5.0  # a closed relay contact: 50 mV at 10 A
FUSE_MV = 70.0  # a blade fuse's cold resistance times its rating; at its full rating, hot, it drops nearer 100
FUSE_IF_UNKNOWN_A = 15.0
#: Joints age and figures scatter: limits allow this much more than the figure above.
ALLOWANCE_SPREAD = 1.5

# Joints in a path. Feed: battery post, fuse holder in and out, relay 30 and 87, stud. Ground: bus, battery post.
FEED_JOINTS = 6
GROUND_JOINTS = 2

_METRIC = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:mm\s*(?:2|²|\^2)|qmm|sqmm)", re.IGNORECASE)
_GAUGE = re.compile(r"(?:(\d{1,2}|[1-4]/0)\s*awg|awg\s*(\d{1,2}|[1-4]/0))", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Conductor:
    """A copper wire size.

    Attributes:
        area_mm2: cross-section, mm2.
        awg: its gauge number where it was given as one (1/0 is 0, 4/0 is -3), else None.
    """

    area_mm2: float
    awg: int | None = None

    def __str__(self) -> str:
        if self.awg is None:
            return f"{self.area_mm2:.3g} mm²"
        return f"{self.awg if self.awg > 0 else f'{1 - self.awg}/0'} AWG"


@dataclass(frozen=True, slots=True)
class Allowance:
    """What a path resists besides its wire, mohm, for parts that are new and clean."""

    joints_mohm: float
    fuse_mohm: float
    contact_mohm: float

    @property
    def total_mohm(self) -> float:
        """All parts together, new and clean."""
        return self.joints_mohm + self.fuse_mohm + self.contact_mohm

    @property
    def most_mohm(self) -> float:
        """What a limit allows for them."""
        return self.total_mohm * ALLOWANCE_SPREAD


def conductor(text: str) -> Conductor:
    """Read a size such as ``4 mm2``, ``4 mm²`` or ``12 AWG``; case and spaces do not matter.

    Raises:
        ValueError: not a size, or outside 0.05 to 150 mm2 / 36 to 4/0 AWG.
    """
    tidy = text.strip()
    if found := _METRIC.fullmatch(tidy):
        area = float(found.group(1).replace(",", "."))
        if not 0.05 <= area <= 150:
            raise ValueError(f'must be a wire of 0.05 to 150 mm2, got "{text}"')
        return Conductor(area)
    if found := _GAUGE.fullmatch(tidy):
        size = found.group(1) or found.group(2)
        gauge = 1 - int(size[0]) if "/" in size else int(size)
        if gauge > 36:
            raise ValueError(f'must be a gauge from 36 AWG to 4/0 AWG, got "{text}"')
        return Conductor(_awg_area_mm2(gauge), gauge)
    raise ValueError(f'must be a wire size such as "4 mm2" or "12 AWG", got "{text}"')


def awg_diameter_mm(gauge: int) -> float:
    """Diameter of a solid wire, mm (ASTM B258); 1/0 is gauge 0, 4/0 is gauge -3."""
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def resistance_mohm(wire: Conductor, length_m: float, temperature_c: float = 20.0) -> float:
    """What a run of wire resists, mohm.

    Metric sizes take the class 5 maximum (IEC 60228) where it lists them; gauge sizes take the
    solid-wire value (stranded wire differs by a few per cent), other areas resistivity over area.

    Args:
        wire: its size.
        length_m: one way, m.
        temperature_c: of the copper, degC.
    """
    listed = {} if wire.awg is not None else CLASS_5_MOHM_PER_M | VEHICLE_MOHM_PER_M
    per_m = listed.get(wire.area_mm2, 1000 * COPPER_RESISTIVITY / wire.area_mm2)
    return per_m * length_m * (1 + COPPER_PER_K * (temperature_c - 20.0))


def largest_fuse_a(wire: Conductor) -> float:
    """The largest fuse, A, that should protect this wire: common practice, between listed sizes by area."""
    return _by_area(FUSE_FOR_AREA, wire.area_mm2)


def most_lenient_fuse_a(wire: Conductor) -> float:
    """The largest fuse, A, that the most lenient table allows this wire (``BEARS_BY_GAUGE``), by area."""
    return _by_area({_awg_area_mm2(gauge): amps for gauge, amps in BEARS_BY_GAUGE.items()}, wire.area_mm2)


def _by_area(table: Mapping[float, float], area: float) -> float:
    """Between listed sizes by area; below the smallest in its proportion, above the largest no more than it."""
    areas = sorted(table)
    if area <= areas[0]:
        return table[areas[0]] * (area / areas[0])
    for low, high in pairwise(areas):
        if area <= high:
            share = (area - low) / (high - low)
            return table[low] + share * (table[high] - table[low])
    return table[areas[-1]]


def _awg_area_mm2(gauge: int) -> float:
    return math.pi / 4 * awg_diameter_mm(gauge) ** 2


def fuse_mohm(fuse_a: float) -> float:
    """What a blade fuse of this rating resists, mohm: a small one more than a large one."""
    return FUSE_MV / fuse_a


def feed_allowance(fuse_a: float | None) -> Allowance:
    """Joints, fuse and contact between battery + and the fuse block's stud.

    Args:
        fuse_a: the feed fuse, A; where unknown one of 15 A is taken.
    """
    return Allowance(FEED_JOINTS * JOINT_MOHM, fuse_mohm(fuse_a or FUSE_IF_UNKNOWN_A), CONTACT_MOHM)


def ground_allowance() -> Allowance:
    """Joints between the ground bus and battery negative."""
    return Allowance(GROUND_JOINTS * JOINT_MOHM, 0.0, 0.0)
