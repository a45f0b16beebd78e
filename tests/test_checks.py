"""From findings to verdicts, limits and score."""

import math
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scenarios import EVERY_LIMIT

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.verdict.checks import judge, overall, score
from benchlog.verdict.registry.table import CHECKS, check_of, is_fuse_check
from benchlog.verdict.registry.table import checks_of as planned_checks
from benchlog.verdict.result import Check

FULL: dict[str, object] = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "feed": {"drop_max_v": 0.3},
    "ground": {"lift_max_v": 0.1},
    "circuit": [
        {"slot": 7, "device": "horn", "planned_a": 3.0, "fuse_a": 5},
        {"slot": 2, "device": "lamp", "planned_a": 1.0},
    ],
    "limits": EVERY_LIMIT,
}


def plan_with(**limits: object) -> Plan:
    """The full plan, some of its limits changed."""
    return plan_from_mapping({**FULL, "limits": {**FULL["limits"], **limits}})  # type: ignore[dict-item]  # a mapping


def found(value: float | None, u: float | None = 0.0, **more: object) -> Measured:
    """A measured value on one stretch."""
    return Measured(value, u, 1.0, 2.0, **more)  # type: ignore[arg-type]  # the caller names fields of Measured


def at_most(high: float) -> PlannedLimit:
    """A given upper limit."""
    return PlannedLimit(None, high, "given", "limits.it")


def one(check_id: str, *findings: tuple[str, Finding], plan: Plan | None = None) -> Check:
    """One check of the full plan from the findings of several logs."""
    checks = judge(plan or plan_with(), [(log, {check_id: finding}) for log, finding in findings])
    return next(check for check in checks if check.id == check_id)


# ---- the table


def test_ids_are_those_that_other_programs_know():
    """The ids of a result, in order; slot_N_current stands for each planned slot."""
    assert [spec.id for spec in CHECKS] == [
        *("feed_fuse", "slot_N_fuse"),
        *("off_state_drain", "added_drain", "settle_time", "feed_off_voltage"),
        *("relay_pull_in", "relay_drop_out", "relay_chatter"),
        *("battery_sag", "feed_drop", "ground_lift", "slot_N_current"),
        *("resting_voltage", "source_resistance", "crank_minimum", "feed_in_crank"),
        *("charging_voltage", "charging_balance"),
    ]


def test_units_are_fixed():
    """Each check has one unit for all its figures."""
    units = {spec.id: spec.unit for spec in CHECKS}

    assert [name for name, unit in units.items() if unit == "mA"] == ["off_state_drain", "added_drain"]
    assert [name for name, unit in units.items() if unit == "ms"] == ["relay_pull_in", "relay_drop_out"]
    assert [name for name, unit in units.items() if unit == "s"] == ["settle_time", "feed_in_crank"]
    assert [name for name, unit in units.items() if unit == "A"] == [
        *("feed_fuse", "slot_N_fuse"),
        *("slot_N_current", "charging_balance"),
    ]
    assert units["relay_chatter"] == "1"
    assert units["source_resistance"] == "mΩ"


def test_each_planned_slot_has_its_own_check():
    """Slots come in their order, each named with its device."""
    slots = [spec for spec in planned_checks(plan_with()) if spec.id.startswith("slot_")]

    assert [spec.id for spec in slots] == ["slot_2_fuse", "slot_7_fuse", "slot_2_current", "slot_7_current"]
    assert slots[1].title == "Slot 7 fuse (horn)"
    assert slots[3].title == "Slot 7 current (horn)"


# ---- one verdict


# 1.645 is the one-sided 95 % point of the normal distribution (JCGM 106:2012, table 1)
@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (0.9, 0.0, "pass"),
        (1.0, 0.0, "pass"),  # a sure value on its limit conforms
        (1.1, 0.0, "fail"),
        (0.83, 0.1, "pass"),  # 1.7 u inside
        (0.84, 0.1, "not proven"),  # 1.6 u inside
        (1.16, 0.1, "not proven"),
        (1.17, 0.1, "fail"),
        (0.0, math.inf, "not proven"),
    ],
)
def test_verdict_follows_the_probability_of_conforming(value: float, u: float, expected: str):
    """Pass at 95 % probability of conforming, fail at 5 % (JCGM 106:2012, 7; normal distribution)."""
    assert check_of("feed_drop").kind.verdict(found(value, u), at_most(1.0)) == expected


