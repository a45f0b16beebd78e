"""The result as one HTML page: opens from a memory stick, needs no network, prints as a hand-over sheet."""

from typing import TYPE_CHECKING

from benchlog.core.note import Note
from benchlog.report import words
from benchlog.report.bar import bar
from benchlog.report.figures.in_page import FigureBox, boxes_of, page_parts
from benchlog.report.figures.loads import Where
from benchlog.report.rider import ADVICE, RiderPage
from benchlog.report.templating import filled_in
from benchlog.verdict.result import Cause, Result

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types


_LOG_CAPTION = (
    "The whole log: mean as a line, minimum to maximum as a band. Currents are on a stretched scale, each mark ten "
    "times the one before; below zero the battery is charging."
)

#: Also under the figures of the pages.
LOAD_CAPTIONS: dict[Where, str] = {
    "battery": "Battery voltage against its current, engine off. The slope is the source resistance.",
    "feed": "Voltage lost from battery + to the fuse block against the load through the feed.",
    "return": "Ground bus above battery negative against the load through the feed.",
}
OFF_CAPTION = "The current after key-off until it has settled, from milliamperes to amperes."
#: Figures that paper has no room for; the table says what they prove.
_SCREEN_ONLY = {*LOAD_CAPTIONS.values(), OFF_CAPTION}


def render_html(result: Result, *, kept: str = "", rider: RiderPage | None = None) -> str:
    """The whole page. plotly.js is inside once, and only where there are figures to draw."""
    drawn = _figures(result)
    titles = {check.id: check.title for check in result.checks}
    return filled_in(
        "check.html",
        **page_parts([box for _, boxes in drawn for box in boxes]),
        result=result,
        kept=kept,
        rider=rider,
        rider_advice=ADVICE,
        words=words,
        checks=sorted(result.checks, key=lambda check: words.READING_ORDER.index(check.verdict)),
        facts_of=lambda cause: _facts(cause, titles),
        bar=bar,
        logs=drawn,
        notes=[f"{words.key_sentence(result)}.", *map(_note, result.notes)],
    )


def _facts(cause: Cause, titles: dict[str, str]) -> list[tuple[str, str]]:
    explains = ", ".join(titles.get(check_id, check_id) for check_id in cause.explains)
    return [("Explains", explains), ("Found", "; ".join(cause.evidence)), ("Next test", cause.next_test)]


def _note(note: Note) -> str:
    where = note.log if note.line is None else f"{note.log}, line {note.line}"
    return f"{where}: {note.text}"


def _figures(result: Result) -> list[tuple[str, list[FigureBox]]]:
    """Log name -> its figures; logs without any are left out."""
    evidence = result.evidence
    if evidence is None:
        return []
    from benchlog.report.figures import (  # heavy; evidence needs it
        load_figure,
        log_figure,
        off_state_figure,
        relay_figure,
    )

    drawn: list[tuple[str, list[FigureBox]]] = []
    for log in evidence.logs:
        figures: list[tuple[str, go.Figure]] = []
        if len(log.overview) and log.overview.bands:
            figures.append((_LOG_CAPTION, log_figure(log)))
        for kind, check_id in (("pull in", "relay_pull_in"), ("drop out", "relay_drop_out")):
            figure = relay_figure(log, "pull in" if kind == "pull in" else "drop out", _limit_ms(result, check_id))
            if figure is not None:
                what = "closing" if kind == "pull in" else "opening"
                figures.append((f"The relay {what}, all events overlaid.", figure))
        for where, caption in LOAD_CAPTIONS.items():
            figure = load_figure(log, result, where)
            if figure is not None:
                figures.append((caption, figure))
        figure = off_state_figure(log, result)
        if figure is not None:
            figures.append((OFF_CAPTION, figure))
        if figures:
            number = sum(len(boxes) for _, boxes in drawn)
            wide = [caption in (_LOG_CAPTION, OFF_CAPTION) for caption, _ in figures]
            drawn.append((log.log, boxes_of(figures, wide, from_number=number, screen_only=_SCREEN_ONLY)))
    return drawn


def _limit_ms(result: Result, check_id: str) -> float | None:
    for check in result.checks:
        if check.id == check_id and check.limit is not None:
            return check.limit.max
    return None
