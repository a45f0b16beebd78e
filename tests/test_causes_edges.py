"""Where the causes' arithmetic decides: each threshold from both sides, on tables of evidence written by hand."""

import math

import pytest

from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import QUANTITIES, Seen, misfit, wrongness
from benchlog.verdict.result import Cause, Check


def seen(value: float, u: float = 0.0) -> Seen:
    """One quantity as measured."""
    return Seen(value, u, f"{value:g} measured")


def found(values: dict[str, Seen], *failed: str) -> dict[str, Cause]:
    """Causes by id."""
    checks = [Check(id=name, title="t", verdict="fail", unit="V", because="b") for name in failed]
    return {cause.id: cause for cause in find_causes(values, checks, {})}


@pytest.mark.parametrize(("over", "named"), [(1.0122, []), (1.0195, ["feed_resistance"])])
def test_fault_is_named_from_a_likelihood_ratio_of_e_to_1_2(over: float, named: list[str]):
    """A drop 1.1 uncertainties over its limit says half of 1.1 squared, 0.6: too little. 1.74 of them say 1.5."""
    assert list(found({"feed_path": seen(over, 0.01)}, "feed_drop")) == named


@pytest.mark.parametrize(("share", "named"), [(0.16, 0.5 / (1 + math.exp(-1.25))), (0.12, None)])
def test_fit_is_the_share_of_belief_among_the_rivals(share: float, named: float | None):
    """An alternator that carries 16 ± 4 % lies 2.5 nearer to too much load than to no charge: odds of e to 1.25.

    One of the two quantities that too much load needs is known, so that half of it counts. At 12 % both are named.
    """
    causes = found({"alternator_share": seen(share, 0.04)}, "charging_balance")

    if named is None:
        assert set(causes) == {"no_charge", "load_exceeds_charging"}
    else:
        assert list(causes) == ["load_exceeds_charging"]
        assert causes["load_exceeds_charging"].fit == pytest.approx(named, abs=0.002)


def test_what_disagrees_takes_from_the_fit():
    """A late settling beside a feed that holds 0.30 of the battery: two squared halves against, e to the -2/8."""
    causes = found({"settle": seen(1.5), "feed_off": seen(0.30)}, "settle_time")

    assert causes["slow_to_sleep"].fit == pytest.approx(math.exp(-2 / 8), abs=0.01)


@pytest.mark.parametrize(("feed_on", "named"), [(0.9, True), (0.505, False)])
def test_faults_are_ruled_out_by_what_disagrees_together(feed_on: float, named: bool):
    """A trigger at 0.358 speaks against a welded contact by 5, a feed at 0.505 by 5 more: 10 together are too much."""
    causes = found({"feed_off": seen(1.0), "trigger_off": seen(0.358), "feed_on": seen(feed_on)}, "feed_off_voltage")

    assert ("welded_contact" in causes) is named
    assert "trigger_always_live" in causes


@pytest.mark.parametrize(("trigger_off", "named"), [(0.36, True), (0.385, False)])
def test_one_quantity_that_disagrees_by_six_rules_a_fault_out(trigger_off: float, named: bool):
    """3.2 softnesses beyond what a welded contact allows are 5.1, 3.7 of them 6.8."""
    causes = found({"feed_off": seen(1.0), "trigger_off": seen(trigger_off)}, "feed_off_voltage")

    assert ("welded_contact" in causes) is named


@pytest.mark.parametrize(("off_a", "named"), [(-1.5e-5, []), (-2.5e-5, ["charging_while_off"])])
def test_current_into_the_battery_asks_from_two_uncertainties(off_a: float, named: list[str]):
    """With no check failed, 1.5 softnesses below zero (1.1) are no news, 2.5 of them (3.1) are."""
    assert list(found({"off_charge_a": seen(off_a)})) == named


def test_fault_that_only_hints_show_is_half_known():
    """The clips' slope without the lead that it needs: nothing stands beside it, and half is known."""
    causes = found({"clip_slope": seen(0.9)})

    assert causes["clips_swapped"].fit == pytest.approx(0.5)


