"""A season in a terminal, letter by letter: charts and text of parts written by hand."""

from datetime import UTC, date, datetime, timedelta

import pytest

from benchlog.season.breaks import Break
from benchlog.season.charge import Charge
from benchlog.season.chart import chart, is_drawn, numbered_changes, render_season
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part, Season, SeasonAdvice
from benchlog.season.standing import Standing
from benchlog.store.kinds import Change
from benchlog.store.readings import Reading

#: Noon, so that the day is the same in most time zones.
AT = datetime(2026, 1, 1, 12, tzinfo=UTC)
Limit = tuple[float | None, float | None]


def after(days: float) -> datetime:
    """So many days later."""
    return AT + timedelta(days=days)


def part(values: list[tuple[float, float]], limit: Limit = (None, None)) -> Part:
    """A cranking minimum with these readings, (day, V)."""
    readings = tuple(Reading(after(day), "crank_minimum", value) for day, value in values)
    few = TooFew("too few", 1)
    return Part(
        "crank_minimum", "Cranking minimum", "V", readings, limit, None, (1.0, 0.1), few, (), LimitCrossing("open")
    )


@pytest.mark.parametrize(
    ("values", "limit", "breaks", "lines"),
    [
        (
            [(0, 9.0), (13, 10.0), (26, 10.5), (39, 13.0)],
            (9.5, None),
            [20],
            [
                "    13.0 ┤          │        ⠈",
                "         ┤          │",
                "         ┤          │",
                "         ┤      ⠠   │  ⠁",
                "     9.0 ┤⡀ ╌ ╌ ╌ ╌ │ ╌ ╌ ╌ ╌",
                "         └────────────────────",
                "          2026-01-01 2026-02-09",
                "          ╌ limit 9.5   │ change",
            ],
        ),
        (
            [(0, 9.0), (0.25, 10.0)],
            (8.0, 12.0),
            [],
            [
                "    12.0 ┤╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌",
                "         ┤",
                "         ┤     ⠄",
                "         ┤⠄",
                "     8.0 ┤╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌",
                "         └────────────────────",
                "          2026-01-01 2026-01-01",
                "          ╌ limit 8   ╌ limit 12",
            ],
        ),
        (
            [(0, 12.0)],
            (None, None),
            [0, 3],
            [
                "   12.12 ┤│",
                "         ┤│",
                "         ┤⠄",
                "         ┤│",
                "   11.88 ┤│",
                "         └────────────────────",
                "          2026-01-01 2026-01-01",
                "          │ change",
            ],
        ),
        (
            [(0, -0.5), (2, float("nan")), (10, 0.5)],
            (None, 0.0),
            [-3, 10],
            [
                "     0.5 ┤                   ⠈",
                "         ┤                   │",
                "         ┤╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌│",
                "         ┤                   │",
                "    −0.5 ┤⡀                  │",
                "         └────────────────────",
                "          2026-01-01 2026-01-11",
                "          ╌ limit 0   │ change",
            ],
        ),
        (
            [(k, 39.0 - k) for k in range(40)],
            (None, None),
            [],
            [
                "      39 ┤⠉⠒⠤⣀",
                "         ┤    ⠉⠒⠤⣀",
                "         ┤        ⠉⠒⠤⣀",
                "         ┤            ⠉⠒⠤⣀",
                "       0 ┤                ⠉⠒⠤⣀",
                "         └────────────────────",
                "          2026-01-01 2026-02-09",
            ],
        ),
        (
            [(k, 2.0 + abs(k - 20) / 10) for k in range(40)],
            (1.0, 7.0),
            [],
            [
                "     7.0 ┤╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌",
                "         ┤",
                "         ┤⠤⠤⣀⡀             ⣀⡠⠤",
                "         ┤   ⠈⠉⠒⠢⠤⣀⡀ ⣀⡠⠤⠒⠊⠉",
                "     1.0 ┤╌ ╌ ╌ ╌ ╌⠈⠉ ╌ ╌ ╌ ╌",
                "         └────────────────────",
                "          2026-01-01 2026-02-09",
                "          ╌ limit 1   ╌ limit 7",
            ],
        ),
    ],
    ids=["limit and change", "two limits within a quarter of a day", "one reading", "below zero", "every dot", "flat"],
)
def test_chart_is_drawn_so(values: list[tuple[float, float]], limit: Limit, breaks: list[float], lines: list[str]):
    """Four rows of dots in a line and two in a letter; dashes give way to dots, a change's bar to dots alone."""
    assert chart(part(values, limit), [after(day) for day in breaks], 31) == lines


