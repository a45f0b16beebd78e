"""The job sheet and the page say what the result says, and no name from a file can break them."""

import base64
import gzip
import itertools
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plotly.offline import get_plotlyjs
from report_samples import NASTY, healthy, nasty, troubled
from rich.cells import cell_len

from benchlog.core.errors import BenchlogError
from benchlog.core.folding import held_together
from benchlog.report import words
from benchlog.report.bar import bar
from benchlog.report.written import render_html, render_text, write_html
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import VERDICTS, Check, Limit, Result

_RESULTS = {"healthy": healthy, "troubled": troubled, "nasty": nasty}


class _Page(HTMLParser):
    """Start tags with their attributes, and the text outside scripts and styles."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.comments: list[str] = []
        self._raw = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._raw = tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._raw = False

    def handle_data(self, data: str) -> None:
        if not self._raw:
            # a space that holds a number to its unit reads like any other
            self.text += data.replace("\u00a0", " ")

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def _check(**change: object) -> Check:
    base = {"id": "feed_drop", "title": "Feed drop", "verdict": "pass", "unit": "V", "because": "so."}
    return Check.model_validate({**base, **change})


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (0.84, 0.06, "0.840 ± 0.060"),
        (12.61234, 0.0263, "12.612 ± 0.026"),
        (1234.5, 567.0, "1230 ± 570"),
        (100.0, 200.0, "100 ± 200"),
        (0.5, 0.0996, "0.50 ± 0.10"),
        (-1.624, 0.09, "−1.624 ± 0.090"),
        (-0.001, 0.021, "−0.001 ± 0.021"),
        (-0.0001, 0.21, "0.00 ± 0.21"),
        (41.30, None, "41.3"),
        (0.0, 0.0, "0"),
        (0.30042, None, "0.3004"),
        (123456.0, None, "123456"),
    ],
)
def test_uncertainty_has_two_digits_and_the_value_matches(value, uncertainty, shown):
    """The uncertainty carries two significant digits, the value ends at the same place (JCGM 100:2008, 7.2.6)."""
    got = words.with_uncertainty(value, uncertainty)

    assert got == shown


@pytest.mark.parametrize(
    ("limit", "unit", "shown"),
    [
        (Limit(max=0.3), "V", "at most 0.3 V"),
        (Limit(min=12.6), "V", "at least 12.6 V"),
        (Limit(min=13.5, max=14.8), "V", "13.5 to 14.8 V"),
        (Limit(max=0), "1", "at most 0"),
        (Limit(), "V", ""),
        (None, "V", ""),
    ],
)
def test_limit_in_words(limit, unit, shown):
    """Each kind of limit has its own words; a count has no unit."""
    got = words.limit_words(_check(limit=limit, unit=unit))

    assert got == shown


@pytest.mark.parametrize("name", _RESULTS)
@pytest.mark.parametrize("width", [40, 80, 120])
def test_no_line_is_wider_than_asked(name, width):
    """Every line of the job sheet fits its columns."""
    text = render_text(_RESULTS[name](), width=width)

    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert text.endswith("\n")


@given(st.text(max_size=200), st.text(max_size=200))
@settings(max_examples=50, deadline=None)
def test_no_name_widens_or_steers_the_job_sheet(bike, because):
    """Any text in a name or a sentence stays on printable lines of 80 columns."""
    result = troubled()
    check = result.checks[0].model_copy(update={"title": bike, "because": because})
    text = render_text(result.model_copy(update={"bike": bike, "checks": [check, *result.checks[1:]]}))

    assert max(cell_len(line) for line in text.split("\n")) <= 80
    assert all(char.isprintable() for char in text.replace("\n", ""))


def test_job_sheet_gives_the_verdict_before_any_check():
    """The overall verdict, as shape and word, stands above the first check."""
    text = render_text(troubled())

    assert text.index("▲ FAIL\n") < text.index("Feed drop ·")
    assert "2 of 17 planned checks failed" in text
    assert "11 of 17 planned checks passed (64.7 %)" in text


def test_job_sheet_puts_what_failed_first():
    """Groups come in the order fail, not proven, not seen, pass, not planned."""
    text = render_text(troubled())

    places = [text.index(f"── {word}, ") for word in ("FAIL", "NOT PROVEN", "NOT SEEN", "PASS", "NOT PLANNED")]

    assert places == sorted(places)


@pytest.mark.parametrize("name", _RESULTS)
def test_job_sheet_shows_every_check_once_with_its_reason(name):
    """Each check's title opens one line, and its sentence follows."""
    result = _RESULTS[name]()
    text = render_text(result, width=200)

    for check in result.checks:
        assert len(re.findall(rf"^{words.SHAPES[check.verdict]} {re.escape(check.title)} ", text, re.MULTILINE)) == 1
        assert check.because in text


