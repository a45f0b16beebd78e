"""From one finding to its verdict, its margin and the score: each rule by hand, from both sides."""

import math
from dataclasses import dataclass
from typing import Any

import pytest

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated, UncertaintyParts
from benchlog.core.uncertainty import Z_PROVEN
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import plan_from_mapping
from benchlog.verdict.added import added_of
from benchlog.verdict.checks import judge, overall, score
from benchlog.verdict.registry.table import check_of
from benchlog.verdict.result import Check

MAX, MIN = PlannedLimit(None, 1.0, "given", "k"), PlannedLimit(1.0, None, "given", "k")
BOTH = PlannedLimit(1.0, 2.0, "given", "k")


def verdict(check_id: str, limit: PlannedLimit | None, value: float | None, u: float | None = 0.1, **more: Any) -> str:
    """What one figure proves."""
    return check_of(check_id).kind.verdict(Measured(value, u, 0.0, 1.0, **more), limit)


@pytest.mark.parametrize(
    ("limit", "interval", "expected"),
    [
        (MAX, (0.2, 1.0), "pass"), (MAX, (0.2, 1.01), "not proven"), (MAX, (1.01, 1.2), "fail"),
        (MIN, (1.0, 1.2), "pass"), (MIN, (0.99, 1.2), "not proven"), (MIN, (0.8, 0.99), "fail"),
        (BOTH, (1.0, 2.0), "pass"), (BOTH, (0.5, 2.5), "not proven"), (BOTH, (0.5, 0.9), "fail"),
        (BOTH, (2.1, 2.5), "fail"), (BOTH, (0.5, 1.5), "not proven"), (BOTH, (1.5, 2.5), "not proven"),
    ],
)  # fmt: skip
def test_an_interval_proves_at_both_its_ends(limit: PlannedLimit, interval: tuple[float, float], expected: str):
    """Anywhere between them is as possible, whatever its middle and its uncertainty say."""
    assert verdict("charging_voltage", limit, 1.5, 9.0, interval=interval) == expected


@pytest.mark.parametrize(
    ("value", "offset", "u", "expected"),
    [
        (1.35, 0.3, 0.3 / math.sqrt(3), "fail"),
        (1.29, 0.3, 0.3 / math.sqrt(3), "not proven"),
        (1.3 + 0.01 + Z_PROVEN * 0.1, 0.3, math.hypot(0.3 / math.sqrt(3), 0.1), "fail"),
        (1.3 - 0.01 + Z_PROVEN * 0.1, 0.3, math.hypot(0.3 / math.sqrt(3), 0.1), "not proven"),
        (1.35, 0.3, 0.05, "fail"),
        (1.35, None, 0.2, "fail"),
        (0.5, 0.3, 0.3 / math.sqrt(3), "pass"),
    ],
)
def test_an_unknown_zero_accuses_nobody_from_its_worst(value: float, offset: float | None, u: float, expected: str):
    """Less the whole of its limits, 0.3, the figure must still be beyond 1 by what else is in doubt."""
    assert verdict("feed_off_voltage", MAX, value, u, offset_limit=offset) == expected


def test_an_unknown_zero_beside_no_other_doubt_and_beside_a_figure_of_zero():
    """What is left of an uncertainty smaller than its zero's is none; 0 is a figure like others."""
    below = PlannedLimit(None, -0.2, "given", "k")

    assert verdict("feed_off_voltage", MAX, 1.35, 0.0, offset_limit=0.3) == "fail"
    assert verdict("feed_off_voltage", below, 0.0, 0.01, offset_limit=0.3) == "not proven"
    assert verdict("feed_off_voltage", below, 0.0, 0.01, offset_limit=0.1) == "fail"


def test_figures_of_zero_and_figures_that_are_sure():
    """Zero is a value, and no uncertainty is one too."""
    tight = PlannedLimit(None, 0.5, "given", "k")

    assert verdict("feed_drop", tight, 0.0) == "pass"
    assert verdict("feed_drop", tight, 0.4, 0.0) == "pass"
    assert verdict("feed_drop", tight, 0.4, 0.1) == "not proven"
    assert verdict("feed_drop", tight, 0.6, 0.0) == "fail"
    assert verdict("feed_drop", tight, 0.0, one_sided="slow") == "not proven"
    assert verdict("feed_drop", tight, 0.9, one_sided="slow") == "fail"
    assert verdict("feed_drop", PlannedLimit(0.5, 1.0, "given", "k"), 0.0) == "fail"
    assert verdict("off_state_drain", tight, 0.0, 0.0) == "pass"
    assert verdict("off_state_drain", tight, -0.1, 0.0) == "pass"