def test_limits_just_far_enough_to_be_drawn():
    """Four times the readings' spread beyond them, or 8 % of the last where they hardly differ."""
    assert [is_drawn(limit, [10.0, 10.0]) for limit in (9.19, 9.21, 10.79, 10.81)] == [False, True, True, False]
    assert [is_drawn(limit, [9.0, 10.0]) for limit in (4.9, 5.1, 13.9, 14.1)] == [False, True, True, False]
    assert [is_drawn(limit, [-10.0, -10.0]) for limit in (-10.79, -10.81)] == [True, False]
    assert [is_drawn(limit, [10.0, 10.05, 10.15]) for limit in (10.961, 10.963)] == [True, False]


@pytest.mark.parametrize(("value", "labels"), [(0.0, ("1.0", "−1.0")), (-5.0, ("−4.950", "−5.050"))])
def test_readings_all_alike_stand_in_the_middle(value: float, labels: tuple[str, str]):
    """One per cent of the value above and below it; one unit where it is zero."""
    lines = chart(part([(0, value), (39, value)]), [], 31)

    assert (lines[0].split()[0], lines[4].split()[0]) == labels
    assert lines[2].split("┤")[1].strip()


def test_a_change_beyond_the_last_column_is_not_drawn():
    """A day before the readings, and as far after them that it would stand one column too far."""
    lines = chart(part([(0, 10.0), (39, 11.0)]), [after(-2), after(41)], 31)

    assert not any("│" in line for line in lines[:5])
    assert lines[-1].strip() == "│ change"


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (12.0, 12.05, ("12.050", "12.000")),
        (12.0, 12.3, ("12.30", "12.00")),
        (12.0, 13.0, ("13.0", "12.0")),
        (0.0, 20.0, ("20", "0")),
        (100.0, 300.0, ("300", "100")),
        (1.0, 1.00002, ("1.0000", "1.0000")),
        (-5.0, 4.0, ("4.0", "−5.0")),
    ],
)
def test_labels_have_two_digits_of_the_span(low: float, high: float, labels: tuple[str, str]):
    """Four decimals at most, a true minus sign."""
    lines = chart(part([(0, low), (1, high)]), [], 31)

    assert (lines[0].split()[0], lines[4].split()[0]) == labels


def trend(since: date, until: date, per_year: float) -> Trend:
    """A proven one."""
    return Trend(
        since, until, 8, per_year, per_year - 1, per_year + 2, 0.01, 20.0, 0.1, 20500.0, "none", None, True, ""
    )


