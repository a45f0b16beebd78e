"""The machine's Chromium and pages opened in it, for the tests that look at pages as a reader does."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe
from page_server import Serving, until
from playwright.sync_api import Browser, Page, expect, sync_playwright

# machines that run several things at once are slow to draw
expect.set_options(timeout=30_000)

Opened = tuple[Page, list[str]]

#: The words in every figure and beside it, as boxes: [text, left, top, right, bottom].
WORDS = """() => [...document.querySelectorAll('figure')].filter((f) => f.offsetParent).map((figure) => {
  const box = (e) => { const r = e.getBoundingClientRect(); return [e.textContent, r.left, r.top, r.right, r.bottom]; };
  const all = (what) => [...figure.querySelectorAll(what)].map(box);
  return { own: box(figure), notes: all('.annotation-text'), legend: all('.legend li'), ticks: all('.xtick text'),
           titles: all('.g-xtitle text, .g-ytitle text, .ytick text') };
})"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """The browser; a machine without one fails the tests, since nothing else proves the pages."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@contextmanager
def opening(browser: Browser, served: Serving) -> Iterator[Callable[..., Opened]]:
    """Gives what opens a path: the page, and the list of what goes wrong in it."""
    pages: list[Page] = []

    def open_(path: str, width: int = 1280, scheme: str = "light", zone: str = "Europe/Berlin") -> Opened:
        page = browser.new_page(
            viewport={"width": width, "height": 900}, color_scheme=scheme, timezone_id=zone, accept_downloads=False
        )
        pages.append(page)
        trouble: list[str] = []
        page.on("console", lambda message: trouble.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (trouble.append("dialog"), dialog.dismiss()))
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith((f"{served.url}/", "data:", "blob:"))
                else trouble.append(f"request: {request.url}")
            ),
        )
        page.goto(served.url + path)
        expect(page.locator("h1")).to_be_visible()
        settled(page)
        return page, trouble

    yield open_
    for page in pages:
        page.close()


def settled(page: Page) -> None:
    """Until nothing is being read or drawn any more."""
    expect(page.locator("progress")).to_have_count(0)
    missing = "[...document.querySelectorAll('.plot')].filter(e => e.offsetParent && !e.querySelector('.xtick')).length"
    until(lambda: page.evaluate(missing) == 0)
    page.wait_for_timeout(300)


def serious_faults(page: Page) -> list[tuple[str, list[str]]]:
    """What axe-core calls serious or critical, with the first elements that have it."""
    found = Axe().run(page).response["violations"]
    return [
        (one["id"], [node["html"][:120] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def touching(page: Page) -> list[tuple[str, str]]:
    """Pairs of words that lie over each other in or under one figure, and words that stick out of their figure."""
    found = []
    for figure in page.evaluate(WORDS):
        words = [*figure["notes"], *figure["legend"], *figure["ticks"]]
        for number, one in enumerate(words):
            _, left, top, right, bottom = figure["own"]
            if one[1] < left or one[2] < top or one[3] > right or one[4] > bottom:
                found.append((one[0], "beyond its figure"))
            found += [(one[0], other[0]) for other in words[number + 1 :] if _over(one, other)]
    return found


def _over(one: list, other: list) -> bool:
    """Whether two boxes overlap by more than the air that a line of text has around it, 2 px."""
    across = min(one[3], other[3]) - max(one[1], other[1])
    down = min(one[4], other[4]) - max(one[2], other[2])
    return across > 2 and down > 2
