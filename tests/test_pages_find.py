"""The page "Find the fault": a whole hunt in a real browser, the same session as at a terminal, the sheet after it."""

import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from find_hands import answer_at
from page_browser import serious_faults
from page_server import Serving, serving
from playwright.sync_api import Page, expect
from test_standin_probe import GOOD, NOT_BEFORE, SLOTS, standing

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.find.beliefs import Knowledge
from benchlog.find.drawing import beliefs_of, drawing_of, shade
from benchlog.find.hunt import Hunt, Reply, Suspect
from benchlog.plan.model import load_plan
from benchlog.standin import acceptance_script, live_logger, simulate, with_fault, write_csv
from benchlog.standin.probing.installs import install_at
from benchlog.standin.probing.places import PlacedFault, placed
from benchlog.store import open_store
from dashboards.checking import Checked
from dashboards.context import Context
from dashboards.find_page import act, find_page, keep, take_along
from dashboards.looked import Behind, behind
from dashboards.searches import answers_path
from dashboards.settings import Settings
from dashboards.sheet import found_and_mended
from dashboards.trays import Trays

pytest_plugins = ("page_fixtures",)
FAULT = placed("resistive", "bus to battery -", SLOTS)
DEAD = placed("open", "fuse out to 30", SLOTS)


def logged(folder: Path, fault: PlacedFault, name: str) -> tuple[Path, Path]:
    """A log of the stand-in with this fault, and its plan."""
    install = install_at(GOOD, lambda cause: with_fault(GOOD, cause), fault)
    made = simulate(install, acceptance_script(rest_s=60), live_logger(200), np.random.default_rng(3), NOT_BEFORE)
    write_csv(made, folder / name)
    plan = folder / "plan.toml"
    plan.write_text(made.plan_toml, encoding="utf-8")
    return folder / name, plan


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder whose store has two failed sheets: nothing reaches the relay, twice."""
    folder = tmp_path_factory.mktemp("find") / "data"
    folder.mkdir()
    log, plan = logged(folder, DEAD, "dead.csv")
    result = benchlog.check(log, plan=plan)
    with open_store(str(folder / "records.sqlite")) as store:
        for _ in range(2):
            store.save(result, plan=plan, logs=[log], keep_logs=False)
    return folder


@pytest.fixture(scope="module")
def served(data: Path) -> Iterator[Serving]:
    """One server for all tests of this file."""
    with serving(data) as running:
        yield running


@pytest.fixture(scope="module")
def knowledge(data: Path) -> Knowledge:
    """Of the sheets' plan."""
    return Knowledge(load_plan(data / "plan.toml"))


