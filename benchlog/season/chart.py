"""A season for a terminal: what to do, then a small chart a quantity; 80 columns, readable when piped."""

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta

from benchlog.core.folding import folded
from benchlog.core.numbers import number
from benchlog.core.printable import one_line
from benchlog.season import words
from benchlog.season.dates import between_words, day_words
from benchlog.season.model import Part, Season, SeasonAdvice
from benchlog.season.newest import folded_advice, newest_words, stale_words
from benchlog.season.series import day_of
from benchlog.season.todo import NOTE_IT

WIDTH = 80
_MEANING = (
    "± is the expanded uncertainty (k = 2: true in about 95 of 100 cases), the brackets behind a trend its 95 % "
    "interval. A rest voltage tells the charge, not the health; source resistance and cranking minimum tell that."
)
_ROWS = 5
_LABEL = 8
# a dot of braille by its row from the top and its column (Unicode 1.0, block U+2800)
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))


def render_season(season: Season, *, colour: bool = False, width: int = WIDTH) -> str:
    """The season as text, no line wider than ``width``; ends with a newline."""
    lines = ["\n".join(block) for block in _blocks(season, colour, max(width, 48))]
    return "\n\n".join(lines) + "\n"


def _blocks(season: Season, colour: bool, width: int) -> Iterator[list[str]]:
    worst = season.advice[0]
    head = f"{words.SHAPES[worst.urgency]} {worst.words}"
    if colour:
        head = f"\x1b[1m{head}\x1b[0m"
    stale = fold(stale_words(season), "", "", width)
    title = f"Season: {one_line(season.bike) or 'battery'}, {day_words(season.today)}"
    yield [title[:width], "═" * width, *stale, head]
    told = folded_advice(season)
    yield [_rule("What to do, worst first", width), *(line for one in told for line in _advice(one, width))]
    if season.charge is not None:
        stands = [] if season.standing is None else fold(f"can stand {season.standing.words}", "  ", "  ", width)
        yield [_rule("Charge", width), *fold(f"{season.charge.words}: {season.charge.because}", "  ", "  ", width),
               *stands]  # fmt: skip
    changes = [line for text in numbered_changes(season) for line in fold(text, "  ", "    ", width)]
    if changes:
        yield [_rule("Changes", width), *changes]
    for part in season.parts:
        if part.readings:
            yield [_rule(f"{part.title} / {part.unit}", width), *_part(part, season, width)]
    if any(part.readings for part in season.parts):
        yield fold(_MEANING, "", "", width)


def _advice(advice: SeasonAdvice, width: int) -> Iterator[str]:
    yield from fold(
        f"{words.SHAPES[advice.urgency]} {advice.about}: {advice.words}: {advice.because}.", "", "  ", width
    )
    if advice.how:
        yield from fold(f"How: {advice.how}.", "    ", "    ", width)


def numbered_changes(season: Season, note: str = NOTE_IT) -> list[str]:
    """Each change in one sentence with its number in the store, by which it can be taken back."""
    return [text if number is None else f"change {number}, {text}" for number, text in change_words(season, note)]


def change_words(season: Season, note: str = NOTE_IT) -> list[tuple[int | None, str]]:
    """Each change's number in the store and its sentence; those noted for a later day last.

    Args:
        note: what to do about one that only the readings tell; it has no number.
    """
    titles = {part.quantity: part for part in season.parts}
    told: list[tuple[int | None, str]] = []
    for one in season.breaks:
        moved = ", ".join(
            f"{titles[quantity].title.lower()} {'+' if size > 0 else '−'}{number(abs(size))} {titles[quantity].unit}"
            for quantity, size in one.steps.items()
        )
        moved = f" ({moved})" if moved else ""
        if one.noted:
            told.append((one.number, f"{day_words(one.before.date())}: {one_line(one.noted)}{moved}"))
        else:
            when = between_words(one.after.date(), one.before.date())
            told.append((None, f"Something changed {when}, {one.kind}{moved}; {note}"))
    for noted in season.later:
        told.append((noted.number, f"{day_words(noted.on)}: {one_line(noted.what)}, which does not count yet"))
    return told


