"""The page in a real browser: draws without an error, fits phone and desk, light and dark, and paper."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from report_samples import healthy, nasty, troubled

from benchlog.report.written import write_html

_RESULTS = {"healthy": healthy, "troubled": troubled, "nasty": nasty}

# every text's colour against the first solid colour behind it
_WEAK_TEXTS = """() => {
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const lum = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map((v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const behind = (element) => {
    for (; element; element = element.parentElement) {
      const colour = rgb(getComputedStyle(element).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const weak = [];
  for (const element of document.querySelectorAll("main *")) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    if (!own || element.closest("noscript, title")) continue;
    const style = getComputedStyle(element);
    const text = rgb(element instanceof SVGElement ? style.fill : style.color);
    const [hi, lo] = [lum(text), lum(behind(element))].sort((a, b) => b - a);
    const ratio = (hi + 0.05) / (lo + 0.05);
    if (ratio < 4.5) weak.push([element.className.baseVal ?? element.className, element.textContent, ratio]);
  }
  return weak;
}"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The written pages by name."""
    folder = tmp_path_factory.mktemp("reports")
    for name, make in _RESULTS.items():
        write_html(make(), folder / f"{name}.html")
    return {name: folder / f"{name}.html" for name in _RESULTS}


def _open(browser: Browser, path: Path, width: int, scheme: str = "light") -> tuple[Page, list[str]]:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    trouble: list[str] = []
    page.on("console", lambda message: trouble.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
    page.on("dialog", lambda dialog: (trouble.append("dialog"), dialog.dismiss()))
    page.on("request", lambda request: None if request.url.startswith(("file:", "data:", "blob:"))
            else trouble.append(f"request: {request.url}"))  # fmt: skip
    page.goto(path.as_uri())
    plots = page.locator(".plot").count()
    page.wait_for_function("n => document.querySelectorAll('.plot .main-svg .xtick').length >= n", arg=plots)
    return page, trouble


@pytest.mark.parametrize("name", _RESULTS)
@pytest.mark.parametrize("width", [390, 1280])
def test_page_opens_quietly_and_fits(browser, pages, name, width):
    """No console message, no dialog, no request, and nothing wider than the screen."""
    page, trouble = _open(browser, pages[name], width)
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    out = page.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => !e.closest('thead, .plot, svg, noscript') "
        "&& e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"
    )
    page.close()

    assert trouble == []
    assert wide[0] <= wide[1]
    assert out == []


@pytest.mark.parametrize("width", [390, 1280])
def test_figures_fill_their_boxes(browser, pages, width):
    """Each figure is drawn as wide as its box, and a turned screen redraws it."""
    page, _ = _open(browser, pages["healthy"], width)
    sizes = (
        "[...document.querySelectorAll('.plot')].map(e => [e.clientWidth, e.querySelector('.main-svg').clientWidth])"
    )
    before = page.evaluate(sizes)
    page.set_viewport_size({"width": 700, "height": 900})
    page.wait_for_function(f"() => {sizes}.every(([a, b]) => Math.abs(a - b) <= 1)")
    page.close()

    assert len(before) == 3
    assert all(abs(box - drawn) <= 1 for box, drawn in before)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_text_has_contrast(browser, pages, scheme, width):
    """Every text has a contrast of 4.5:1 at least, figures included (WCAG 2.1, 1.4.3)."""
    page, _ = _open(browser, pages["nasty"], width, scheme)
    weak = page.evaluate(_WEAK_TEXTS)
    dark = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.close()

    assert weak == []
    assert (max(int(x) for x in re.findall(r"\d+", dark)) < 64) is (scheme == "dark")


def test_table_keeps_its_meaning_as_cards(browser, pages):
    """On a phone the checks are cards to the eye and still a table to a screen reader."""
    page, _ = _open(browser, pages["troubled"], 390)
    table = page.get_by_role("table")
    counts = [table.get_by_role(role).count() for role in ("row", "rowheader")]
    shown = page.evaluate("getComputedStyle(document.querySelector('.checks tbody tr')).display")
    page.close()

    assert counts == [20, 19]
    assert shown == "block"


@pytest.mark.parametrize("name", _RESULTS)
def test_page_prints_on_two_sheets(browser, pages, name):
    """A4, two pages at most, figures kept, light even from a dark screen."""
    page, trouble = _open(browser, pages[name], 1280, "dark")
    pdf = page.pdf(prefer_css_page_size=True, print_background=True)
    page.emulate_media(media="print")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.close()
    sizes = {tuple(round(float(x)) for x in box) for box in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)}

    assert 1 <= len(re.findall(rb"/Type /Page\b", pdf)) <= 2
    assert all(abs(w - 595) <= 1 and abs(h - 842) <= 1 for w, h in sizes)  # A4 in points (ISO 216)
    assert sizes
    assert paper == "rgb(255, 255, 255)"
    assert trouble == []


def test_figures_shrink_to_the_paper_and_come_back(browser, pages):
    """Printing draws the figures within the column of the sheet; afterwards they fill the screen again."""
    page, _ = _open(browser, pages["healthy"], 1280)
    width = "document.querySelector('.wide .main-svg').clientWidth"
    before = page.evaluate(width)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    printed = page.evaluate(width)
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.wait_for_function(f"() => {width} === {before}")
    page.close()

    # the A4 column between 13 mm margins, in CSS pixels
    assert printed <= (210 - 26) * 96 / 25.4 < before
