"""The season as one HTML page: opens from a memory stick, needs no network; the look is that of the install check."""

from shlex import quote

from benchlog.core.folding import held_together
from benchlog.report.figures.in_page import FigureBox, boxes_of, page_parts
from benchlog.report.templating import filled_in
from benchlog.report.words import CAUTIONS
from benchlog.season import words
from benchlog.season.chart import numbered_changes
from benchlog.season.dates import day_words
from benchlog.season.model import Season, Urgency
from benchlog.season.newest import folded_advice, newest_words, stale_words
from benchlog.season.todo import NOTE_IT

_CLASSES: dict[Urgency, str] = {"now": "v-fail", "soon": "v-not-proven", "fine": "v-pass", "open": "v-not-seen"}
_COLUMNS = ("Quantity", "Now", "Limit", "Trend since the last change", "Limit crossed")


def render_html(season: Season) -> str:
    """The whole page; plotly.js is inside once, and only where there are figures to draw."""
    from benchlog import __version__

    note = _note_it(season)
    return filled_in(
        "season.html",
        "benchlog.season",
        **page_parts(_figures(season)),
        season=season,
        words=words,
        newest=newest_words,
        stale=stale_words(season),
        advice_told=folded_advice(season),
        day=day_words,
        classes=_CLASSES,
        columns=_COLUMNS,
        note_it=NOTE_IT,
        note_command=note,
        changes=[f"{held_together(text)}." for text in numbered_changes(season, note=note)],
        basis=_basis(season),
        version=__version__,
        cautions_told=CAUTIONS,
    )


def _note_it(season: Season) -> str:
    """The whole command: who reads a page has not just typed one."""
    return f"note it with: benchlog season {quote(season.bike or 'BIKE')} --changed DATE --what TEXT"


def _figures(season: Season) -> list[FigureBox]:
    from benchlog.season.figures import part_drawing  # plotly is heavy; only readings need it

    drawn = [(caption, figure) for figure, caption in filter(None, (part_drawing(p, season) for p in season.parts))]
    return boxes_of(drawn, (number == 0 for number in range(len(drawn))))


def _basis(season: Season) -> list[str]:
    from benchlog.plan.batteries import CHEMISTRY

    kind = CHEMISTRY[season.chemistry]
    counts = ", ".join(f"{part.title.lower()} {len(part.readings)}" for part in season.parts if part.readings)
    return [
        f"Battery: {kind.name}, {season.capacity_ah:g} Ah rated; rest voltages: {kind.source}.",
        f"Readings: {counts or 'none'}.",
        "Trends: median of the slopes of all pairs (Theil 1950, Sen 1968), proven by a rank test (Mann 1945, Kendall "
        "1975) at 5 %; where temperatures were noted, their effect was taken out first.",
        "A rest voltage tells the charge, not the health; the source resistance and the cranking minimum tell that.",
    ]
