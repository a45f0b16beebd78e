"""Seasons and the fuse-pull walk in a real browser: words, dates for one reading, changes noted and taken back."""

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime

import pytest
from conftest import few
from page_browser import serious_faults, settled, touching
from page_server import NASTY, SAMPLES, Serving, fill, serving
from playwright.sync_api import expect
from test_fuse_walk import AROUND, _walked
from truth_table import canonical_logger

import benchlog
from benchlog.store import open_store

LOOKS = [(1280, "light"), (390, "dark")]
#: Numbers of the records that the store is filled with.
GOOD, WALK = 41, 44


#: Path and look; always the seasons in both looks, and each of the two records in one.
SEEN = [(path, *look) for path in ("/season?bike=Larch", "/season?bike=Alder") for look in LOOKS]
SEEN += [(f"/record/{number}", *look) for number in (GOOD, WALK) for look in LOOKS]
ALWAYS = [*SEEN[:4], (f"/record/{GOOD}", *LOOKS[0]), (f"/record/{WALK}", *LOOKS[1])]


#: Gives ``browser`` and ``opened``.
pytest_plugins = ("page_fixtures",)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """The sample season of "Larch", one reading of "Alder", and a walk of "Rowan"."""
    data = tmp_path_factory.mktemp("season") / "data"
    data.mkdir()
    shutil.copy(SAMPLES / "season" / "records.sqlite", data / "records.sqlite")
    sim = _walked(AROUND)
    plan, log, logger = data / "rowan.plan.toml", data / "walk.csv", canonical_logger(sim.spec)
    plan.write_text(sim.plan_toml.replace('"Larch"', '"Rowan"'), encoding="utf-8")
    sim.frame.to_csv(log, index=False)
    with open_store(str(data / "records.sqlite")) as store:
        fill(store, data)
        result = benchlog.check(log, plan=plan, logger=logger)
        store.save(result, plan=plan, loggers=logger, logs=[log], recorded_at=datetime(2026, 5, 3, 9, tzinfo=UTC))
    with serving(data) as running:
        yield running


@pytest.mark.parametrize(("path", "width", "scheme"), few(SEEN, ALWAYS))
def test_words_of_figures_touch_nothing(seen, path, width, scheme):
    """No word over another or over which line is which, none beyond its figure; nothing on the console."""
    page, trouble = seen(path, width, scheme)
    if path.startswith("/record"):
        expect(page.locator(".log-view + .figures .js-plotly-plot").last).to_be_visible()
        expect(page.locator("#circuits .js-plotly-plot")).to_be_visible()
        settled(page)
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")

    assert page.locator(".plot .legend").count() == 0
    assert page.locator("figure .legend li").count() > 0
    assert touching(page) == []
    assert serious_faults(page) == []
    assert wide[0] <= wide[1]
    assert trouble == []


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_one_reading_stands_among_dates(seen, width, scheme):
    """The only reading of a quantity: the ticks are days of a month, level, none of them a time of day."""
    page, trouble = seen("/season?bike=Alder", width, scheme)
    ticks = page.locator("figure .xtick text").all_text_contents()
    transforms = page.locator("figure .xtick text").evaluate_all("all => all.map(e => e.getAttribute('transform'))")
    turned = [one for one in transforms if re.search(r"rotate\((?!0[,)])", one or "")]

    assert len(ticks) >= 6
    assert all(re.match(r"\d{1,2} [A-Z][a-z]{2}", tick) for tick in ticks)
    assert turned == []
    assert trouble == []


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_word_of_a_change_stands_above_its_line(seen, width, scheme):
    """The word begins at the dotted line, above the plot and above everything that is drawn."""
    page, _ = seen("/season?bike=Larch", width, scheme)
    word = page.locator("figure .annotation-text", has_text="change").first.bounding_box()
    plot = page.locator("figure .nsewdrag").first.bounding_box()

    assert word["y"] + word["height"] <= plot["y"] + 2
    assert plot["x"] < word["x"] < plot["x"] + plot["width"]


def test_change_is_noted_on_the_page(opened, served):
    """A wrong word is told; a right one stands in the list, as text, and the figures are drawn anew."""
    page, trouble = opened("/season?bike=Larch", 390)
    page.get_by_role("button", name="Note the change").click()
    expect(page.locator("#change-said")).to_contain_text("Say what was changed")
    page.get_by_label("Day of the change").fill("2025-09-20")
    page.get_by_label("What was changed").fill(f"new battery {NASTY}"[:200])
    page.get_by_role("button", name="Note the change").click()
    listed = page.locator("section", has=page.get_by_role("heading", name="Changes")).locator("li")
    expect(listed.first).to_contain_text(f"20 September 2025: new battery {NASTY}")
    settled(page)
    expect(page.locator(".noted")).to_contain_text(f"Noted: 20 September 2025: new battery {NASTY}")
    kind = page.get_by_label("Day of the change").get_attribute("type")
    with open_store(str(served.data / "records.sqlite")) as store:
        changes = store.changes("Larch")
        # drawings are sealed with the server's own secret, which this process does not have
        troubles = [one for one in store.verify() if not one.harmless]

    assert kind == "date"
    assert [change.what for change in changes] == [f"new battery {NASTY}"]
    assert troubles == []
    assert trouble == []