def by_hand() -> Season:
    """Nine source resistances over 80 days, a change found and one noted, and one for a later day."""
    quantity, title = "source_resistance", "Source resistance"
    readings = tuple(Reading(after(10 * k), quantity, 20.0 + k, 0.2, 20.0) for k in range(9))
    earlier = trend(date(2026, 1, 1), date(2026, 2, 10), 9.0)
    resistance = Part(quantity, title, "mΩ", readings, (None, 40.0), after(45), (27.0, 0.2),
                      trend(date(2026, 2, 20), date(2026, 3, 22), 5.0), (earlier,),
                      LimitCrossing("inside", "max", 40.0), 3)  # fmt: skip
    crank = Part("crank_minimum", "Cranking minimum", "V", (), (9.6, None), None, None, TooFew("none", 0), (),
                 LimitCrossing("open"))  # fmt: skip
    return Season(
        bike="Larch",
        chemistry="agm",
        capacity_ah=11.2,
        today=date(2026, 4, 1),
        parts=(resistance, crank),
        breaks=(
            Break(after(40), after(50), {quantity: -2.5}, "", "as with a new battery", 0.001),
            Break(after(60), after(60), {}, "grips", "", None, 7),
        ),
        charge=Charge(after(80), 12.6, 62, 70, 81, "by hand"),
        standing=Standing(date(2026, 3, 22), 30.0, 50, 70.0, 1.0, 20.0, "by hand"),
        advice=(
            SeasonAdvice("soon", "charge soon", "Resting voltage", "it is low", "charge it"),
            SeasonAdvice("fine", "fine so far", title, "27 mΩ"),
        ),
        later=(Change(date(2026, 9, 1), "slip", 8),),
    )


TEXT = """\
Season: Larch, 1 April 2026
════════════════════════════════════════════════════════════
◐ charge soon

── What to do, worst first ─────────────────────────────────
◐ Resting voltage: charge soon: it is low.
    How: charge it.
● Source resistance: fine so far: 27 mΩ.

── Charge ──────────────────────────────────────────────────
  60 to 85 %: by hand
  can stand 30 to 70 days

── Changes ─────────────────────────────────────────────────
  Something changed between 10 and 20 February 2026, as with
    a new battery (source resistance −2.5 mΩ); note it with
    --changed
  change 7, 2 March 2026: grips
  change 8, 1 September 2026: slip, which does not count yet

── Source resistance / mΩ ──────────────────────────────────
      40 ┤╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ │ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌ ╌
         ┤                              │
         ┤                              │                 ⢀
         ┤                        ⡀     ⠠     ⠐     ⠈
      20 ┤⡀     ⠄     ⠂     ⠁           │
         └─────────────────────────────────────────────────
          2026-01-01                             2026-03-22
          ╌ limit 40   │ change
  now 27.00 ± 0.20 mΩ (the middle of the last 3; the newest
    is 28.00 ± 0.20 mΩ on 22 March 2026 at 20 °C); at most
    40 mΩ; met; no date, as no trend towards it is proven
  trend since 15 February 2026: rises 5.0 mΩ a year (4.0 to
    7.0)
  before, 1 January 2026 to 10 February 2026: rises 9.0 mΩ a
    year (8.0 to 11)

± is the expanded uncertainty (k = 2: true in about 95 of
100 cases), the brackets behind a trend its 95 % interval. A
rest voltage tells the charge, not the health; source
resistance and cranking minimum tell that.
"""


def test_season_reads_so():
    """What to do, the charge, the changes and one quantity; one without readings has no part of its own."""
    assert render_season(by_hand(), width=60) == TEXT


def test_no_terminal_is_narrower_than_48_letters():
    """Asked for 20 it is 48 wide; asked for nothing, 80; only the first words are bold."""
    narrow, usual, bold = (
        render_season(by_hand(), **words).splitlines() for words in ({"width": 20}, {}, {"colour": True})
    )

    assert (narrow[1], usual[1]) == ("═" * 48, "═" * 80)
    assert (bold[2], bold[3:]) == ("\x1b[1m◐ charge soon\x1b[0m", usual[3:])


def test_a_page_says_its_own_way_to_note_a_change():
    """In place of the terminal's; rising steps have a plus."""
    season = by_hand()
    steps = Break(after(40), after(50), {"source_resistance": 2.5}, "", "as with rust", 0.001)
    other = Season(**{name: getattr(season, name) for name in season.__slots__} | {"breaks": (steps,)})

    assert numbered_changes(other, note="write it down")[0] == (
        "Something changed between 10 and 20 February 2026, as with rust (source resistance +2.5 mΩ); write it down"
    )
