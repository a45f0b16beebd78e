"""What "now" is made of: the newest readings, their day and temperature, whether they failed, and how old they are."""

from datetime import tzinfo

from benchlog.core.numbers import with_uncertainty
from benchlog.core.uncertainty import COVERAGE_K, conformity
from benchlog.season.dates import day_words
from benchlog.season.forecast import Trend
from benchlog.season.model import Part, Season, SeasonAdvice
from benchlog.store.readings import Reading

#: A last reading older than this says little of today (common practice, no source).
OLD_DAYS = 90
#: In a terminal; where a reader has another way, it is put in place of this.
WITH_SAVE = "keep them with --save"
_TAKE_ONE = (
    "take one before you rely on what follows: check a log or a hand meter's readings of the bike as it is, and "
    f"{WITH_SAVE}"
)
#: Words of the advice on a quantity that asks for nothing.
_QUIET = ("fine so far", "fine now")


def newest_words(part: Part, zone: tzinfo | None = None) -> str:
    """Which readings the present value is of; "" where there is none.

    Args:
        zone: whose days are told; None: this computer's.
    """
    if part.now is None or not part.now_of:
        return ""
    newest = part.readings[-1]
    when = f"on {day_words(newest.at.astimezone(zone).date())}{_at_c(newest)}"
    failed = ", which failed" if _failed(newest, part) else ""
    if part.now_of == 1:
        return f"read {when}{failed}"
    figure = with_uncertainty(newest.value, newest.uncertainty)
    return f"the middle of the last {part.now_of}; the newest is {figure} {part.unit} {when}{failed}"


def stale_words(season: Season, zone: tzinfo | None = None) -> str:
    """How old the last reading is, and to take one; "" where it is not old, or there is none."""
    newest = max((part.readings[-1].at for part in season.parts if part.readings), default=None)
    if newest is None:
        return ""
    last = newest.astimezone(zone).date()
    age = (season.today - last).days
    if age <= OLD_DAYS:
        return ""
    return f"The last reading is {age} days old ({day_words(last)}): {_TAKE_ONE}."


def folded_advice(season: Season) -> tuple[SeasonAdvice, ...]:
    """The season's advice, all quantities that are within their limits and move nowhere in one line, the last."""
    still = {part.title for part in season.parts if not (isinstance(part.trend, Trend) and part.trend.proven)}
    quiet = [one for one in season.advice if one.words in _QUIET and one.about in still]
    if len(quiet) < 2:
        return season.advice
    names = [one.about if at == 0 else one.about[:1].lower() + one.about[1:] for at, one in enumerate(quiet)]
    about = f"{', '.join(names[:-1])} and {names[-1]}"
    together = SeasonAdvice("fine", "fine", about, "within their limits, no trend proven")
    return (*(one for one in season.advice if one not in quiet), together)


def _at_c(reading: Reading) -> str:
    return "" if reading.temperature_c is None else f" at {reading.temperature_c:.0f} °C"


def _failed(reading: Reading, part: Part) -> bool:
    """Whether the reading by itself is proven to lie outside the plan's limit."""
    if reading.uncertainty is None:
        return False
    return conformity(reading.value, reading.uncertainty / COVERAGE_K, *part.limit) == "fail"
