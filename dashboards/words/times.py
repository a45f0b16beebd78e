"""Times in the reader's zone."""

from datetime import UTC, date, datetime, tzinfo
from zoneinfo import ZoneInfo


def zone_of(name: object) -> tzinfo:
    """The zone that a browser names; UTC where it names none that is known."""
    if not isinstance(name, str) or len(name) > 60:
        return UTC
    try:
        return ZoneInfo(name)
    except (ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError on some systems
        return UTC
    except KeyError:
        return UTC


def spoken(at: datetime, zone: tzinfo) -> str:
    """Day and minute, with the zone's short name: ``25 Nov 2026, 14:05 CET``."""
    here = at.astimezone(zone)
    return f"{here.day} {here:%b %Y, %H:%M} {here.tzname()}"


def day(at: datetime | date, zone: tzinfo) -> str:
    """The day alone: ``25 Nov 2026``."""
    here = at.astimezone(zone) if isinstance(at, datetime) else at
    return f"{here.day} {here:%b %Y}"
