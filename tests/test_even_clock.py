"""The same samples on any clock: what is compared with what does not hang on where zero lies."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchlog.core.roles import ROLE_UNITS
from benchlog.examine.even_clock import STEP_S, EvenClock, as_logged
from benchlog.log.log import Log

#: Zeros of the clock: none, two that no binary fraction hits, and a day and a half.
ZEROS = (0.0, 0.1, 1e5 / 3, 129_600.7)


def a_log(time_s: np.ndarray, marked: tuple[int, ...] = ()) -> Log:
    """``battery_v`` that counts its samples, as long as the times; some of them marked."""
    assert ROLE_UNITS["battery_v"] == "V"
    marks = np.array(["slot 1 on" if n in marked else "" for n in range(len(time_s))])
    return Log.from_frame(pd.DataFrame({"time_s": time_s, "battery_v": np.arange(len(time_s)) % 16.0, "mark": marks}))


def hundredths(count: int, zero_s: float) -> np.ndarray:
    """So many times 10 ms apart."""
    return np.arange(count) / 100 + zero_s


@pytest.mark.parametrize("zero_s", ZEROS)
def test_times_since_the_start_are_the_same_on_any_clock(zero_s: float):
    """To the last bit, in single samples, in buckets, in the ends of the log and in its usual step."""
    plain, moved = (EvenClock(a_log(hundredths(5000, zero))) for zero in (0.0, zero_s))

    one, other = (log.trace(-np.inf, np.inf).time_s - log.start_s for log in (plain, moved))
    assert (one == other).all()
    assert len(one) == 5000
    for name in ("start_s", "end_s"):
        a, b = (getattr(log.overview, name) - log.start_s for log in (plain, moved))
        assert (a == b).all()
    assert (plain.overview.gap_s == moved.overview.gap_s).all()
    assert plain.overview.step_s == moved.overview.step_s
    assert plain.end_s - plain.start_s == moved.end_s - moved.start_s


def test_a_window_holds_the_same_samples_on_any_clock():
    """0.3 s before each sample: of rounded times some windows hold 30 samples and some 31, each clock others."""

    def counts(log: Log | EvenClock) -> list[int]:
        time_s = log.trace(-np.inf, np.inf).time_s
        return [int(np.count_nonzero((time_s >= at - 0.3) & (time_s <= at))) for at in time_s[100:]]

    logs = [a_log(hundredths(2000, zero_s)) for zero_s in ZEROS]
    rounded = [counts(log) for log in logs]
    even = [counts(EvenClock(log)) for log in logs]

    assert all(one != rounded[0] for one in rounded[1:])
    assert all(one == even[0] for one in even[1:])


def test_a_stretch_begins_and_ends_with_the_samples_at_its_ends():
    """Asked for from one sample's time to another's, a trace holds both."""
    log = EvenClock(a_log(hundredths(3000, 1e5 / 3)))
    time_s = log.trace(-np.inf, np.inf).time_s

    got = log.trace(time_s[700], time_s[1900], ["battery_v"])

    assert (got.time_s == time_s[700:1901]).all()
    assert (got.values["battery_v"] == np.arange(700, 1901) % 16.0).all()


@pytest.mark.parametrize("zero_s", ZEROS)
def test_no_time_moves_by_more_than_a_nanosecond(zero_s: float):
    """Nor by more than a step where samples lie thirds of a millisecond apart."""
    time_s = np.arange(3000) / 3000 + zero_s
    log = EvenClock(a_log(time_s))

    assert np.abs(log.trace(-np.inf, np.inf).time_s - time_s).max() <= 1.6 * STEP_S
    assert STEP_S < 1e-9


def test_a_mark_stands_at_its_sample():
    """On a clock of its own a mark is no more than beside it."""
    log = EvenClock(a_log(hundredths(200, 1e5 / 3), marked=(37, 150)))

    assert [mark.time_s for mark in log.marks] == log.trace(-np.inf, np.inf).time_s[[37, 150]].tolist()
    assert [mark.text for mark in log.marks] == ["slot 1 on", "slot 1 on"]


def test_samples_closer_than_a_step_stay_apart():
    """A packet whose stamps differ by a tenth of a nanosecond still rises."""
    time_s = np.array([0.0, 0.5, 0.5 + 1e-10, 1.0, 1.5])

    got = EvenClock(a_log(time_s)).trace(-np.inf, np.inf)

    assert (got.time_s == time_s).all()


def test_a_clock_that_has_run_for_decades_keeps_its_own_steps():
    """Seconds since 1970 in a float are whole quarters of a microsecond; nothing finer is made of them."""
    time_s = hundredths(500, 1.7e9)

    got = EvenClock(a_log(time_s)).trace(-np.inf, np.inf)

    assert np.abs(got.time_s - time_s).max() <= np.spacing(1.7e9)
    assert (np.diff(got.time_s) > 0).all()


def test_what_is_drawn_stands_at_the_times_that_were_logged():
    """Where a part was left out, as while the shunt is away for its zero, what is left keeps its own times."""
    log = a_log(hundredths(100, 0.1))
    logged, evened = log.overview, EvenClock(log).overview
    kept = np.r_[0:30, 60:100]
    bands = {
        role: replace(band, **{name: getattr(band, name)[kept] for name in band.__dataclass_fields__})
        for role, band in evened.bands.items()
    }
    columns = {name: getattr(evened, name)[kept] for name in ("start_s", "end_s", "rows", "gap_s")}
    drawn = as_logged(replace(evened, bands=bands, **columns), evened, logged)

    assert (drawn.start_s == logged.start_s[kept]).all()
    assert (drawn.end_s == logged.end_s[kept]).all()
    assert len(drawn.gap_s) == len(drawn.rows) == len(drawn.bands["battery_v"].mean) == len(kept)
    assert (as_logged(evened, evened, logged).gap_s == logged.gap_s).all()
