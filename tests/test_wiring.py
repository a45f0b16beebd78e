"""Wire, joints and fuses against published tables."""

import math

import pytest

from benchlog.plan.wiring import (
    COPPER_RESISTIVITY,
    FUSE_FOR_AREA,
    M_PER_FT,
    Conductor,
    awg_diameter_mm,
    conductor,
    feed_allowance,
    fuse_mohm,
    ground_allowance,
    largest_fuse_a,
    resistance_mohm,
)

# Gauge: mm (ASTM B258), and ohm per 1000 ft of solid copper at 20 degC as printed in wire tables.
GAUGES = {
    8: (3.264, 0.6282),
    10: (2.588, 0.9989),
    12: (2.053, 1.588),
    14: (1.628, 2.525),
    16: (1.291, 4.016),
    18: (1.024, 6.385),
    20: (0.8118, 10.15),
    22: (0.6438, 16.14),
}
# mm2: mohm/m, the most for class 5 plain copper at 20 degC (IEC 60228).
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21}
STANDARD_FUSES_A = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40)


@pytest.mark.parametrize(("gauge", "printed"), GAUGES.items(), ids=str)
def test_gauge_agrees_with_the_printed_table(gauge, printed):
    """Diameter (ASTM B258) and resistance of a gauge agree with the wire tables in every printed digit."""
    mohm_per_1000_ft = resistance_mohm(conductor(f"{gauge} AWG"), 1000 * M_PER_FT)

    assert float(f"{awg_diameter_mm(gauge):.4g}") == printed[0]
    assert float(f"{mohm_per_1000_ft / 1000:.4g}") == printed[1]


@pytest.mark.parametrize(("gauge", "inch"), [(36, 0.0050), (-3, 0.4600)])
def test_gauge_ends_are_the_defining_diameters(gauge, inch):
    """ASTM B258 fixes 36 AWG at 0.0050 in and 4/0 AWG at 0.4600 in."""
    assert awg_diameter_mm(gauge) / 25.4 == pytest.approx(inch, rel=1e-9)


@pytest.mark.parametrize(("area", "mohm_per_m"), CLASS_5.items())
def test_metric_wire_takes_the_class_5_maximum(area, mohm_per_m):
    """1.6 m of a listed metric size resists 1.6 times the IEC 60228 class 5 maximum."""
    assert resistance_mohm(conductor(f"{area} mm2"), 1.6) == pytest.approx(1.6 * mohm_per_m, rel=1e-12)


def test_unlisted_area_takes_resistivity_over_area():
    """12 mm2, which the table lacks, follows IEC 60028: 1/58 ohm mm2/m."""
    assert resistance_mohm(conductor("12 mm2"), 2.0) == pytest.approx(2 * 1000 / 58 / 12, rel=1e-12)
    assert round(COPPER_RESISTIVITY, 6) == 0.017241


@pytest.mark.parametrize(("at_c", "ratio"), [(0, 0.9214), (20, 1.0), (40, 1.0786), (60, 1.1572), (90, 1.2751)])
def test_warm_wire_resists_more(at_c, ratio):
    """R(T)/R(20) follows copper's 0.00393 per kelvin (IEC 60028)."""
    wire = conductor("4 mm2")

    assert resistance_mohm(wire, 1.0, at_c) / resistance_mohm(wire, 1.0) == pytest.approx(ratio, abs=1e-4)


@pytest.mark.parametrize(("drop", "circular_mils", "gauge"), [(0.03, 6271, 12), (0.10, 1881, 16)])
def test_marine_worked_case_needs_the_printed_gauge(drop, circular_mils, gauge):
    """10 A over 21 ft out and back at 12 V (ABYC E-11, as quoted): 12 AWG keeps 3 %, 16 AWG keeps 10 %."""
    wire = conductor(f"{gauge} AWG")
    needed = 10.75 * 10 * 21 / (drop * 12)
    warm_c = 20 + (0.017871 / COPPER_RESISTIVITY - 1) / 0.00393  # what K = 10.75 means in degC, about 29

    drop_v = 10 * resistance_mohm(wire, 21 * M_PER_FT, warm_c) / 1000
    mils = (awg_diameter_mm(gauge) / 0.0254) ** 2

    assert needed == pytest.approx(circular_mils, abs=1)
    assert drop_v == pytest.approx(drop * 12 * needed / mils, rel=1e-3)
    assert drop_v <= drop * 12


@pytest.mark.parametrize("text", ["4 mm2", "4mm²", " 4 MM2 ", "4.0 mm^2", "4,0 mm2"])
def test_metric_sizes_are_read_however_written(text):
    """Case, spaces and the way of writing the square do not matter."""
    assert conductor(text) == Conductor(4.0)


@pytest.mark.parametrize(
    ("text", "gauge"), [("12 AWG", 12), ("12awg", 12), ("AWG 12", 12), ("1/0 AWG", 0), ("4/0 awg", -3)]
)
def test_gauges_are_read_however_written(text, gauge):
    """A gauge gives its area: a quarter of pi times the diameter squared."""
    wire = conductor(text)

    assert wire.awg == gauge
    assert wire.area_mm2 == pytest.approx(math.pi / 4 * awg_diameter_mm(gauge) ** 2, rel=1e-12)


@pytest.mark.parametrize("text", ["4", "mm2", "thick", "0 mm2", "-4 mm2", "99 AWG", "5/0 AWG", "4 mm3", "", "1e3 mm2"])
def test_other_texts_are_no_wire_size(text):
    """What is not a size is refused with the text in question."""
    with pytest.raises(ValueError, match=r'must be a (wire|gauge).*got "'):
        conductor(text)


@pytest.mark.parametrize(("text", "printed"), [("4mm2", "4 mm²"), ("12awg", "12 AWG"), ("2/0awg", "2/0 AWG")])
def test_sizes_are_printed_plainly(text, printed):
    """A size prints in one spelling."""
    assert str(conductor(text)) == printed


def test_thicker_wire_never_bears_less():
    """The fuse a wire bears rises with its area, and follows it down to nothing."""
    areas = [0.05 * n for n in range(1, 300)]
    fuses = [largest_fuse_a(Conductor(area)) for area in areas]

    assert fuses == sorted(fuses)
    assert fuses[0] < 1


@pytest.mark.parametrize(("area", "fuse_a"), FUSE_FOR_AREA.items())
def test_listed_wire_bears_a_fuse_that_is_sold(area, fuse_a):
    """Each listed size bears a standard blade rating, below 15 A per mm2 (common practice, no source)."""
    assert largest_fuse_a(Conductor(area)) == fuse_a
    assert fuse_a in (*STANDARD_FUSES_A, 60)
    assert fuse_a / area < 15


def test_gauge_bears_by_area_between_listed_sizes():
    """14 AWG (2.081 mm2) lies 58.1 % of the way from 1.5 mm2 (15 A) to 2.5 mm2 (20 A)."""
    assert largest_fuse_a(conductor("14 AWG")) == pytest.approx(17.90, abs=0.01)


def test_allowances_are_stated_figures():
    """A 20 A feed: six joints, 3.5 mohm of fuse, 5 mohm of contact; limits allow half as much again."""
    feed = feed_allowance(20)

    assert (feed.joints_mohm, feed.fuse_mohm, feed.contact_mohm) == (3.0, 3.5, 5.0)
    assert feed.total_mohm == 11.5
    assert feed.most_mohm == pytest.approx(17.25)
    assert ground_allowance().total_mohm == 1.0
    assert fuse_mohm(5) == 4 * fuse_mohm(20)