def test_change_is_taken_back_with_the_keyboard(opened, served):
    """The button is reached by Tab and says what it takes back; the list, the figures and the store know it no more."""
    slip = "heated grips, on the wrong bike"
    with open_store(str(served.data / "records.sqlite")) as store:
        number = store.note_change("Larch", date(2025, 6, 1), slip).number
        kept = [change.what for change in store.changes("Larch") if change.number != number]
    page, trouble = opened("/season?bike=Larch", 390)
    changes = page.locator("section", has=page.get_by_role("heading", name="Changes"))
    button = changes.get_by_role("button", name=f"Take back: 1 June 2025: {slip}")
    expect(button).to_have_text("Take back")
    box = button.bounding_box()
    serious = serious_faults(page)
    for _ in range(60):
        page.keyboard.press("Tab")
        if button.evaluate("e => e === document.activeElement"):
            break
    page.keyboard.press("Enter")
    sure = page.get_by_role("button", name="Yes, take it back")
    expect(sure).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#change-back-said")).to_have_text("It stays.")
    button.press("Enter")
    expect(sure).to_be_focused()
    page.keyboard.press("Enter")
    expect(changes.get_by_text(slip)).to_have_count(0)
    expect(page.get_by_label("What was changed")).to_be_visible()
    settled(page)
    with open_store(str(served.data / "records.sqlite")) as store:
        after = [change.what for change in store.changes("Larch")]
        # drawings are sealed with the server's own secret, which this process does not have
        troubles = [one for one in store.verify() if not one.harmless]

    assert box["height"] >= 24
    assert box["x"] + box["width"] <= 390
    assert after == kept
    assert serious == []
    assert troubles == []
    assert trouble == []


def test_change_that_is_gone_is_said_beside_the_list(opened, served):
    """Taken back elsewhere meanwhile: one sentence in the page's status, and nothing is written a second time."""
    with open_store(str(served.data / "records.sqlite")) as store:
        number = store.note_change("Larch", date(2025, 6, 2), "new tyres").number
        page, trouble = opened("/season?bike=Larch")
        store.take_back(number)
        entries, _ = store.head()
        page.get_by_role("button", name="Take back: 2 June 2025: new tyres").click()
        expect(page.locator("#change-back-said")).to_have_text(
            "This change is no longer in the list; open the season again."
        )

        assert store.head()[0] == entries
    assert trouble == []


@pytest.mark.parametrize("path", [f"/record/{WALK}", f"/record/{WALK}/sheet"])
def test_walk_is_a_table(opened, path):
    """What each circuit draws is a table with a caption, a heading for each column, and a row for each circuit."""
    page, trouble = opened(path)
    table = page.get_by_role("table", name="By pulling one fuse after another")
    rows = table.get_by_role("row").all_inner_texts()

    assert table.get_by_role("columnheader").all_inner_texts() == ["Circuit", "Current", "Share"]
    assert len(rows) == 6
    assert re.match(r"slot 3, auxiliary lamp\s+18\.002 ± 0\.063 mA\s+97 % of the drain", rows[3])
    assert trouble == []


def test_sheet_with_a_walk_prints_on_two_pages_behind_the_riders(opened):
    """The table of the walk leaves the hand-over sheet on two pages behind the rider's."""
    page, _ = opened(f"/record/{WALK}/sheet")
    printed = page.pdf(prefer_css_page_size=True)

    assert len(re.findall(rb"/Type\s*/Page\b", printed)) in (2, 3)


def test_figures_are_drawn_for_paper_and_back(opened):
    """Printed, a figure is as wide as its column, 182 or 88 mm, and stays so; afterwards it is as it was."""
    sizes = """[...document.querySelectorAll('.plot .js-plotly-plot')].map((plot) =>
      [plot.querySelector('.main-svg').getBoundingClientRect(), plot._fullLayout.font.size].flatMap((one) =>
        one.width === undefined ? [one] : [Math.round(one.width), Math.round(one.height)]))"""
    page, trouble = opened("/season?bike=Larch")
    before = page.evaluate(sizes)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.wait_for_timeout(500)
    paper = page.evaluate(sizes)
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.wait_for_timeout(500)

    assert [width for width, _, _ in paper] == [688, 333, 333, 333, 333]
    assert all(height < screen for (_, height, _), (_, screen, _) in zip(paper, before, strict=True))
    assert {size for _, _, size in paper} == {8}
    assert page.evaluate(sizes) == before
    assert trouble == []
