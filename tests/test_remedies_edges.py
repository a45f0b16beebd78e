"""What would prove an open check, worked out by hand: how long, how fine, how fast, and where nothing does."""

import math
from dataclasses import replace
from typing import Any

import pytest

from benchlog.analysis.measurement import Measured, UncertaintyParts
from benchlog.core.uncertainty import Z_PROVEN
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.table import check_of
from benchlog.verdict.remedies import INSIDE, ZERO_S, proven_without_reason, what_would_prove

MAX, MIN = PlannedLimit(None, 1.0, "given", "k"), PlannedLimit(1.0, None, "given", "k")
#: A value that is proven below 1 from an uncertainty of 0.1 on.
NEEDS_0_1 = 1.0 - Z_PROVEN * 0.1
ZERO = f"a zero of {ZERO_S:.0f} s at the start"


def parts(type_a: float, gain: float = 0.0, offset: float = 0.0, watched_s: float = 600.0, **more: Any):
    """What an uncertainty is made of."""
    return UncertaintyParts(type_a, watched_s, offset, gain, 0.0, **more)


def way(made_of: UncertaintyParts, check_id: str = "battery_sag", value: float = NEEDS_0_1) -> str:
    """The clause without its frame."""
    found = Measured(value, made_of.u, 0.0, 1.0, parts=made_of)
    text = what_would_prove(check_of(check_id).kind, found, MAX)
    return text.removeprefix(f"{INSIDE}; ").removesuffix(" would prove it")


def watching(more_s: float, watched_s: float = 600.0, **more: Any) -> UncertaintyParts:
    """A scatter that falls to 0.08 after so much more; with a gain of 0.06 that is 0.1."""
    return parts(0.08 * math.sqrt((watched_s + more_s) / watched_s), 0.06, watched_s=watched_s, **more)


@pytest.mark.parametrize(
    ("more_s", "said"),
    [
        (5, "10 s"), (12, "20 s"), (113, "120 s"), (121, "3 minutes"), (130, "3 minutes"), (200, "4 minutes"),
        (1799, "30 minutes"), (1801, "40 minutes"), (6500, "110 minutes"), (6700, "2 hours"), (7300, "3 hours"),
    ],
)  # fmt: skip
def test_time_that_suffices_is_rounded_up_as_it_is_spoken_of(more_s: float, said: str):
    """To 10 s up to two minutes, to minutes up to half an hour, to ten of them up to two hours, then to hours."""
    assert way(watching(more_s)) == f"about {said} more"
    assert way(watching(more_s), "feed_off_voltage") == f"about {said} more with the key off"


def test_nobody_watches_longer_than_a_day_nor_than_the_figure_uses():
    """An hour and 22.4 more make a day once rounded, 23.1 more do not; 2160 s are too many where 2000 are used."""
    assert way(watching(22.4 * 3600, 3600.0)) == "about 23 hours more"
    assert way(watching(23.1 * 3600, 3600.0)) == "only what measures to ± 0.2 V in all, noise included,"
    assert way(watching(1490)) == "about 25 minutes more"
    assert way(watching(1490, most_s=2100.0)) == "about 25 minutes more"
    assert way(watching(1490, most_s=2000.0)).startswith("only what measures to")


def test_a_zero_alone_comes_first_then_one_with_time():
    """An offset of 0.3: 20 s of zero leave the scatter of 20 s; beside a scatter of 0.09 that takes 70 s more."""
    alone, with_time = parts(0.05, offset=0.3, watched_s=20.0), parts(0.09, offset=0.3, watched_s=20.0)

    assert way(replace(alone, zeroable=True)) == ZERO
    assert way(replace(with_time, zeroable=True)) == f"{ZERO} and about 70 s more"
    assert way(replace(with_time, zeroable=True), "feed_off_voltage") == f"{ZERO} and about 70 s more with the key off"
    long = parts(0.03, offset=0.3, zeroable=True)  # whose 20 s scatter by 0.03 · √30
    assert way(long) == "a logger good to ± 0.19 V there (this one: ± 0.6 V, mostly its offset)"
    assert way(alone) == "a logger good to ± 0.173 V there (this one: ± 0.6 V, mostly its offset)"
    assert (
        way(with_time) == "about 20 s more and a logger good to ± 0.141 V there (this one: ± 0.6 V, mostly its offset)"
    )


@pytest.mark.parametrize(
    ("type_a", "said"),
    [
        (0.086, "a logger good to ± 0.102 V there"),
        (0.087, "about 6 minutes more and a logger good to ± 0.141 V there"),
    ],
)
def test_a_finer_logger_alone_while_it_needs_no_less_than_half(type_a: float, said: str):
    """A scatter of 0.0866 leaves half of 0.1 for the channel; beyond it each takes the root of a half."""
    assert way(parts(type_a, gain=0.3)) == f"{said} (this one: ± 0.6 V, mostly its gain)"


def test_where_no_time_is_left_a_much_finer_logger_or_nothing():
    """A scatter of 0.09 leaves 0.0436 for the channel, one of 0.0999 leaves 0.0045, a 70th of what it is."""
    assert way(parts(0.09, gain=0.3, most_s=600.0)).startswith("a logger good to ± 0.0871 V there")
    assert way(parts(0.0999, gain=0.3, most_s=600.0)).startswith("only what measures to ± 0.2 V")