@pytest.fixture
def context(data: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Context]:
    """The pages' context, with a data folder of its own for sessions."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    made = Context(Settings(), open_store(str(data / "records.sqlite")), Trays(64 << 20))
    yield made
    made.close()


def asked(page: Page) -> str:
    """The name of the test that is shown; its caution stands before what is to be done."""
    expect(page.locator(".step h2")).to_be_visible()
    order = page.evaluate("[...document.querySelector('.step').children].map(e => e.className)")
    assert order.index("caution") < order.index("say")
    return page.locator(".step h2 .log").inner_text()


@pytest.mark.slow
@pytest.mark.parametrize(("record", "width", "scheme"), [(1, 1280, "light"), (2, 390, "dark")])
def test_whole_hunt_on_the_page(opened, knowledge, record, width, scheme):
    """By the keyboard alone, from a failed sheet to the place, and what was mended onto the hand-over sheet."""
    page, trouble = opened(f"/record/{record}/find", width, scheme)
    at, tests, faults = standing(DEAD), [], serious_faults(page)
    while page.locator(".found").count() == 0:
        name = asked(page)
        assert len(tests) < 12
        tests.append(name)
        shown = answer_at(at, knowledge.questions[name])
        if shown in ("yes", "no"):
            expect(page.get_by_role("button", name="Yes", exact=True)).to_be_focused()
            if shown == "no":
                page.keyboard.press("Tab")
        else:
            expect(page.locator(".step input")).to_be_focused()
            page.keyboard.type(shown)
        page.keyboard.press("Enter")
        expect(page.locator(".answers tbody tr")).to_have_count(len(tests))
    heading = page.locator(".found h2").inner_text()
    faults += serious_faults(page)
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    page.get_by_label("What was mended").fill("the joint behind the fuse crimped anew")
    page.keyboard.press("Enter")
    expect(page.get_by_text("This search is kept")).to_be_visible()
    page.get_by_role("link", name="the hand-over sheet").click()
    expect(page.get_by_role("heading", name="Found and mended")).to_be_visible()
    line = page.locator("section", has=page.get_by_role("heading", name="Found and mended")).inner_text()

    assert heading == "Found: fuse out to 30, open"
    assert "Found: fuse out to 30, open, " in line
    assert "mended: the joint behind the fuse crimped anew." in line
    assert faults == []
    assert trouble == []
    assert wide[0] <= wide[1]


@pytest.mark.slow
def test_retested_sheet_says_what_was_mended(data: Path, opened):
    """Mended and tested again, the check passes, and its sheet, which corrects the failed one, tells what was found."""
    made = simulate(GOOD, acceptance_script(rest_s=60), live_logger(200), np.random.default_rng(4), NOT_BEFORE)
    write_csv(made, data / "mended.csv")
    result = benchlog.check(data / "mended.csv", plan=data / "plan.toml")
    found = {"place": DEAD.place, "kind": DEAD.kind, "belief": 0.98, "also": [], "mend": "", "check_again": "feed_drop"}
    with open_store(str(data / "records.sqlite")) as store:
        store.keep_search(1, {"found": found, "answers": []}, "crimped anew")
        logs = [data / "mended.csv"]
        number = store.save(result, plan=data / "plan.toml", logs=logs, keep_logs=False, corrects=1).number
    page, trouble = opened(f"/record/{number}/sheet", 390)

    assert {check.verdict for check in result.checks if check.id in ("feed_drop", "relay_pull_in")} == {"pass"}
    expect(page.get_by_text("crimped anew").last).to_contain_text(
        "Found by the search of record 1: fuse out to 30, open"
    )
    assert trouble == []


def test_page_explains_skips_takes_back_and_refuses(context: Context):
    """What is no answer is told and stays in its field; a test that cannot be done is kept, and taken back."""
    (title, content), whose = find_page(context, "record 1"), behind(context, "record 1")
    first = _test_of(content[2].children)
    refused = str(act(context, "record 1", "enter", first, "many"))
    skipped = act(context, "record 1", "skip", first, "")
    kept = tomllib.loads(answers_path(whose).read_text(encoding="utf-8"))
    stale = str(act(context, "record 1", "yes", first, ""))
    back = act(context, "record 1", "back", first, "")

    assert title == "Find the fault"
    assert '"many" is no answer here; type ' in refused
    assert kept == {"answer": [{"test": first, "skipped": True}]}
    assert _test_of(skipped) != first
    assert "went on elsewhere" in stale
    assert _test_of(back) == first


def test_search_before_filing_goes_on_with_the_sheet(context: Context, tmp_path: Path):
    """Answers about a dropped log are those of its sheet once it is filed; an ended search is kept with it."""
    log, plan = logged(tmp_path, DEAD, "again.csv")
    result = benchlog.check(log, plan=plan)
    checked = Checked(result, load_plan(plan), None, (log,), None, ())
    dropped = Behind("checked x", result, ("again.csv",), checked=checked)
    hunt, at = context.searches.hunt(dropped), standing(DEAD)
    while hunt.found() is None and (question := hunt.next_question()) is not None:
        value = {"yes": 1.0, "no": 0.0}.get(shown := answer_at(at, question))
        hunt.replies.append(Reply(question.name, float(shown.split()[0]) if value is None else value))
    context.searches.write(dropped, hunt)
    number = context.store.save(result, plan=plan, logs=[log], keep_logs=False).number
    take_along(context, dropped, number)
    record = context.store.record(number)
    with pytest.raises(BenchlogError, match="this sheet is not on file"):
        keep(context, dropped, hunt, "")

    assert answers_path(dropped) == log.with_name("again.csv.answers.toml")
    assert context.searches.hunt(behind(context, f"record {number}")).replies == hunt.replies
    assert [(search.place, search.kind) for search in record.searches] == [(DEAD.place, DEAD.kind)]
    assert "Found: fuse out to 30, open" in str(found_and_mended(record))


def test_dropped_answers_are_the_session(context: Context, tmp_path: Path):
    """A file of answers that was dropped in beside the log goes on in the page, whatever it is called."""
    log, plan = logged(tmp_path, DEAD, "dead.csv")
    taken = tmp_path / "from the bench.toml"
    taken.write_text('[[answer]]\ntest = "feed fuse intact"\nseen = "yes"\n', encoding="utf-8")
    checked = Checked(benchlog.check(log, plan=plan), load_plan(plan), None, (log,), None, ())
    whose = Behind("checked x", checked.result, ("dead.csv",), checked=checked)

    assert answers_path(whose) == taken
    assert context.searches.hunt(whose).replies == [Reply("feed fuse intact", 1.0)]


def test_drawing_darkens_the_suspects(knowledge: Knowledge):
    """Each place of the plan is drawn once, marked by its belief; the relay's socket counts with its contact."""
    hunt = Hunt(knowledge)
    suspects = [Suspect("contact", "open", 0.5), Suspect("relay socket", "open", 0.2), Suspect("fuse 2", "open", 0.1)]
    drawn = drawing_of(knowledge.plan, suspects, knowledge.questions["voltage 30 to 87, all on"])
    places = {flaw.place for flaw in knowledge.flaws} - {"relay socket"}

    assert beliefs_of(suspects)["contact"] == pytest.approx(0.7)
    assert [shade(share) for share in (0.0, 0.01, 0.05, 0.1, 0.3, 0.7)] == [0, 1, 2, 3, 4, 5]
    for place in places:
        assert drawn.count(f'data-place="{place}"') == 1
    assert 'class="shade s5" data-place="contact"' in drawn
    assert 'class="shade s3" data-place="fuse 2"' in drawn
    assert ">R</text>" in drawn
    assert hunt.next_question() is not None


def _test_of(content: list) -> str:
    """The name of the test that a page shows."""
    return next(part.data for part in content if getattr(part, "id", None) == "find-test")
