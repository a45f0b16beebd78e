"""The season's page in a real browser: draws without an error, fits phone and desk, readable in light and dark."""

from pathlib import Path

import pytest
from page_browser import touching
from test_report_browser import _WEAK_TEXTS, _open
from test_season_report import made

from benchlog.season.report import render_html


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season with an ageing battery that is near its limit, and a new one."""
    page = tmp_path_factory.mktemp("season") / "season.html"
    page.write_text(render_html(made("Larch", crank_minimum=-1.0)), encoding="utf-8")
    return page


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light"), (390, "light"), (1280, "dark")])
def test_page_opens_quietly_fits_and_can_be_read(browser, path, width, scheme):
    """No console message, no request, nothing wider than the screen, every text at 4.5:1 (WCAG 2.1, 1.4.3)."""
    page, trouble = _open(browser, path, width, scheme)
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    weak = page.evaluate(_WEAK_TEXTS)
    drawn = page.evaluate(
        "[...document.querySelectorAll('.plot')].map(e => [e.clientWidth, e.querySelector('.main-svg').clientWidth])"
    )
    touched = touching(page)
    page.close()

    assert trouble == []
    assert touched == []
    assert wide[0] <= wide[1]
    assert weak == []
    assert len(drawn) == 5
    assert all(abs(box - svg) <= 1 for box, svg in drawn)