def _part(part: Part, season: Season, width: int) -> Iterator[str]:
    yield from chart(part, season.breaks_of(part.quantity), width)
    since = f" since {day_words(part.since.date())}" if part.since else ""
    read = f" ({newest_words(part)})" if newest_words(part) else ""
    told = dict.fromkeys((f"{words.now_words(part)}{read}", words.limit_words(part), words.crossing_words(part)))
    yield from fold(f"now {'; '.join(told)}", "  ", "    ", width)
    yield from fold(f"trend{since}: {words.trend_words(part.trend, part.unit)}", "  ", "    ", width)
    for trend in part.earlier:
        when = f"{day_words(trend.since)} to {day_words(trend.until)}"
        yield from fold(f"before, {when}: {words.trend_words(trend, part.unit)}", "  ", "    ", width)


def chart(part: Part, breaks: Sequence[datetime], width: int = WIDTH) -> list[str]:
    """Readings as dots over time, the limit as a dashed line, changes as a bar; labels left and below."""
    values = [r.value for r in part.readings if math.isfinite(r.value)]
    days = [day_of(r.at) for r in part.readings if math.isfinite(r.value)]
    if not values:
        return []
    columns = width - _LABEL - 3
    limits = [limit for limit in part.limit if limit is not None and is_drawn(limit, values)]
    low, high = min([*values, *limits]), max([*values, *limits])
    if high == low:
        apart = 0.01 * abs(high) or 1.0
        low, high = low - apart, high + apart
    first, last = min(days), max(days)
    span = max(last - first, 1.0)
    cells = [[0] * columns for _ in range(_ROWS)]

    def row_of(value: float) -> int:
        return round((high - value) / (high - low) * (_ROWS * 4 - 1))

    for day, value in zip(days, values, strict=True):
        across, down = round((day - first) / span * (columns * 2 - 1)), row_of(value)
        cells[down // 4][across // 2] |= _DOTS[down % 4][across % 2]
    grid = [[chr(0x2800 + cell) if cell else " " for cell in row] for row in cells]
    for limit in limits:
        row = grid[row_of(limit) // 4]
        for across in range(0, columns, 2):
            if row[across] == " ":
                row[across] = "╌"
    for at in breaks:
        across = round((day_of(at) - first) / span * (columns - 1))
        if 0 <= across < columns:
            for row in grid:
                if row[across] in " ╌":
                    row[across] = "│"
    labels = [""] * _ROWS
    labels[0], labels[-1] = _label(high, high - low), _label(low, high - low)
    lines = [f"{label:>{_LABEL}} ┤{''.join(row)}".rstrip() for label, row in zip(labels, grid, strict=True)]
    start, end = (f"{_day(day)}" for day in (first, last))
    lines.append(f"{'':{_LABEL}} └{'─' * columns}")
    lines.append(f"{'':{_LABEL}}  {start}{' ' * max(1, columns - len(start) - len(end))}{end}")
    key = [f"╌ limit {number(limit)}" for limit in limits] + (["│ change"] if breaks else [])
    if key:
        lines.append(f"{'':{_LABEL}}  {'   '.join(key)}")
    return lines


def fold(text: str, first: str, then: str, width: int = WIDTH) -> list[str]:
    """Printable text in lines, as ``folded`` breaks it."""
    return folded(one_line(text), first, then, width)


def is_drawn(limit: float, values: Sequence[float]) -> bool:
    """Whether the limit can be drawn without squeezing the readings flat."""
    spread = max(max(values) - min(values), abs(values[-1]) * 0.02)
    return min(values) - 4 * spread <= limit <= max(values) + 4 * spread


def _label(value: float, span: float) -> str:
    decimals = max(0, 1 - math.floor(math.log10(span)))
    return f"{value:.{min(decimals, 4)}f}".replace("-", "−")


def _day(day: float) -> str:
    return (date(1970, 1, 1) + timedelta(days=math.floor(day))).isoformat()


def _rule(title: str, width: int) -> str:
    head = f"── {title} "
    return head + "─" * (width - len(head))
