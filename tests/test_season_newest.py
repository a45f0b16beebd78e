"""What "now" is made of: the newest readings, their temperature and verdict, their age; and what is folded away."""

from datetime import UTC, date, datetime, timedelta

import pytest

from benchlog.plan.model import Limits
from benchlog.season import Season, season_of
from benchlog.season.chart import render_season
from benchlog.season.newest import OLD_DAYS, folded_advice, newest_words, stale_words
from benchlog.season.report import render_html
from benchlog.store.readings import Reading

LAST = datetime(2026, 11, 24, 8, 30, tzinfo=UTC)
LIMITS = Limits(resting_min_v=12.6, source_resistance_max_mohm=40, crank_min_v=9.6, off_state_drain_ma=1.0)


def season(*readings: Reading, age_days: int = 3) -> Season:
    """A season whose last reading is so old."""
    today = (LAST + timedelta(days=age_days)).date()
    return season_of(readings, chemistry="agm", capacity_ah=11.2, limits=LIMITS, today=today, bike="Larch", zone=UTC)


def read(quantity: str, value: float, days_before: float = 0.0, at_c: float | None = 8.0, u: float | None = 0.02):
    """One reading."""
    return Reading(LAST - timedelta(days=days_before), quantity, value, u, at_c)


def test_now_says_which_reading_it_is():
    """Day and temperature of the newest reading stand beside the value; without a temperature none is made up."""
    warm = season(read("resting_voltage", 12.8), read("resting_voltage", 12.7, 30))
    unknown = season(read("resting_voltage", 12.8, at_c=None))

    assert newest_words(warm.part("resting_voltage"), UTC) == "read on 24 November 2026 at 8 °C"
    assert newest_words(unknown.part("resting_voltage"), UTC) == "read on 24 November 2026"
    assert newest_words(warm.part("crank_minimum"), UTC) == ""


def test_a_median_says_so_and_names_the_newest():
    """Where the value is the middle of three, the newest stands beside it, and that it failed."""
    made = season(read("crank_minimum", 9.1), read("crank_minimum", 10.2, 10), read("crank_minimum", 10.1, 20))
    part = made.part("crank_minimum")

    assert part.now == (10.1, 0.02)
    assert newest_words(part, UTC) == (
        "the middle of the last 3; the newest is 9.100 ± 0.020 V on 24 November 2026 at 8 °C, which failed"
    )


@pytest.mark.parametrize(("value", "u", "failed"), [(12.5, 0.02, True), (12.59, 0.05, False), (12.5, None, False)])
def test_failed_needs_proof(value, u, failed):
    """A reading failed where its uncertainty leaves no doubt; of unknown accuracy nothing is said."""
    made = season(read("resting_voltage", value, u=u))

    assert newest_words(made.part("resting_voltage"), UTC).endswith("which failed") is failed


def test_an_old_last_reading_comes_first():
    """After 90 days the first thing said is its age, with a prompt to take one; in text and on the page."""
    old, fresh = (season(read("resting_voltage", 12.8), age_days=days) for days in (OLD_DAYS + 4, OLD_DAYS))
    text, page = render_season(old), render_html(old)

    assert stale_words(fresh, UTC) == ""
    assert stale_words(old, UTC).startswith("The last reading is 94 days old (24 November 2026): take one")
    assert text.splitlines()[2].startswith("The last reading is 94 days old")
    assert page.index("94 days old") < page.index('class="verdict"')
    assert "days old" not in render_season(fresh).split("Charge")[0]


def test_quiet_quantities_fold_into_one_line():
    """Two or more that are within their limits without a trend share a line; what is wrong keeps its own."""
    quiet = [read("resting_voltage", 12.8), read("off_state_drain", 0.4), read("source_resistance", 20.0)]
    made = season(*quiet, read("crank_minimum", 8.0))
    told = folded_advice(made)

    assert [one.about for one in told if one.words == "fine"] == [
        "Resting voltage, source resistance and off-state drain"
    ]
    assert next(one for one in told if one.about == "Cranking minimum").urgency == "now"
    assert sorted(one.about for one in made.advice if one not in told) == [
        "Off-state drain", "Resting voltage", "Source resistance",
    ]  # fmt: skip


def test_one_quiet_quantity_keeps_its_figures():
    """Alone it is no longer than the line that would stand for it."""
    made = season(read("resting_voltage", 12.8))

    assert folded_advice(made) == made.advice


def test_days_are_those_of_the_reader():
    """A reading shortly before midnight in UTC is of the next day further east."""
    from zoneinfo import ZoneInfo

    late = Reading(datetime(2026, 11, 24, 23, 30, tzinfo=UTC), "resting_voltage", 12.8, 0.02, None)
    made = season_of([late], chemistry="agm", capacity_ah=11.2, limits=LIMITS, today=date(2026, 11, 26), zone=UTC)

    assert newest_words(made.part("resting_voltage"), ZoneInfo("Asia/Tokyo")) == "read on 25 November 2026"
