"""The first page says to the rider what the result says, in plain words; the terminal ends with the verdict."""

import datetime
import re
from datetime import UTC
from html import unescape
from pathlib import Path
from types import SimpleNamespace

import pytest
from report_samples import healthy, troubled
from store_cases import save_small
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.report.rider import ADVICE, rider_page
from benchlog.report.written import render_html, render_text, write_html
from benchlog.store import open_store
from benchlog.verdict.result import Result
from dashboards import sheet
from dashboards.parts.rider import rider_section

TEMPLATE = Path(__file__).parent.parent / "benchlog" / "report" / "templates" / "rider.html"
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


def watched(hours: float | None) -> Result:
    """The healthy result, its drain watched for so long; None for a meter's reading."""
    result = healthy()
    span = (None, None) if hours is None else (0.0, hours * 3600)
    checks = [
        check.model_copy(update={"from_s": span[0], "to_s": span[1]}) if check.id == "off_state_drain" else check
        for check in result.checks
    ]
    return result.model_copy(update={"checks": checks})


def test_parking_time_is_half_the_charge_on_drain_and_own_loss():
    """0.84 + 0.06 mA and 3 % a month leave half of 11.2 Ah after that many days; half a year is the longest told."""
    daily_ah = 0.9e-3 * 24 + 11.2 * 0.03 / 30

    page = rider_page(watched(2.0), the_plan(), TODAY)

    days = int(5.6 / daily_ah)
    until = TODAY + datetime.timedelta(days=days)
    assert f"after {days} days: parked on 30 November 2026, until {until.day} {until:%B %Y}" in page.parked


def test_days_are_promised_after_an_hour_of_watching():
    """What wakes now and then is not seen in minutes, nor with a meter, whose readings have no time of the log."""
    short, by_hand = rider_page(watched(0.9), the_plan(), TODAY), rider_page(watched(None), the_plan(), TODAY)

    assert "not watched for an hour" in short.parked
    assert "days" not in short.parked
    assert by_hand.parked == short.parked


def test_what_is_open_has_its_reason():
    """Each open check is there once, with the plain reason of its verdict."""
    page = rider_page(troubled(), the_plan(), TODAY)

    assert dict(page.opened) == {
        "Whether the new wiring draws anything while the bike is parked": "the test did not include it",
        "Whether the accessories go off with the key at once": "it was measured, but not surely enough to promise it",
        "How full the battery was": "it was measured, but not surely enough to promise it",
        "How well the battery starts the engine": "the test did not include it",
    }


def test_the_installer_is_entered_once_and_kept(tmp_path, monkeypatch):
    """The contact stands on every report after that; without one there is a line for a pen."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    path = tmp_path / "report.html"
    write_html(healthy(), path, plan=the_plan())
    before = path.read_text(encoding="utf-8")

    ended = CliRunner().invoke(app, ["records", "contact", "R. Fitter,  0555 0123"])
    write_html(healthy(), path, plan=the_plan())

    assert ended.output == "Contact on each rider's page: R. Fitter, 0555 0123\n"
    assert "Fitted by, and phone: ____" in before
    assert "<strong>R. Fitter, 0555 0123</strong>" in path.read_text(encoding="utf-8")
    assert CliRunner().invoke(app, ["records", "contact"]).output == ended.output


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

    template = re.sub(r"\{[%{#].*?[%}#]\}|<[^>]+>", " ", TEMPLATE.read_text(encoding="utf-8"), flags=re.DOTALL)
    opened = [text for pair in page.opened for text in pair]
    said = [page.headline, page.parked, *page.wrong, *opened, page.switch, page.battery, *ADVICE, template]
    said += [text for fuse in page.fuses for text in fuse]

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


def test_the_sheet_of_a_record_says_the_same_as_the_report():
    """The rider reads the same words on the printed hand-over sheet as in the report's file."""
    page = rider_page(troubled(), the_plan(), TODAY, "R. Fitter, 0555 0123")
    report = re.search(r'<section class="rider">(.*?)</section>', render_html(troubled(), rider=page), re.DOTALL)
    assert report is not None
    words = " ".join(unescape(re.sub(r"<[^>]+>", " ", report[1])).replace("\xa0", " ").split())

    assert " ".join(" ".join(_texts(rider_section(page))).replace("\xa0", " ").split()) == words
    assert _TECHNICAL.search(words) is None


def _texts(part: object) -> list[str]:
    """Every text within a component, in order."""
    if part is None or isinstance(part, str):
        return [part] if part else []
    inside = part if isinstance(part, (list, tuple)) else [getattr(part, "children", None)]
    return [text for each in inside for text in _texts(each)]


def test_the_contact_can_be_kept_from_the_sheet(tmp_path, monkeypatch):
    """The page keeps it as the command does, shows it at once, and says why where it cannot."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    with open_store() as store:
        save_small(store, tmp_path)
        context = SimpleNamespace(store=store)

        nothing, why = sheet.keep(context, "record 1", "  ", UTC)
        anew, said = sheet.keep(context, "record 1", "R. Fitter, 0555 0123", UTC)

    assert (nothing, why) == (None, 'The contact is empty; give a name and a number, such as "R. Fitter, 0555 0123".')
    assert said == "Kept: R. Fitter, 0555 0123."
    assert "R. Fitter, 0555 0123" in _texts(anew)