def test_job_sheet_tells_a_cause_under_the_check_it_explains():
    """A cause is told in full under the first check it explains and only named under the next."""
    text = render_text(troubled(), width=120)

    drain, drop, added = (text.index(f"{title} ·") for title in ("Off-state drain", "Feed drop", "Added drain"))

    assert drain < text.index("→ likely cause: a device is fed around the relay (fit 62 %)") < drop
    assert drop < text.index("next test: measure across each joint of the feed") < added
    assert added < text.index("→ likely cause, as above: a device is fed around the relay")
    assert text.count("steady 14.6 mA with the feed dead") == 1


def test_job_sheet_keeps_a_cause_that_explains_no_open_check():
    """A cause whose checks all passed is still told."""
    result = healthy().model_copy(update={"causes": troubled().causes[:1]})

    text = render_text(result)

    assert "Worth a look" in text
    assert "a poor joint or too thin a wire in the feed" in text


def test_colour_changes_nothing_but_colour():
    """Without its colour codes the coloured sheet is the plain one."""
    plain, coloured = render_text(troubled()), render_text(troubled(), colour=True)

    assert "\x1b" not in plain
    assert coloured != plain
    assert re.sub(r"\x1b\[[\d;]*m", "", coloured) == plain


def test_terminal_codes_in_names_do_not_reach_the_terminal():
    """An escape sequence in a bike's name is shown as a replacement character."""
    text = render_text(troubled(bike="La\x1b[2Jrch\x07"))

    assert "\x1b" not in text
    assert "\x07" not in text


def test_a_plan_without_limits_is_not_called_good():
    """Where nothing is planned, both reports say that nothing was judged."""
    result = healthy()
    checks = [c.model_copy(update={"verdict": "not planned", "limit": None, "margin_pct": None}) for c in result.checks]
    score = result.score.model_copy(update={"passed": 0, "not_planned": 19, "percent": None, "closest": None})
    empty = result.model_copy(update={"checks": checks, "score": score})

    for report in (render_text(empty), render_html(empty)):
        assert "The plan gives no limits, so nothing was judged." in report


@pytest.mark.parametrize(
    ("text", "held"),
    [
        ("dropped 0.0231 V at 12 A", "dropped 0.0231_V at 12_A"),
        ("33.5 ± 0.6 ms, at most 25 mA", "33.5 ±_0.6_ms, at most 25_mA"),
        ("3.5 mΩ, 80 % of 11.2 Ah at 20 °C", "3.5_mΩ, 80_% of 11.2_Ah at 20_°C"),
        ("2 verdicts, 3 mornings, slot 2 stays", "2 verdicts, 3 mornings, slot 2 stays"),
        ("in 5 min and 7 h", "in 5_min and 7_h"),
    ],
)
def test_numbers_stay_with_their_units(text, held):
    """No line of a page ends between a number and its unit; other spaces break (common practice, no source)."""
    assert held_together(text) == held.replace("_", "\u00a0")


@pytest.mark.parametrize("name", _RESULTS)
def test_page_shows_every_check_in_a_row(name):
    """Each check has a row with title, verdict word, figure, limit and sentence."""
    result = _RESULTS[name]()
    page = _Page(render_html(result))

    rows = [attrs for attrs in page.named("tr") if "r-" in (attrs.get("class") or "")]

    assert len(rows) == len(result.checks)
    for check in result.checks:
        assert check.title in page.text
        assert check.because in page.text
        assert words.measured_words(check) in page.text
        assert words.limit_words(check) in page.text


