"""The season as one HTML page: opens from a memory stick, needs no network; the look is that of the install check."""

from html import escape
from shlex import quote
from typing import TYPE_CHECKING

from benchlog.core.folding import held_together
from benchlog.report.figures.in_page import POLICY, box, filled, scripts, shipped
from benchlog.report.words import CAUTIONS
from benchlog.season import words
from benchlog.season.chart import numbered_changes
from benchlog.season.dates import day_words
from benchlog.season.model import Part, Season, SeasonAdvice, Urgency
from benchlog.season.todo import NOTE_IT
from benchlog.season.words import SHAPES

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

_CLASSES: dict[Urgency, str] = {"now": "v-fail", "soon": "v-not-proven", "fine": "v-pass", "open": "v-not-seen"}
_COLUMNS = ("Quantity", "Now", "Limit", "Trend since the last change", "Limit crossed")


def render_html(season: Season) -> str:
    """The whole page; plotly.js is inside once, and only where there are figures to draw."""
    figures = _figures(season)
    name = season.bike or "battery"
    body = [_head(season), _advice(season), _table(season), _changes(season), _drawn(figures), _basis(season),
            _cautions()]  # fmt: skip
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>{escape(f'{name}: {season.advice[0].words} (benchlog season)')}</title>\n"
        f'<link rel="icon" href="data:,">\n<style>\n{shipped("report.css")}</style>\n</head>\n<body>\n<main>\n'
        + "\n".join(part for part in body if part)
        + f"\n</main>\n{scripts([figure for _, figure in figures])}</body>\n</html>\n"
    )


def badge(advice: SeasonAdvice) -> str:
    """The few words with their shape."""
    return (
        f'<span class="badge {_CLASSES[advice.urgency]}"><span aria-hidden="true">{SHAPES[advice.urgency]}</span>'
        f"{escape(advice.words)}</span>"
    )


def _head(season: Season) -> str:
    worst = season.advice[0]
    said = escape(held_together(f"{worst.about}: {worst.because}"))
    facts = []
    if season.charge is not None:
        facts.append(held_together(f"Charge {season.charge.words}: {season.charge.because}."))
    if season.standing is not None:
        facts.append(f"Can stand {season.standing.words} until half charge, from {day_words(season.standing.since)}.")
    return (
        f'<header class="top">\n<p class="kind">Season, {day_words(season.today)}</p>\n'
        f"<h1>{escape(season.bike or 'Battery')}</h1>\n"
        f'<p class="verdict">{badge(worst)} <span>{said}.</span></p>\n'
        + "".join(f'<p class="fact">{escape(fact)}</p>\n' for fact in facts)
        + "</header>"
    )


def _advice(season: Season) -> str:
    rows = "".join(
        f"<li>{badge(advice)} <strong>{escape(advice.about)}</strong>: {escape(held_together(advice.because))}."
        + (f"<br>How: {escape(advice.how.replace(NOTE_IT, _note_it(season)))}." if advice.how else "")
        + "</li>\n"
        for advice in season.advice
    )
    return f'<section class="next">\n<h2>What to do, worst first</h2>\n<ul class="open">\n{rows}</ul>\n</section>'


def _note_it(season: Season) -> str:
    """The whole command: who reads a page has not just typed one."""
    return f"note it with: benchlog season {quote(season.bike or 'BIKE')} --changed DATE --what TEXT"


def _table(season: Season) -> str:
    head = "".join(f'<th role="columnheader" scope="col">{name}</th>' for name in _COLUMNS)
    rows = "\n".join(_row(part) for part in season.parts if part.readings)
    return (
        '<section>\n<h2>Quantities</h2>\n<table role="table" class="checks">\n'
        "<caption>± is the expanded uncertainty (k = 2); the range of a trend is its 95 % interval.</caption>\n"
        f'<thead role="rowgroup"><tr role="row">{head}</tr></thead>\n'
        f'<tbody role="rowgroup">\n{rows}\n</tbody>\n</table>\n</section>'
    )


def _row(part: Part) -> str:
    earlier = "".join(
        f"<small>{escape(f'{day_words(t.since)} to {day_words(t.until)}: ')}"
        f"{escape(words.trend_words(t, part.unit))}</small>"
        for t in part.earlier
    )
    cells = zip(
        _COLUMNS[1:],
        (escape(words.now_words(part)), escape(words.limit_words(part)),
         escape(words.trend_words(part.trend, part.unit)) + earlier, escape(words.crossing_words(part))),
        strict=True,
    )  # fmt: skip
    tail = "".join(f'<td role="cell" data-label="{name}"><div>{content}</div></td>' for name, content in cells)
    return f'<tr role="row"><th role="rowheader" scope="row">{escape(part.title)}</th>{tail}</tr>'


def _changes(season: Season) -> str:
    told = numbered_changes(season, note=_note_it(season))
    rows = "".join(f"<li>{escape(held_together(text))}.</li>\n" for text in told)
    if not rows:
        return ""
    return f"<section>\n<h2>Changes</h2>\n<ul>\n{rows}</ul>\n</section>"


def _figures(season: Season) -> list[tuple[str, "go.Figure"]]:
    from benchlog.season.figures import part_drawing  # plotly is heavy; only readings need it

    drawn = [part_drawing(part, season) for part in season.parts]
    return [(caption, figure) for figure, caption in filter(None, drawn)]


def _drawn(figures: list[tuple[str, "go.Figure"]]) -> str:
    if not figures:
        return ""
    wide = filled(number == 0 for number in range(len(figures)))
    boxes = "".join(box(number, figure, caption, wide=wide[number]) for number, (caption, figure) in enumerate(figures))
    return (
        f'<section>\n<h2>Over the season</h2>\n<div class="figures">\n{boxes}</div>\n'
        "<noscript><p>The drawings need JavaScript; every figure is in the table.</p></noscript>\n</section>"
    )


def _basis(season: Season) -> str:
    from benchlog import __version__
    from benchlog.plan.batteries import CHEMISTRY

    kind = CHEMISTRY[season.chemistry]
    counts = ", ".join(f"{part.title.lower()} {len(part.readings)}" for part in season.parts if part.readings)
    items = [
        f"Battery: {kind.name}, {season.capacity_ah:g} Ah rated; rest voltages: {kind.source}.",
        f"Readings: {counts or 'none'}.",
        "Trends: median of the slopes of all pairs (Theil 1950, Sen 1968), proven by a rank test (Mann 1945, Kendall "
        "1975) at 5 %; where temperatures were noted, their effect was taken out first.",
        "A rest voltage tells the charge, not the health; the source resistance and the cranking minimum tell that.",
    ]
    listed = "".join(f"<li>{escape(item)}</li>\n" for item in items)
    return (
        f"<section>\n<h2>What this is made from</h2>\n<ul>\n{listed}</ul>\n"
        f'<p class="quiet">benchlog {escape(__version__)}</p>\n</section>'
    )


def _cautions() -> str:
    listed = "".join(f"<li>{escape(text)}</li>\n" for text in CAUTIONS)
    return f'<section class="cautions">\n<h2>Cautions</h2>\n<ul>\n{listed}</ul>\n</section>'
