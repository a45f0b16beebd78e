"""The pages in a real browser: every page, phone and desk, light and dark, mouse, keyboard and paper."""

import re
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from conftest import few
from page_browser import serious_faults, settled
from page_server import SAMPLES, Serving, made_store, serving, until
from playwright.sync_api import Page, expect

from benchlog.bench.live import LiveState, LiveStep, write_live

PAGES = {
    "results": ("/", "Results"),
    "record": ("/record/1", "Larch"),
    "failed": ("/record/2", "Larch"),
    "sheet": ("/record/2/sheet", "Larch"),
    "measuring": ("/measuring?record=2", "Larch"),
    "season": ("/season?bike=Larch", "Larch"),
    "bikes": ("/season", "All bikes"),
    "live": ("/live", "Live"),
    "plan": ("/plan", "Plan"),
    "lost": ("/no/such", "Not found"),
}
LOOKS = [(1280, "light"), (390, "dark")]
#: Page and look; always all pages in both looks, and each of the two records in one.
SEEN = [(name, *look) for name in PAGES for look in LOOKS]
ALWAYS = [row for row in SEEN if row not in (("record", *LOOKS[1]), ("failed", *LOOKS[0]))]


#: Gives ``browser`` and ``opened``.
pytest_plugins = ("page_fixtures",)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One server for all tests of this file."""
    with serving(made_store(tmp_path_factory.mktemp("pages") / "data")) as running:
        yield running


@pytest.mark.parametrize(("name", "width", "scheme"), few(SEEN, ALWAYS))
def test_page_opens_quietly_fits_and_is_accessible(opened, name, width, scheme):
    """No console message, no request elsewhere, nothing wider than the screen, no serious fault by axe-core."""
    path, title = PAGES[name]
    page, trouble = opened(path, width, scheme)
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    heading = page.locator("h1").inner_text()
    levels = [int(x) for x in page.evaluate("[...document.querySelectorAll('h1, h2, h3')].map(e => e.tagName[1])")]
    dark = max(int(x) for x in re.findall(r"\d+", page.evaluate("getComputedStyle(document.body).backgroundColor")))
    faults = serious_faults(page)

    assert trouble == []
    assert wide[0] <= wide[1]
    assert heading == title
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert (dark < 64) is (scheme == "dark")
    assert faults == []


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (None, "The server of these pages does not answer. Start benchlog page again, and open the address that it"),
        ((200, '{"title": "cut o'), "The server of these pages does not answer."),
        ((401, "a token is needed; open the address that was printed"), "a token is needed; open the address"),
    ],
)
def test_content_that_does_not_come_is_told(browser, served, answer, said):
    """A server that has ended, or has another token by now, is no page that stays at "Opening"."""
    page = browser.new_page()
    if answer is None:
        page.route("**/content?*", lambda route: route.abort())
    else:
        page.route("**/content?*", lambda route: route.fulfill(status=answer[0], body=answer[1]))
    page.goto(f"{served.url}/record/1")
    expect(page.get_by_role("alert")).to_contain_text(said)
    page.close()


def test_page_that_is_gone_back_to_is_made_anew(opened):
    """Another address in the same document brings that page; the first one's content is not kept for later."""
    page, trouble = opened("/")
    asked = []
    page.on("request", lambda request: asked.append(request.url) if "/content" in request.url else None)
    page.evaluate("history.pushState({}, '', '/live'); dispatchEvent(new PopStateEvent('popstate'))")
    expect(page.locator("h1")).to_have_text("Live")
    page.evaluate("history.back()")
    expect(page.locator("h1")).to_have_text("Results")

    assert [re.search("path=([^&]*)", url)[1] for url in asked] == ["%2Flive", "%2F"]
    assert trouble == []


def _line(page: Page, name: str) -> list[float]:
    """The times of the samples of one drawn line, s."""
    return page.evaluate(
        "name => [...document.querySelector('.log-view .js-plotly-plot')._fullData.find(t => t.name === name).x]", name
    )


def test_zoom_shows_single_samples(opened):
    """A stretch of 20 ms of the log with 500 samples a second shows each of them, and the whole comes back."""
    page, trouble = opened("/record/1")
    view = page.locator("#log-0")
    whole = _line(page, "feed voltage")
    view.get_by_label("From / s").fill("10.000")
    view.get_by_label("to / s", exact=True).fill("10,020")
    view.get_by_role("button", name="Show", exact=True).click()
    expect(view.get_by_role("status")).to_contain_text("every sample")
    near = _line(page, "feed voltage")
    inside = [at for at in near if 10.0 <= at <= 10.02]
    marks = page.evaluate(
        "document.querySelector('.log-view .js-plotly-plot').data.find(t => t.name === 'feed voltage').mode"
    )
    view.get_by_role("button", name="Whole log").click()
    expect(view.get_by_role("status")).to_contain_text("bands")

    assert whole[-1] - whole[0] > 70
    assert len(inside) in (10, 11)
    assert [round(b - a, 3) for a, b in pairwise(inside)] == [0.002] * (len(inside) - 1)
    assert marks == "lines+markers"
    assert len(_line(page, "feed voltage")) == len(whole)
    assert trouble == []