def test_page_has_a_word_and_a_shape_for_each_verdict():
    """Every verdict word stands beside a drawn shape, and no two shapes are the same."""
    page = render_html(troubled())

    shapes = dict(re.findall(r'<span class="badge v-[\w-]+"><svg[^>]*>(.*?)</svg>([\w ]+)</span>', page))

    assert sorted(shapes.values()) == sorted(VERDICTS)
    assert len(shapes) == len(VERDICTS)


def test_page_is_semantic():
    """Language, title, one main, one h1, headings that skip no level, scoped table heads."""
    page = _Page(render_html(nasty()))
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]

    assert page.named("html") == [{"lang": "en"}]
    assert len(page.named("title")) == len(page.named("main")) == levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert {attrs.get("scope") for attrs in page.named("th")} == {"row", "col"}


def test_page_escapes_every_name():
    """Markup in bike, device, log and note names is text: no element or comment comes of it."""
    page = _Page(render_html(nasty()))

    assert len(page.named("script")) == 3  # plotly's script, the figures, and what draws them
    assert page.comments == []
    assert page.text.count(NASTY) >= 4
    assert "<script>alert" not in render_html(troubled(bike=NASTY, log=NASTY))


def test_page_asks_for_nothing_from_outside():
    """No element of the page names an address, and its policy forbids loading any."""
    page = _Page(render_html(nasty()))

    addresses = [attrs[key] for _, attrs in page.tags for key in ("src", "href", "srcset", "action") if key in attrs]
    policies = [attrs["content"] for attrs in page.named("meta") if "http-equiv" in attrs]

    assert addresses == ["data:,"]
    assert len(policies) == 1
    assert "default-src 'none'" in str(policies[0])


def test_page_carries_plotly_only_for_figures():
    """plotly.js is inside once where there is evidence, and not at all where there is none."""
    with_figures, without = render_html(healthy()), render_html(troubled())

    held = re.findall(r'<script type="application/gzip" id="plotly">([A-Za-z0-9+/=]+)</script>', with_figures)
    assert len(held) == 1
    assert gzip.decompress(base64.b64decode(held[0])).decode() == get_plotlyjs()
    assert len(with_figures.encode()) < 2.5e6
    assert "plotly" not in without
    assert "<script" not in without


def test_figures_cannot_end_their_script():
    """The figures' JSON holds no character that opens or ends a tag."""
    held = re.findall(r'<script type="application/json" id="figures">(.*?)</script>', render_html(healthy()), re.DOTALL)

    assert len(held) == 1
    assert not set(held[0]) & set("<>&\u2028\u2029")
    assert len(json.loads(held[0])) == 3
    assert "<extra></extra>" in str(json.loads(held[0]))


def test_page_tells_what_to_do_next_only_where_something_is_open():
    """Causes with evidence and next test, then the open checks that no cause explains."""
    good, bad = _Page(render_html(healthy())).text, _Page(render_html(troubled())).text

    assert "What to do next" not in good
    for text in ("What to do next", "48 mΩ measured, 16 mΩ planned", "pull one fuse after the other", "Still open"):
        assert text in bad


def test_page_says_the_same_reason_once():
    """Checks that are open for one and the same reason share one line."""
    result = troubled()
    why = "No key-off stretch stayed settled for 120 s."
    changed = [
        check.model_copy(update={"verdict": "not seen", "because": why})
        if check.id in ("feed_off_voltage", "settle_time", "resting_voltage")
        else check
        for check in result.checks
    ]
    page = render_html(result.model_copy(update={"checks": changed, "causes": []}))
    steps = page[page.index("What to do next") : page.index("<h2>Checks</h2>")]

    assert steps.count(held_together(why)) == 1
    assert "Settling after key-off, Feed voltage, key off, Resting voltage" in steps


def test_page_draws_no_bar_for_limits_that_contradict():
    """Where no value is allowed there is no stretch to draw, and the limit says so in words."""
    check = next(check for check in healthy().checks if check.id == "slot_1_current")
    check = check.model_copy(update={"limit": Limit(min=4.8, max=4.0)})

    assert bar(check) == ""
    assert words.limit_words(check) == "at least 4.8 A and at most 4 A: no value can meet it"