@pytest.mark.parametrize(("value", "expected"), [(0.0, "pass"), (0.19, "pass"), (0.21, "fail")])
def test_a_loss_counts_beyond_twice_its_uncertainty(value: float, expected: str):
    """0.2 s at 0.1 s: none where the feed must hold, one where it must drop, nothing where samples could miss it."""
    hold, drop = PlannedLimit(None, 0.0, "given", "k"), PlannedLimit(0.0, None, "given", "k")
    other = {"pass": "fail", "fail": "pass"}[expected]

    assert verdict("feed_in_crank", hold, value) == expected
    assert verdict("feed_in_crank", drop, value) == other
    assert verdict("feed_in_crank", hold, value, one_sided="slow") == ("fail" if value > 0.2 else "not proven")
    assert verdict("feed_in_crank", drop, value, one_sided="slow") == ("pass" if value > 0.2 else "not proven")
    assert verdict("feed_in_crank", hold, 0.5, 0.0) == "fail"


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (0.5, 0.1, "pass"),
        (-0.05, 0.1, "pass"),
        (-0.5, 0.55, "pass"),
        (0.05, 0.55, "not proven"),
        (-3.0, 1.3, "not proven"),
    ],
)
def test_a_drain_near_or_below_zero_must_conform_among_what_can_be(value: float, u: float, expected: str):
    """-3 ± 2.6 mA conforms to at most 1 mA, but of what is not below zero 10 % lie above it; of -0.5 ± 1.1 mA 2 %."""
    assert verdict("off_state_drain", MAX, value, u) == expected
    assert verdict("feed_off_voltage", MAX, value, u) == "pass"


def test_what_proves_nothing_whatever_its_figure():
    """No limit, no finding, a doubt, no value, no accuracy; a failure without a figure is one all the same."""
    kind = check_of("feed_drop").kind

    assert verdict("feed_drop", None, 0.5, failed="x") == "not planned"
    assert kind.verdict(NotEvaluated("x"), None) == "not planned"
    assert kind.verdict(NotEvaluated("x"), MAX) == "not seen"
    assert verdict("feed_drop", MAX, 0.5, disqualified="x") == "not proven"
    assert verdict("feed_drop", MAX, None) == verdict("feed_drop", MAX, 0.5, None) == "not proven"
    assert verdict("feed_drop", MAX, None, None, failed="x") == "fail"
    assert verdict("feed_drop", PlannedLimit(2.0, 1.0, "given", "k"), 1.5, 9.0) == "fail"


PLAN = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}
LIMITS = {"charging_min_v": 13.5, "charging_max_v": 14.8, "charging_balance_min_a": -0.5, "settle_max_s": 0}


def judged(check_id: str, finding: Finding, **limits: float) -> Check:
    """One check of a plan with some limits, from one log."""
    plan = plan_from_mapping({**PLAN, "limits": {**LIMITS, **limits}})
    return next(each for each in judge(plan, [("a.csv", {check_id: finding})]) if each.id == check_id)


@pytest.mark.parametrize(
    ("check_id", "value", "margin"),
    [
        ("charging_voltage", 14.208, 4.0), ("charging_voltage", 13.635, 1.0), ("charging_voltage", 12.825, -5.0),
        ("charging_voltage", 15.54, -5.0), ("charging_balance", 0.0, 100.0), ("charging_balance", -0.6, -20.0),
        ("settle_time", 3.0, None), ("battery_sag", 3.0, None),
    ],
)  # fmt: skip
def test_margin_is_the_distance_to_the_nearer_limit(check_id: str, value: float, margin: float | None):
    """In per cent of that limit, negative outside; none where it is zero or not planned."""
    assert judged(check_id, Measured(value, 0.01, 2.0, 5.0)).margin_pct == (
        None if margin is None else pytest.approx(margin)
    )


def test_a_window_that_begins_at_zero_has_no_margin():
    """A circuit that may draw nothing, or twice what is planned."""
    circuit = {"slot": 1, "device": "horn", "planned_a": 3.0, "tolerance_pct": 100}
    plan = plan_from_mapping({**PLAN, "circuit": [circuit]})
    found = judge(plan, [("a.csv", {"slot_1_current": Measured(2.0, 0.01, 2.0, 5.0)})])

    assert next((each.verdict, each.margin_pct) for each in found if each.id == "slot_1_current") == ("pass", None)


def test_what_a_check_keeps_of_its_finding():
    """Value, k = 2, log and stretch; no bound where samples may have missed it, no time where it has none."""
    plain = judged("charging_voltage", Measured(14.0, 0.01, 2.0, 5.0))
    missed = judged("charging_voltage", Measured(14.0, 0.01, 2.0, 5.0, one_sided="slow"))
    vague = judged("charging_voltage", Measured(14.0, math.inf, math.nan, 5.0))
    never = judged("charging_voltage", Measured(None, 0.01, 2.0, 5.0, failed="never"))
    unseen = judged("charging_voltage", NotEvaluated("no engine"))

    assert (plain.measured, plain.uncertainty, plain.log, plain.from_s, plain.to_s) == (14.0, 0.02, "a.csv", 2.0, 5.0)
    assert (missed.measured, missed.uncertainty, missed.verdict) == (14.0, None, "not proven")
    assert (vague.uncertainty, vague.from_s, vague.to_s, vague.log) == (None, None, None, "a.csv")
    assert (never.measured, never.uncertainty, never.margin_pct, never.verdict) == (None, None, None, "fail")
    assert (unseen.measured, unseen.log, unseen.verdict, unseen.because) == (None, None, "not seen", "No engine.")
    assert unseen.limit is not None
    assert (unseen.limit.min, unseen.limit.max) == (13.5, 14.8)