@pytest.mark.parametrize(
    ("finding", "limit", "expected"),
    [
        (found(0.1), None, "not planned"),
        (NotEvaluated("it is not there"), None, "not planned"),
        (NotEvaluated("it is not there"), at_most(1.0), "not seen"),
        (found(0.1, None), at_most(1.0), "not proven"),  # accuracy not stated
        (found(9.9, None), at_most(1.0), "not proven"),
        (found(0.1, disqualified="over range"), at_most(1.0), "not proven"),
        (found(9.9, disqualified="over range"), at_most(1.0), "not proven"),
        (found(0.1, one_sided="too slow"), at_most(1.0), "not proven"),
        (found(9.9, one_sided="too slow"), at_most(1.0), "fail"),
        (found(None, None, failed="it never opened"), at_most(1.0), "fail"),
        (found(None, None), at_most(1.0), "not proven"),
    ],
)
def test_verdict_of_what_is_no_plain_figure(finding: Finding, limit: PlannedLimit | None, expected: str):
    """No limit, nothing seen, no accuracy, a doubt, a log that can only prove failure, a thing that never happened."""
    assert check_of("feed_drop").kind.verdict(finding, limit) == expected


@pytest.mark.parametrize(
    ("word", "lost_s", "expected"),
    [
        *(("hold", 0.0, "pass"), ("hold", 0.0005, "pass")),  # within its uncertainty of 2 ms
        ("hold", 0.5, "fail"),
        *(("drop", 0.0, "fail"), ("drop", 0.0005, "fail")),
        ("drop", 0.5, "pass"),
        *(("any", 0.0, "not planned"), ("any", 0.5, "not planned")),
    ],
)
def test_feed_in_crank_may_hold_or_drop(word: str, lost_s: float, expected: str):
    """Hold wants no loss beyond its uncertainty, drop wants one, and any wants nothing."""
    check = one("feed_in_crank", ("a", found(lost_s, 0.001)), plan=plan_with(feed_in_crank=word))

    assert check.verdict == expected


@given(
    value=st.floats(-1e3, 1e3),
    u=st.floats(1e-6, 1e3),
    high=st.floats(-1e3, 1e3),
    further=st.floats(0, 1e3),
)
def test_further_inside_is_never_worse(value: float, u: float, high: float, further: float):
    """Moving a value away from its limit, inwards, never turns a pass into something else, nor adds a fail."""
    order = ["fail", "not proven", "pass"]
    near, far = (check_of("feed_drop").kind.verdict(found(x, u), at_most(high)) for x in (value, value - further))

    assert order.index(far) >= order.index(near)


@given(value=st.floats(-1e3, 1e3), u=st.floats(1e-6, 1e3), high=st.floats(-1e3, 1e3), scale=st.floats(1e-3, 1e3))
def test_unit_does_not_matter(value: float, u: float, high: float, scale: float):
    """The same value, uncertainty and limit in another unit give the same verdict, at the edge of proof apart."""
    z = (high - value) / u
    if min(abs(z - 1.64485), abs(z + 1.64485)) < 1e-6:
        return
    plain = check_of("feed_drop").kind.verdict(found(value, u), at_most(high))

    assert check_of("feed_drop").kind.verdict(found(value * scale, u * scale), at_most(high * scale)) == plain


# ---- several logs


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (found(0.1, 0.01), NotEvaluated("not there")),
        (found(0.1, 0.01), found(0.1, 0.5)),  # pass before not proven
        (found(0.1, 0.01), found(0.1, 0.02)),  # the surer figure
        (found(0.9, 0.01), found(0.1, 0.01)),  # a failure before a pass
        (found(0.9, 0.1), found(0.1, 0.01)),
        (found(0.1, 0.5), NotEvaluated("not there")),
        (found(0.1, 0.5), found(0.1, None)),
        (found(None, None, failed="never"), found(0.1, 0.01)),
    ],
)
def test_each_check_comes_from_the_log_that_proves_most(better: Finding, worse: Finding, order: int):
    """A failure, then a pass, then a doubt, then nothing; the surer before the other; whatever the logs' order."""
    check = one("feed_drop", *[("good.csv", better), ("bad.csv", worse)][::order])

    assert check.log == "good.csv"


@pytest.mark.parametrize("check_id", ["off_state_drain", "added_drain"])
def test_of_several_proven_drains_the_worst_is_shown(check_id: str):
    """The drain is that of the worst stretch: of logs that all prove it the largest, though another is surer."""
    sure, large = found(0.05, 0.001), found(0.1, 0.01)

    assert one(check_id, ("sure", sure), ("large", large)).log == "large"
    assert one(check_id, ("large", large), ("sure", sure)).log == "large"


