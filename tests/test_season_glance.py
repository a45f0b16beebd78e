"""Several bikes at a glance, quiet quantities in one line, and which reading is now: on parts written by hand."""

from datetime import UTC, datetime, timedelta

import pytest
from test_season_words import AT, TODAY, part, trend

from benchlog.season.bikes import Glance, at_a_glance, render_bikes
from benchlog.season.breaks import Break
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part, Season, SeasonAdvice
from benchlog.season.newest import folded_advice, newest_words, stale_words
from benchlog.season.standing import Standing
from benchlog.store.readings import Reading


def season(*advice: SeasonAdvice, bike: str = "Larch", standing: Standing | None = None, parts: tuple[Part, ...] = ()):
    """With this advice."""
    return Season(bike, "agm", 11.2, TODAY, parts, (Break(AT, AT, {}),), None, standing, advice)


def test_bikes_stand_by_urgency_then_by_day_then_by_name():
    """One that must be charged sooner before one that stands longer, before one of which it is not known."""
    fine = SeasonAdvice("fine", "fine now", "Battery", "b")
    now = SeasonAdvice("now", "charge now", "Battery", "b")
    long = Standing(TODAY, 100.0, 150.0, 200.0, 1.0, 20.0, "b")
    short = Standing(TODAY, 90.0, 150.0, 200.0, 1.0, 20.0, "b")
    glances = at_a_glance(
        [season(fine, bike="a"), season(fine, bike="C"), season(fine, bike="b"), season(fine, bike="d", standing=long),
         season(fine, bike="e", standing=short), season(now, bike="z")]
    )  # fmt: skip

    assert [glance.bike for glance in glances] == ["z", "e", "d", "a", "b", "C"]


def test_a_glance_counts_what_else_wants_doing():
    """Now and soon, the first left out; fine and open are nothing to do."""
    each = [SeasonAdvice(urgency, "w", "a", "b") for urgency in ("now", "now", "soon", "fine", "open")]  # type: ignore[arg-type]
    (glance,) = at_a_glance([season(*each, parts=(part(),))])

    assert glance.more == 2
    assert (glance.last, glance.stand_until, glance.charge) == (AT.date(), None, "")
    assert render_bikes([glance]) == ("▲ Larch: w\n    a: b\n    2 more to do; last reading 30 August 2026\n")


def test_a_glance_without_anything_has_no_facts():
    """Nothing is made up."""
    advice = SeasonAdvice("open", "nothing measured yet", "Battery", "b")

    assert render_bikes([Glance("Larch", advice, 0, "", None, None)]) == (
        "○ Larch: nothing measured yet\n    Battery: b\n"
    )
    assert "charge 60 to 80 %" in render_bikes([Glance("Larch", advice, 0, "60 to 80 %", None, None)])


def test_quiet_parts_fold_from_two_on():
    """Those that say fine so far or fine now and have no proven trend; their names in one line, last."""
    advice = tuple(SeasonAdvice("fine", words, about, "b") for words, about in
                   (("fine now", "Alpha"), ("fine so far", "Beta"), ("fine so far", "Gamma"),
                    ("charge soon", "Delta")))  # fmt: skip

    def named(title: str, moves: Trend | TooFew) -> Part:
        one = part(moves=moves)
        return Part(*(title if name == "title" else getattr(one, name) for name in one.__slots__))

    few = TooFew("few", 1)
    parts = (
        named("Alpha", few),
        named("Beta", trend(1.0, proven=False)),
        named("Gamma", trend(1.0)),
        named("Delta", few),
    )

    assert [one.about for one in folded_advice(season(*advice, parts=parts))] == ["Gamma", "Delta", "Alpha and beta"]
    one_quiet = season(*advice[1:], parts=parts)
    assert folded_advice(one_quiet) == one_quiet.advice


@pytest.mark.parametrize(("days", "stale"), [(90, ""), (91, "The last reading is 91 days old (2 June 2026): take one")])
def test_the_newest_of_all_readings_counts(days: int, stale: str):
    """However old those of the other quantities are; 90 days are not old."""
    old, new = (Reading(datetime(2026, 9, 1, tzinfo=UTC) - timedelta(days=ago), "crank_minimum", 10.0) for ago in
                (400, days))  # fmt: skip
    parts = tuple(Part("crank_minimum", "t", "V", (each,), (None, None), None, None, TooFew("", 1), (),
                       LimitCrossing("open")) for each in (old, new))  # fmt: skip

    told = stale_words(season(SeasonAdvice("fine", "fine", "a", "b"), parts=parts), UTC)
    assert told.startswith(stale)
    assert bool(told) is bool(stale)


def test_newest_says_nothing_without_a_value():
    """Neither without one nor where it is of no reading."""
    one = part()

    assert newest_words(one, UTC) == "read on 30 August 2026 at 20 °C"
    assert newest_words(part(now=None), UTC) == ""
    # 10.0 V below 10.1 V: four standard uncertainties of 0.05 / 2, one of 0.2 / 2
    for doubt, failed in ((0.05, True), (0.2, False), (None, False)):
        given = (Reading(AT, "crank_minimum", 10.0, doubt),)
        each = Part(
            *({"readings": given, "limit": (10.1, None)}.get(name, getattr(one, name)) for name in one.__slots__)
        )
        assert newest_words(each, UTC).endswith("which failed") is failed
    none = Part(*(0 if name == "now_of" else getattr(one, name) for name in one.__slots__))
    assert newest_words(none, UTC) == ""