def test_drag_zooms_and_a_check_shows_its_stretch(opened):
    """Dragging across the drawing asks for that stretch; a check's button jumps to the relay's milliseconds."""
    page, trouble = opened("/record/1")
    view = page.locator("#log-0")
    view.scroll_into_view_if_needed()
    area = view.locator(".nsewdrag").last.bounding_box()
    page.mouse.move(area["x"] + area["width"] * 0.4, area["y"] + 20)
    page.mouse.down()
    page.mouse.move(area["x"] + area["width"] * 0.5, area["y"] + 24, steps=5)
    page.mouse.up()
    expect(view.get_by_label("From / s")).not_to_have_value("0")
    dragged = [float(view.get_by_label(label, exact=True).input_value()) for label in ("From / s", "to / s")]
    page.get_by_role("button", name="Show Relay drop-out in the log").click()
    expect(view.get_by_role("status")).to_contain_text("every sample")
    shown = [float(view.get_by_label(label, exact=True).input_value()) for label in ("From / s", "to / s")]

    assert 25 < dragged[0] < 33
    assert dragged[1] - dragged[0] == pytest.approx(7.25, abs=1.0)
    assert shown[0] < 47.501 < 47.508 < shown[1] < 47.7
    assert trouble == []


def test_choosing_a_bike_leaves_its_sheets(opened):
    """The list shows all sheets, and those of one bike once it is chosen; the choice is marked."""
    page, trouble = opened("/")
    rows = page.locator("table.filed tbody tr")
    expect(rows).to_have_count(3)
    page.get_by_role("navigation", name="Choose a bike").get_by_role("link", name="Alder").click()
    expect(page.locator("h1")).to_have_text("Results of Alder")
    expect(rows).to_have_count(1)

    assert page.locator(".chip[aria-current]").inner_text() == "Alder (1)"
    assert trouble == []


def test_times_are_the_readers(opened):
    """A log recorded at 10:00 UTC in March shows the hour of the reader's own zone."""
    page, _ = opened("/record/1", zone="America/New_York")

    expect(page.locator(".boxes")).to_contain_text("1 Mar 2026, 05:00 EST")


def test_dropped_log_is_checked_and_filed(opened):
    """A log with its logger file and plan goes through the tray to a result, and from there on file."""
    page, trouble = opened("/")
    page.locator("#drop-files").set_input_files(
        [SAMPLES / "fault_slow_drop_out.csv", SAMPLES / "fault_slow_drop_out.logger.toml", SAMPLES / "larch.plan.toml"]
    )
    expect(page.locator(".tray li")).to_have_count(3)
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.locator("h1")).to_have_text("Larch")
    settled(page)
    untouched = page.locator("#save-said").text_content()
    verdict = page.locator(".verdict").inner_text()
    page.get_by_label("Notes").fill("dropped in")
    page.get_by_label("Battery or air temperature").fill("hot")
    page.get_by_role("button", name="File the sheet").click()
    expect(page.locator("#save-said")).to_contain_text("must be a number")
    page.get_by_label("Battery or air temperature").fill("21,5")
    page.get_by_role("button", name="File the sheet").click()
    page.wait_for_url("**/record/*")
    expect(page.locator(".boxes")).to_contain_text("dropped in")
    settled(page)

    assert untouched == ""
    assert "fail" in verdict
    assert "21.5 °C" in page.locator(".boxes").first.inner_text()
    assert page.locator(".log-view").count() == 1
    assert trouble == []


def test_unusable_file_is_told_in_words(opened, tmp_path: Path):
    """A log that is none ends in the reader's own message, not in a broken page."""
    bad = tmp_path / "bad.csv"
    bad.write_text("hello\nworld\n")
    page, trouble = opened("/")
    page.locator("#drop-files").set_input_files([bad, SAMPLES / "larch.plan.toml"])
    expect(page.locator(".tray li")).to_have_count(2)
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.locator("h1")).to_have_text("This could not be checked")

    assert "bad.csv" in page.get_by_role("alert").inner_text()
    assert trouble == []