@pytest.mark.parametrize(("off", "offered"), [(1.019, True), (1.03, False), (0.97, False)])
def test_parts_count_where_they_make_up_the_uncertainty(off: float, offered: bool):
    """Within 2 %; where something else is in it too, what they are helps nobody."""
    made_of = watching(1490)
    found = Measured(NEEDS_0_1, made_of.u * off, 0.0, 1.0, parts=made_of)

    assert ("more would prove it" in what_would_prove(check_of("battery_sag").kind, found, MAX)) is offered


RATES = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)


@pytest.mark.parametrize("rate", RATES)
def test_rate_that_suffices_for_a_relays_time(rate: int):
    """Two ends, each within ± one sample, have u = step · √(2/3): a hair more than that needs no faster log."""
    step_ms = 1000 / rate
    faster = [hz for hz in RATES if hz > rate]

    def said(u_ms: float) -> str:
        found = Measured(30.0 - Z_PROVEN * u_ms, 3 * u_ms, 0.0, 1.0)
        limit = PlannedLimit(None, 30.0, "given", "k")
        return what_would_prove(check_of("relay_pull_in").kind, found, limit)

    assert (
        said(1.001 * step_ms * math.sqrt(2 / 3)) == f"{INSIDE}; a log at {rate} samples a second or more would prove it"
    )
    beyond = f"{INSIDE}; a log at {faster[0]} samples a second or more would prove it" if faster else None
    nothing = "it lies right at the limit, closer than a logger's samples can tell"
    assert said(0.999 * step_ms * math.sqrt(2 / 3)) == (beyond or nothing)


@pytest.mark.parametrize(
    ("value", "interval", "limit"),
    [(0.9, (0.8, 1.2), MAX), (1.1, (0.8, 1.2), MIN), (0.0, (-0.4, 0.3), PlannedLimit(None, 0.1, "given", "k"))],
)
def test_interval_shrinks_about_its_value(value: float, interval: tuple[float, float], limit: PlannedLimit):
    """0.1 within the limit, and an end 0.3 away on its side: a third of the uncertainty proves it."""
    u = 0.2 / math.sqrt(3)
    found = Measured(value, u, 0.0, 1.0, interval=interval)

    assert "measures to ± 0.0769 V" in what_would_prove(check_of("feed_off_voltage").kind, found, limit)


def test_limits_of_an_unknown_zero_shrink_too():
    """1.3 ± 0.3 of zero alone, u 0.3/√3, over a limit of 1.2: from a third on it fails wherever its zero lies."""
    found = Measured(1.3, 0.3 / math.sqrt(3), 0.0, 1.0, offset_limit=0.3)
    limit = PlannedLimit(None, 1.2, "given", "k")

    assert "measures to ± 0.115 V" in what_would_prove(check_of("feed_off_voltage").kind, found, limit)


def test_only_a_drain_cannot_read_below_zero():
    """A drain of -0.01 mA asks for a zero, or a smaller offset; of 0 or 0.9 mA, or a voltage, for what others do."""
    coarse = parts(0.1, offset=0.6)
    zero, offset = f"it reads below zero, which no drain is; {ZERO} would take its offset off", "a smaller offset"

    def said(check_id: str, value: float, made_of: UncertaintyParts | None = coarse) -> str:
        found = Measured(value, 0.7, 0.0, 1.0, parts=made_of)
        return what_would_prove(check_of(check_id).kind, found, MAX)

    assert offset in said("off_state_drain", -0.01)
    assert said("off_state_drain", -0.01, replace(coarse, zeroable=True)) == zero
    assert said("off_state_drain", -0.01, None) == zero
    for check_id, value in (("off_state_drain", 0.0), ("off_state_drain", 0.9), ("feed_off_voltage", -0.01)):
        assert "below zero" not in said(check_id, value)


def test_where_nothing_suffices_it_says_so():
    """A value on its limit; an uncertainty without end."""
    kind = check_of("battery_sag").kind

    assert what_would_prove(kind, Measured(1.0, 0.1, 0.0, 1.0), MAX) == (
        "it lies right at the limit, closer than this logger can tell"
    )
    near = 1.0 - Z_PROVEN * 0.05 * 0.1
    assert "closer than" in what_would_prove(kind, Measured(near + 1e-4, 0.1, 0.0, 1.0), MAX)
    assert "measures to ± 0.0101 V" in what_would_prove(kind, Measured(near - 1e-4, 0.1, 0.0, 1.0), MAX)
    assert "record a longer log" in what_would_prove(kind, Measured(0.9, math.inf, 0.0, 1.0), MAX)


@pytest.mark.parametrize(("value", "proven"), [(0.80, True), (0.87, False), (1.2, True)])
def test_whether_a_figure_alone_would_prove_its_limit(value: float, proven: bool):
    """0.80 and 1.2 ± 0.2 do against 1, were the log not too slow; 0.87 does not."""
    found = Measured(value, 0.1, 0.0, 1.0, one_sided="slow", disqualified="short")

    assert proven_without_reason(check_of("battery_sag").kind, found, MAX) is proven