@pytest.mark.parametrize("text", ["Cautions", "service manual", "Hand-over", "Signed by", "Date"])
def test_page_ends_as_a_hand_over_sheet(text):
    """Cautions and lines to sign stand on every page."""
    assert text in _Page(render_html(healthy())).text


@pytest.mark.parametrize(
    ("measured", "limit", "inside"),
    [
        (0.2, Limit(max=0.3), True),
        (0.4, Limit(max=0.3), False),
        (12.8, Limit(min=12.6), True),
        (12.1, Limit(min=12.6), False),
        (15.0, Limit(min=13.5, max=14.8), False),
        (-2.0, Limit(min=-1.0, max=1.0), False),
        (0.0, Limit(max=0.0), True),
    ],
)
def test_bar_draws_the_value_on_its_side_of_the_limit(measured, limit, inside):
    """The value's mark lies on the allowed stretch exactly where the value is allowed."""
    drawn = bar(_check(measured=measured, limit=limit, uncertainty=0.01))
    left, width = (float(x) for x in re.findall(r'class="allowed" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', drawn)[0])
    at = float(re.findall(r'class="value[^"]*" d="M([\d.]+) ', drawn)[0])

    assert (left - 0.1 <= at <= left + width + 0.1) is inside
    assert 0 <= at <= 200


@pytest.mark.parametrize("change", [{"limit": Limit(max=1)}, {"measured": 1.0}, {"measured": 1.0, "limit": Limit()}])
def test_bar_is_left_out_where_there_is_nothing_to_compare(change):
    """No value or no limit: no drawing."""
    assert bar(_check(**change)) == ""


def test_written_page_is_the_rendered_one(tmp_path: Path):
    """The file holds the page, replaces an older one and leaves nothing beside it."""
    target = tmp_path / "report.html"
    target.write_text("old", encoding="utf-8")

    write_html(troubled(), target)

    assert target.read_text(encoding="utf-8") == render_html(troubled())
    assert os.listdir(tmp_path) == ["report.html"]


def test_a_failed_write_leaves_the_old_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Where the last step fails, the older file is whole and no part file stays."""
    target = tmp_path / "report.html"
    target.write_text("old", encoding="utf-8")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(BenchlogError, match=r"report\.html: the report cannot be written \(no space left"):
        write_html(troubled(), target)

    assert target.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["report.html"]


@pytest.mark.parametrize(
    ("name", "message"),
    [("missing/report.html", "no such file"), ("file/report.html", "not a directory"), (".", "this is a folder")],
)
def test_an_unusable_target_is_named(tmp_path: Path, name: str, message: str):
    """A folder that is missing or no folder, or a folder as the name, is refused in plain words."""
    (tmp_path / "file").touch()

    with pytest.raises(BenchlogError, match=message):
        write_html(troubled(), tmp_path / name)

    assert sorted(os.listdir(tmp_path)) == ["file"]


def test_reports_are_the_same_each_time():
    """Two renderings of one result are equal."""
    result: Result = nasty()

    assert render_html(result) == render_html(result)
    assert render_text(result) == render_text(result)


def test_failed_check_without_a_cause_still_names_a_next_test():
    """Where no fault of the list fits, text and page say what to test first; where one does, it alone speaks."""
    alone = troubled().model_copy(update={"causes": []})
    failed = [check for check in alone.checks if check.verdict == "fail"]
    text, page = " ".join(render_text(alone, width=100).split()), _Page(render_html(alone)).text
    explained = {check_id for cause in troubled().causes for check_id in cause.explains}

    assert failed
    for check in failed:
        test = words.next_test_of(alone, check)
        assert test.startswith("None of the known faults explains it. Next test: ")
        assert f"→ {test}" in text
        assert test in page
    assert {words.next_test_of(alone, check) for check in alone.checks if check.verdict != "fail"} == {""}
    assert {check.id for check in failed if words.next_test_of(troubled(), check)} == {c.id for c in failed} - explained


@pytest.mark.parametrize("kind", CHECKS, ids=lambda kind: kind.id)
def test_every_check_has_a_first_test(kind):
    """Whichever check fails, there is something to test next."""
    assert kind.first_test