def test_sheet_is_signed_and_prints_behind_the_riders_page(opened):
    """A signature appears at once with name and notes; the rider's page and one or two of figures print, no menu."""
    page, trouble = opened("/record/1/sheet")
    page.get_by_role("button", name="Sign the sheet").click()
    expect(page.locator("#sign-said")).to_contain_text("A name is needed")
    page.get_by_label("Name").fill("bench one")
    page.get_by_label("Notes").fill("fuse 3 to be watched")
    page.get_by_role("button", name="Sign the sheet").click()
    expect(page.locator(".signature")).to_contain_text("bench one")
    printed = page.pdf(prefer_css_page_size=True)
    page.emulate_media(media="print")
    hidden = [page.locator(name).is_visible() for name in (".menu", ".form", ".skip")]
    page.reload()
    expect(page.locator(".signature")).to_contain_text("fuse 3 to be watched")

    assert len(re.findall(rb"/Type\s*/Page\b", printed)) in (2, 3)
    assert hidden == [False, False, False]
    assert trouble == []


def test_failed_sheet_prints_on_two_pages_behind_the_riders(opened):
    """A sheet with what is still open and a set of boxes for a pen fits two pages behind the rider's."""
    page, _ = opened("/record/2/sheet")
    printed = page.pdf(prefer_css_page_size=True)

    assert len(re.findall(rb"/Type\s*/Page\b", printed)) in (2, 3)


def test_a_measuring_sheet_is_filled_in_and_checked_by_keyboard(opened):
    """Figures are typed into the sheet's boxes, a wrong one is named, and the check's verdict comes."""
    page, trouble = opened("/measuring?record=2", 390)
    box = page.get_by_label("Charging, reading in")
    box.focus()
    page.keyboard.type("fourteen")
    page.get_by_role("button", name="Check these readings").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#hand-said")).to_contain_text("Charging: needs a figure as the meter shows it")
    box.fill("14.21")
    page.get_by_label("DC voltage").fill("0.5 % + 2")
    page.get_by_role("button", name="Check these readings").press("Enter")
    expect(page.locator("h1")).to_have_text("Larch")
    row = page.locator("tr", has=page.locator("th", has_text="Charging voltage"))
    expect(row).to_contain_text("within the limits")

    assert trouble == []


def test_keyboard_reaches_the_content(opened):
    """The first stop is the way to the content, every stop shows where it is, and the zoom works without a mouse."""
    page, _ = opened("/record/2")
    page.keyboard.press("Tab")
    first = page.evaluate("document.activeElement.textContent")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Zoom in").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("From / s")).not_to_have_value("0")

    assert first == "Skip to the content"
    assert outline == "solid"
    assert page.url.endswith("#content")


def _write_states(data: Path, stop: threading.Event, monkeypatch: pytest.MonkeyPatch) -> threading.Thread:
    monkeypatch.setenv("BENCHLOG_DATA", str(data))
    began = time.time()

    def write() -> None:
        n = 0
        while not stop.wait(0.1):
            n += 1
            at = tuple(0.1 * k for k in range(n))
            values: list[float | None] = [12 + 0.001 * k for k in range(n)]
            step = LiveStep(
                2, 7, "crank", "Start the engine", "Press the starter.", "Exhaust gas kills: open air only."
            )
            write_live(
                LiveState("ride.csv", "/dev/ttyX", began, time.time(), bike="Larch", rate_hz=500.0, kept=n,
                          last={"battery_v": values[-1], "battery_a": 0.0031, "drain_a": None}, time_s=at,
                          recent={"battery_v": values, "battery_a": values}, step=step)
            )  # fmt: skip

    thread = threading.Thread(target=write)
    thread.start()
    return thread


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_live_page_follows_a_recording(opened, served, monkeypatch, width, scheme):
    """Values, the last minute and the guided step with its caution move on; then the page says it is over."""
    stop = threading.Event()
    thread = _write_states(served.data, stop, monkeypatch)
    try:
        page, trouble = opened("/live", width, scheme)
        expect(page.locator(".step")).to_contain_text("Caution: Exhaust gas kills")
        expect(page.locator(".step h2")).to_have_text("Start the engine")
        newest = page.locator(".reading dd").first
        before = newest.inner_text()
        expect(newest).not_to_have_text(before)
        drawn = until(lambda: page.evaluate("document.querySelector('#live-figure .js-plotly-plot')?.data?.length"))
        faults = serious_faults(page)
        cut = page.locator(".reading").evaluate_all("all => all.filter(e => e.scrollWidth > e.clientWidth).length")
        words = page.locator(".reading").last.inner_text().split("\n")
        wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    finally:
        stop.set()
        thread.join()
    expect(page.locator(".empty")).to_contain_text("Nothing is being recorded")

    assert drawn == 2
    assert cut == 0
    assert words[-1] == "no reading"
    assert faults == []
    assert wide[0] <= wide[1]
    assert trouble == []