def test_proven_drain_failure_comes_before_a_pass():
    """One night that fails is not outdone by one that passes, however large."""
    check = one("off_state_drain", ("good", found(0.6, 0.001)), ("bad", found(2.0, 0.1)), ("open", found(1.0, 0.5)))

    assert check.log == "bad"


@pytest.mark.parametrize(("value", "u"), [(3.9, 0.01), (4.4, 0.5), (5.0, 0.01)])
def test_contradicting_slot_limits_fail_and_say_so(value: float, u: float):
    """6 A planned on a 5 A fuse: at least 4.8 A and at most 4 A, so nothing conforms, and the sentence says why."""
    plan = plan_from_mapping({**FULL, "circuit": [{"slot": 2, "device": "lamp", "planned_a": 6.0, "fuse_a": 5}]})

    check = one("slot_2_current", ("a", found(value, u)), plan=plan)

    assert check.verdict == "fail"
    assert "no current can meet the plan: at least 4.8 A as planned, and at most 4 A" in check.because


def test_limits_that_meet_in_one_point_are_not_impossible():
    """3.3 A less a fifth is just 80 % of a 3.3 A fuse: rounding of the last bit makes no contradiction."""
    assert not PlannedLimit(3.3 * 80 / 100 + 1e-15, 0.8 * 3.3, "derived", "").impossible


def test_unseen_check_names_no_log():
    """What no log shows has no log, no figure and no stretch."""
    check = one("feed_drop", ("a", NotEvaluated("no load flowed")), ("b", NotEvaluated("no load flowed")))

    assert (check.log, check.measured, check.uncertainty, check.from_s) == (None, None, None, None)
    assert (check.verdict, check.because) == ("not seen", "No load flowed.")


def test_unplanned_check_is_measured_all_the_same():
    """Without a limit the figure is still given, from the log that shows it."""
    bare = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}})

    check = one("crank_minimum", ("a", NotEvaluated("no crank")), ("b", found(10.1, 0.1)), plan=bare)

    assert (check.verdict, check.measured, check.log, check.limit) == ("not planned", 10.1, "b", None)


# ---- what stands in a check


def test_uncertainty_is_expanded():
    """The uncertainty of a result is twice the standard uncertainty (k = 2; JCGM 100:2008, 6.2)."""
    assert one("feed_drop", ("a", found(0.1, 0.01))).uncertainty == pytest.approx(0.02)


@pytest.mark.parametrize("finding", [found(0.1, None), found(None, None, failed="never"), found(0, 0.1, one_sided="x")])
def test_unbounded_uncertainty_is_null(finding: Measured):
    """No accuracy, no bound, no value: no figure of uncertainty."""
    assert one("feed_drop", ("a", finding)).uncertainty is None


@pytest.mark.parametrize(
    ("check_id", "value", "margin"),
    [
        ("off_state_drain", 0.84, 16.0),
        ("off_state_drain", 1.5, -50.0),
        ("crank_minimum", 10.56, 10.0),
        ("charging_voltage", 14.06, 100 * 0.56 / 13.5),  # nearer to 13.5 of 13.5 to 14.8
        ("charging_voltage", 14.652, 1.0),
        ("charging_balance", 1.0, None),  # no share of a limit of zero
        ("relay_chatter", 0.0, None),
    ],
)
def test_margin_is_the_distance_in_per_cent_of_the_limit(check_id: str, value: float, margin: float | None):
    """Positive inside, negative outside, to the nearer of two limits; null for a limit of zero."""
    check = one(check_id, ("a", found(value, 0.001)))

    assert check.margin_pct == (None if margin is None else pytest.approx(margin))


def test_slot_is_limited_by_tolerance_and_fuse():
    """Slot 7: 3 A ± 20 % on 5 A, at most 80 % of it; slot 2 has no fuse (80 %: common practice, no source)."""
    checks = {check.id: check for check in judge(plan_with(), [("a", {})])}
    seven, two = checks["slot_7_current"].limit, checks["slot_2_current"].limit

    assert seven is not None
    assert two is not None
    assert [seven.min, seven.max] == pytest.approx([2.4, 3.6])
    assert [two.min, two.max] == pytest.approx([0.8, 1.2])
    assert checks["slot_7_current"].planned == 3.0