def test_misfit_is_half_of_the_square_and_ends_at_twelve():
    """4 softnesses are 8, 5 are 12.5 and count as 12; uncertainty and softness add in squares."""
    softness = QUANTITIES["feed_on"].softness

    assert misfit("feed_on", seen(0.85 - 4 * softness), 0.85, 1.1) == pytest.approx(8.0)
    assert misfit("feed_on", seen(0.85 - 5 * softness), 0.85, 1.1) == 12.0
    assert misfit("feed_on", seen(0.81, math.sqrt(0.04**2 - softness**2)), 0.85, 1.1) == pytest.approx(0.5)


#: Quantity -> (figures that a good install shows, figures that it does not).
HEALTHY: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "trigger_on": ((0.86, 1.0, 1.09), (0.79, 1.17)),
    "trigger_duty": ((0.975, 1.09), (0.9595, 1.1105)),
    "trigger_falls_hz": ((0.0, 0.09), (0.17,)),
    "feed_falls_hz": ((0.0, 0.09), (0.17,)),
    "trigger_off": ((-0.09, 0.14), (-0.21, 0.26)),
    "trigger_before": ((-0.09, 0.14), (-0.21, 0.26)),
    "feed_on": ((0.86, 1.09), (0.79, 1.17)),
    "feed_duty": ((0.975, 1.09), (0.949, 1.121)),
    "feed_off": ((-0.09, 0.09), (-0.21, 0.21)),
    "feed_before": ((-0.09, 0.09), (-0.21, 0.21)),
    "bus_on": ((-0.04, 0.09), (-0.12, 0.17)),
    "load_on": ((0.16, 5.0), (0.08,)),
    "load_off": ((-1.0, 0.09), (0.21,)),
    "load_before": ((-1.0, 0.09), (0.21,)),
    "load_swing": ((-1.0, 0.14), (0.22,)),
    "line_off": ((-1.0, 0.48), (0.71,)),
    "line_before": ((-1.0, 0.48), (0.71,)),
    "coil_off": ((-1.0, 0.48), (0.71,)),
    "coil_before": ((-1.0, 0.38), (0.61,)),
    "feed_path": ((0.1, 0.999), (1.012,)),
    "ground_path": ((0.1, 0.999), (1.012,)),
    "drain_base": ((0.1, 0.999), (1.012,)),
    "drain_wakes": ((0.1, 0.999), (1.012,)),
    "off_charge_a": ((0.0, 5.0), (-2.2e-5,)),
    "settle": ((0.1, 0.999), (1.012,)),
    "trigger_fall_s": ((0.0, 0.019), (0.029,)),
    "pull_in": ((0.1, 0.999), (1.012,)),
    "drop_out": ((0.1, 0.999), (1.012,)),
    "drop_out_own": ((0.1, 0.99), (1.12,)),
    "openings": ((0.0, 0.49), (1.0,)),
    "feed_lead_s": ((-1.0, -1e-4), (2.2e-4,)),
    "clip_slope": ((-1.0, -0.01), (0.22,)),
    "source": ((0.1, 0.999), (1.012,)),
    "sag": ((0.1, 0.999), (1.012,)),
    "rest_short_v": ((-2.0, -0.001), (0.012,)),
    "crank_short_v": ((-2.0, -0.001), (0.012,)),
    "charge_over_v": ((-2.0, -0.001), (0.012,)),
    "charge_under_v": ((-2.0, -0.001), (0.012,)),
    "alternator_share": ((0.98, 3.0), (0.92,)),
    "run_raise_v": ((0.31, 3.0), (0.08,)),
    "run_rest_v": ((0.31, 3.0), (0.08,)),
    "slot_4": ((0.001, 3.0), (-0.022,)),
}


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_range_of_each_quantity_from_both_sides(name: str):
    """Near its edge a figure is healthy, two softnesses beyond it says more than a fault needs to be named."""
    good, wrong = HEALTHY[name]

    assert [value for value in good if wrongness(name, seen(value))] == []
    assert [value for value in wrong if not 1.2 < wrongness(name, seen(value)) < 4.0 and name != "openings"] == []
    assert all(wrongness(name, seen(value)) > 1.2 for value in wrong)


def test_quantities_that_no_figure_speaks_against_say_so():
    """Every quantity has its edges tested, but for those that are healthy whatever they read."""
    boundless = {name for name, each in QUANTITIES.items() if math.isinf(each.low) and math.isinf(each.high)}

    assert set(HEALTHY) - {"slot_4"} == set(QUANTITIES) - boundless
    assert boundless == {"keyed_a", "before_off", "coil_held", "coil_kick_v", "run_charged"}
