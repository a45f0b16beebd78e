"""The first page says to the rider what the result says, in plain words; the terminal ends with the verdict."""

import datetime
import re

import pytest
from report_samples import healthy, troubled

from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.report.rider import ADVICE, rider_page
from benchlog.report.written import render_html, render_text, write_html

TODAY = datetime.date(2026, 11, 30)
#: Words of the trade that a rider need not know.
_TECHNICAL = re.compile(
    r"\b(SHA|UTC|score|uncertainty|off-state|drain|terminal|trigger|relay|coil|bus|sag|feed|lift|slot|mΩ|mA|k = 2|"
    r"shunt|source resistance|proven)\b",
    re.IGNORECASE,
)


def the_plan() -> Plan:
    """Of the samples' bike."""
    return plan_from_mapping(
        {
            "install": {"bike": "Larch"},
            "battery": {"chemistry": "agm", "capacity_ah": 11.2},
            "relay": {"trigger": "tail lamp"},
            "feed": {"fuse_a": 20},
            "circuit": [
                {"slot": 1, "device": "vaccine cool box", "planned_a": 3.5, "fuse_a": 5},
                {"slot": 2, "device": "work lamps", "planned_a": 4.0},
            ],
        }
    )


def test_parking_time_is_half_the_charge_on_drain_and_own_loss():
    """0.84 + 0.06 mA and 3 % a month leave half of 11.2 Ah after that many days; half a year is the longest told."""
    daily_ah = 0.9e-3 * 24 + 11.2 * 0.03 / 30

    page = rider_page(healthy(), the_plan(), TODAY)

    days = int(5.6 / daily_ah)
    until = TODAY + datetime.timedelta(days=days)
    assert f"after {days} days: from today until {until.day} {until:%B %Y}" in page.parked


def test_fuses_are_told_with_place_and_size():
    """The main fuse first, then each place of the fuse block; a circuit without a fuse says so."""
    page = rider_page(healthy(), the_plan(), TODAY)

    assert page.fuses == (
        ("near the battery", "20 A", "everything below"),
        ("fuse block, place 1", "5 A", "vaccine cool box"),
        ("fuse block, place 2", "no fuse of its own", "work lamps"),
    )


@pytest.mark.parametrize("result", [healthy(), troubled()], ids=["healthy", "troubled"])
def test_page_needs_no_word_of_the_trade(result):
    """Nothing on the rider's page is a technical word, whatever failed or stayed open."""
    page = rider_page(result, the_plan(), TODAY)

    said = [page.headline, page.parked, *page.wrong, *page.opened, page.switch, *ADVICE]

    assert [found[0] for text in said if (found := _TECHNICAL.search(text))] == []
    assert len(page.wrong) == sum(check.verdict == "fail" for check in result.checks)


def test_report_begins_with_the_rider_where_the_plan_is_known(tmp_path):
    """The report has the page before the checks, and none without a plan."""
    path = tmp_path / "report.html"

    write_html(healthy(), path, plan=the_plan())

    page = path.read_text(encoding="utf-8")
    assert 0 < page.index("For the rider") < page.index("<h2>Checks</h2>")
    assert "For the rider" not in render_html(healthy())


def test_terminal_ends_with_verdict_and_failures():
    """The last lines are the verdict and what failed, not what passed."""
    text = render_text(troubled())

    failed = [check.title for check in troubled().checks if check.verdict == "fail"]
    end = text[text.rindex("Caution:") :]
    assert "FAIL" in end
    assert all(title in " ".join(end.split()) for title in failed)
    assert "PASS" not in end