# ---- all checks together


def checks_of(*verdicts: str, margins: Mapping[int, float] | None = None) -> list[Check]:
    """Checks with these verdicts."""
    return [
        Check.model_validate(
            {
                "id": f"check_{number}",
                "title": "A check",
                "verdict": word,
                "unit": "V",
                "margin_pct": (margins or {}).get(number),
                "because": "So it is.",
            }
        )
        for number, word in enumerate(verdicts)
    ]


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        (("pass", "pass"), "pass"),
        (("pass", "not planned"), "pass"),
        (("pass", "not seen"), "not proven"),
        (("pass", "not proven"), "not proven"),
        (("fail", "not proven", "not seen", "pass"), "fail"),
        (("fail", "not planned"), "fail"),
        (("not planned", "not planned"), "not proven"),  # nothing judged is nothing proven
    ],
)
def test_overall_verdict(verdicts: tuple[str, ...], expected: str):
    """Fail if any check fails; else not proven if any planned check is open; else pass."""
    assert overall(checks_of(*verdicts)) == expected


def test_score_counts_each_verdict():
    """Per cent is passed of planned; the closest is the smallest margin, failures included."""
    given_checks = checks_of(
        *("pass", "pass", "fail", "not proven", "not seen", "not planned"),
        margins={0: 30.0, 1: 5.0, 2: -20.0, 5: -90.0},
    )

    counted = score(given_checks)

    assert (counted.passed, counted.fail, counted.not_proven, counted.not_seen, counted.not_planned) == (2, 1, 1, 1, 1)
    assert counted.percent == 40.0
    assert counted.closest == "check_2"


def test_score_of_nothing_planned():
    """No share of nothing."""
    counted = score(checks_of("not planned"))

    assert (counted.percent, counted.closest) == (None, None)


def test_every_check_stands_once_whatever_was_found():
    """A log that shows nothing still gives every check, each with its reason."""
    checks = judge(plan_with(), [("a", {})])

    assert [check.id for check in checks] == [check.id for check in planned_checks(plan_with())]
    # what the plan says of its own fuses needs no log, and here it gives no wire
    assert {check.verdict for check in checks if not is_fuse_check(check.id)} == {"not seen"}
    assert {check.verdict for check in checks if is_fuse_check(check.id)} == {"not planned"}
    assert all(check.because for check in checks)


def test_infinite_uncertainty_is_null_and_said():
    """A finding without bound on its uncertainty has no figure of it, is not proven and says so plainly."""
    check = one("feed_drop", ("a", found(0.1, math.inf)))

    assert (check.verdict, check.uncertainty) == ("not proven", None)
    assert "inf" not in check.because
    assert "right at the limit" not in check.because


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        # below 1 mA, of what lies above zero (normal table):
        (0.2, 0.48, "not proven"),  # (0.9522 - 0.3385) / 0.6615 = 0.928, where the plain normal gives 0.952
        (0.2, 0.40, "pass"),  # (0.9772 - 0.3085) / 0.6915 = 0.967
        (0.5, 0.0, "pass"),
        (0.5, 0.9, "not proven"),
    ],
)
def test_drain_passes_only_as_one_that_is_never_negative(value: float, u: float, expected: str):
    """What the uncertainty lays below zero proves nothing (prior knowledge, JCGM 106:2012, 6.2)."""
    assert check_of("off_state_drain").kind.verdict(found(value, u), at_most(1.0)) == expected


def test_feed_that_a_slow_log_did_not_see_drop_is_not_proven():
    """No loss seen between samples too far apart proves neither that the feed holds nor that it drops."""
    slow = found(0.0, 0.5, one_sided="too slow")

    for limit in (PlannedLimit(None, 0.0, "given", "hold"), PlannedLimit(0.0, None, "given", "drop")):
        assert check_of("feed_in_crank").kind.verdict(slow, limit) == "not proven"


def test_check_names_its_stretch():
    """Log, start and end of the stretch behind a figure stand in the check."""
    check = one("battery_sag", ("a.csv", found(0.2, 0.01)))

    assert (check.log, check.from_s, check.to_s) == ("a.csv", 1.0, 2.0)


def test_percent_has_one_decimal():
    """Two of three planned checks passed are 66.7 per cent."""
    checks = [one("battery_sag", ("a.csv", found(value, 0.01))) for value in (0.1, 0.1, 5.0)]

    assert score(checks).percent == 66.7