def test_a_fuse_of_the_plan_is_of_no_log():
    """No uncertainty, no stretch, no log."""
    plan = plan_from_mapping({**PLAN, "feed": {"fuse_a": 20, "conductor": "4 mm2"}})
    (fuse,) = (each for each in judge(plan, [("a.csv", {})]) if each.id == "feed_fuse")

    assert (fuse.measured, fuse.uncertainty, fuse.log, fuse.from_s, fuse.verdict) == (20.0, None, None, None, "pass")


def check(verdict: str, margin: float | None = None, name: str = "feed_drop") -> Check:
    """A judged check."""
    return Check(id=name, title="t", verdict=verdict, unit="V", because="b", margin_pct=margin)


def test_score_counts_and_names_the_closest():
    """Two of three planned checks are 66.7 %; the smallest margin of a planned check counts, 0 too."""
    found = score(
        [
            *(check("pass", 0.5), check("pass", 0.0, "ground_lift"), check("not proven", 3.0, "battery_sag")),
            check("not planned", -5.0, "settle_time"),
        ]
    )

    assert (found.passed, found.fail, found.not_proven, found.not_seen, found.not_planned) == (2, 0, 1, 0, 1)
    assert (found.percent, found.closest) == (66.7, "ground_lift")
    assert score([check("fail", -3.0), check("not seen")]).closest == "feed_drop"
    assert score([check("fail"), check("not seen")]).percent == 0.0
    assert (score([check("not planned")]).percent, score([check("not planned")]).closest) == (None, None)


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        (("pass", "not planned"), "pass"),
        (("pass", "fail", "not proven"), "fail"),
        (("pass", "not proven"), "not proven"),
        (("pass", "not seen"), "not proven"),
        (("not planned",), "not proven"),
        ((), "not proven"),
    ],
)
def test_the_whole_is_as_good_as_its_worst(verdicts: tuple[str, ...], expected: str):
    """A plan without any limit proves nothing."""
    assert overall([check(each) for each in verdicts]) == expected


@dataclass
class Shows:
    """A log from before the install."""

    drain: Finding


def test_added_drain_is_a_difference_with_both_doubts():
    """1.5 ± 0.2 mA now, between 0.8 and 1.2 before: 0.5, from 0.1 to 0.9."""
    parts = UncertaintyParts(0.1, 60.0, 0.0, 0.0, 0.0)
    now = Measured(1.5, 0.1, 0.0, 9.0, parts=parts, offset_limit=0.3)
    added = added_of(now, Shows(Measured(1.0, 0.2, 0.0, 9.0, interval=(0.8, 1.2))))

    assert isinstance(added, Measured)
    assert (added.value, added.u) == (0.5, pytest.approx(math.hypot(0.1, 0.2)))
    assert added.interval == pytest.approx((0.1, 0.9))
    assert (added.parts, added.offset_limit, added.disqualified, added.one_sided) == (None, None, None, None)
    assert added.story == "1.5 mA now, 1 mA before the install"


@pytest.mark.parametrize("which", ["now", "before"])
@pytest.mark.parametrize("key", ["disqualified", "one_sided"])
def test_what_spoils_either_drain_spoils_the_difference(which: str, key: str):
    """A doubt of one, or a pass that one cannot prove, is a doubt of what was added; no value or accuracy is none."""
    sound = Measured(1.5, 0.1, 0.0, 9.0)
    spoilt = Measured(1.5, 0.1, 0.0, 9.0, **{key: "odd"})
    pair = (spoilt, sound) if which == "now" else (sound, spoilt)

    added = added_of(pair[0], Shows(pair[1]))
    assert isinstance(added, Measured)
    assert (added.disqualified, added.one_sided) == ("odd", None)


def test_added_drain_needs_both():
    """Without a log from before, or a figure in either, there is none; without an accuracy its ends are the figures."""
    sound, bare, none = (Measured(value, u, 0.0, 9.0) for value, u in ((0.0, 0.1), (0.0, None), (None, None)))

    assert added_of(sound, None) == NotEvaluated("no log from before the install was given")
    lacking = added_of(sound, Shows(NotEvaluated("no key-off")))
    assert lacking == NotEvaluated("what was given from before the install does not give a drain: no key-off")
    assert added_of(NotEvaluated("no key-off"), Shows(sound)) == NotEvaluated("no key-off")
    for pair in ((sound, none), (none, sound)):
        assert added_of(pair[0], Shows(pair[1])) == NotEvaluated("one of the two shows no drain")
    less = added_of(sound, Shows(Measured(1.0, 0.1, 0.0, 9.0)))
    assert isinstance(less, Measured)
    assert (less.value, less.interval) == (-1.0, pytest.approx((-1.4, -0.6)))
    for pair in ((sound, bare), (bare, sound)):
        added = added_of(pair[0], Shows(pair[1]))
        assert isinstance(added, Measured)
        assert (added.u, added.interval) == (None, pytest.approx((-0.2, 0.2)))
