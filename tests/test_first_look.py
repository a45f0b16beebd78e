"""The still drawing that the server writes into a page: where plotly draws, and gone when plotly has drawn."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from page_browser import opening
from page_server import Serving, made_store, serving, until
from playwright.sync_api import Browser, expect

from benchlog.report.figures.still import ACROSS, still
from benchlog.store import open_store
from dashboards.app import make_app
from dashboards.context import Context
from dashboards.document import PLOTLY_PATH
from dashboards.first_look import first_look
from dashboards.log_view import whole_figure
from dashboards.looked import at_hand, behind, reading
from dashboards.settings import Settings
from dashboards.trays import Trays

_SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A data folder whose first sheet's log is at hand to be drawn; this process's own, as is its drawings' key."""
    folder = made_store(tmp_path_factory.mktemp("first") / "data")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BENCHLOG_DATA", str(folder))
        context = _context(folder)
        job = reading(context, behind(context, "record 1"), 0)
        assert job is not None
        until(lambda: job.state == "done")
        context.close()
        yield folder


def _context(data: Path) -> Context:
    return Context(Settings(), open_store(str(data / "records.sqlite")), Trays(1 << 20))


def _parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1))


def test_still_shows_a_step_where_it_happened():
    """A voltage that steps at half of the time is drawn with its step half way across, the higher level above."""
    time_s = np.array([0.0, 50.0, 50.0, 100.0])
    figure = {
        "layout": {"margin": {"l": 90, "r": 10, "t": 10, "b": 40}, "height": 250, "shapes": [],
                   "xaxis": {"range": [0.0, 100.0]},
                   "yaxis": {"domain": [0, 1], "title": {"text": "Voltage / V"}, "range": [0.0, 20.0]}},
        "data": [{"yaxis": "y", "x": time_s, "y": np.array([5.0, 5.0, 15.0, 15.0]), "line": {"color": "#2f7fc1"}}],
    }  # fmt: skip

    path = _parsed(still(figure)).find(f".//{_SVG}path")

    assert path is not None
    # 200 px inside: 5 V of 20 V lie 150 px below the top, 15 V 50 px
    assert path.get("d") == f"M0 150L{ACROSS / 2:g} 150L{ACROSS / 2:g} 50L{ACROSS:g} 50"


def test_still_leaves_a_gap_where_the_log_has_one():
    """A missing value lifts the pen: no line leads across it."""
    figure = {
        "layout": {"margin": {"l": 0, "r": 0, "t": 0, "b": 0}, "height": 100, "shapes": [],
                   "xaxis": {"range": [0.0, 3.0]}, "yaxis": {"domain": [0, 1], "title": {"text": "V"}}},
        "data": [{"yaxis": "y", "x": np.arange(4.0), "y": np.array([1, np.nan, 1, 2]), "line": {"color": "#000"}}],
    }  # fmt: skip

    drawn = _parsed(still(figure)).find(f".//{_SVG}path").get("d")

    assert drawn.count("M") == 2


def test_still_has_every_line_of_the_figure(data: Path):
    """Each line and band that plotly draws of a log with samples stands in the still drawing, as do rows' names."""
    context = _context(data)
    whose = behind(context, "record 1")
    looked = at_hand(context, whose, 0)
    assert looked is not None
    figure = whole_figure(looked, whose.result)

    drawn = _parsed(still(figure))
    words = [word.text for word in drawn.iter(f"{_SVG}text")]

    lines = [trace for trace in figure["data"] if trace["type"] == "scatter"]
    assert len(list(drawn.iter(f"{_SVG}path"))) == len(lines)
    assert {"Voltage / V", "Current, stretched", "cranking", "running"} <= set(words)
    context.close()


def test_a_page_without_a_log_has_no_first_look(data: Path, tmp_path: Path):
    """Lists, unknown records and logs that must be read first have no still drawing, and nothing breaks."""
    context = _context(data)
    unread = made_store(tmp_path / "unread")
    other = _context(unread)

    assert "still" in first_look(context, "/record/1")
    for path in ("/", "/live", "/record/999", "/record/x", "/checked/none"):
        assert first_look(context, path) == ""
    assert first_look(other, "/record/1") == ""
    context.close()
    other.close()


def test_document_shows_its_first_look_by_itself(data: Path):
    """No style sheet and no script stand between a browser and the drawing: what it needs is in the document."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BENCHLOG_DATA", str(data))
        app, close = make_app(Settings())
        document = app.server.test_client().get("/record/1", headers={"Host": "127.0.0.1:8127"}).get_data(as_text=True)
        close()
    before, _, after = document.partition('<svg class="still"')

    assert after
    assert "stylesheet" not in before
    assert re.findall(r"<script[^>]* src=[^>]*>", before) == [f'<script defer src="{PLOTLY_PATH}">']
    for rule in (".still {", "--ink:", ".menu {"):
        assert rule in before


@pytest.fixture(scope="module")
def served(data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """The pages over a copy of that folder."""
    copy = tmp_path_factory.mktemp("served") / "data"
    shutil.copytree(data, copy)
    with serving(copy) as running:
        yield running


@pytest.mark.parametrize("width", [1280, 390])
def test_still_gives_way_to_the_figure(browser: Browser, served: Serving, width: int):
    """Without its scripts the page shows the drawing; with them nothing of it is left once plotly has drawn."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.route("**/_dash-component-suites/**", lambda route: route.abort())
    page.goto(f"{served.url}/record/1")
    box = page.locator("#first-look svg.still").bounding_box()
    page.close()

    with opening(browser, served) as open_:
        whole, trouble = open_("/record/1", width)
        expect(whole.locator(".still")).to_have_count(0)
        expect(whole.locator("#first-look")).to_have_count(0)
        assert trouble == []

    assert box is not None
    assert box["width"] > 0.75 * width
    assert box["x"] + box["width"] <= width


def test_still_names_rows_as_text_only():
    """A row's name that looks like a tag is shown, not obeyed."""
    figure = {
        "layout": {"margin": {"l": 0, "r": 0, "t": 0, "b": 0}, "height": 100, "shapes": [],
                   "xaxis": {"range": [0.0, 1.0]},
                   "yaxis": {"domain": [0, 1], "type": "category", "categoryarray": ["<b>x</b>"]}},
        "data": [],
    }  # fmt: skip

    assert not re.search("<b>", still(figure))
